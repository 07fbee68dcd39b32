"""Work over processes, in order, so that results never depend on how many there are; the one door to joblib."""

from collections.abc import Callable, Iterator, Sequence
from typing import Any, TypeVar

Result = TypeVar("Result")


def in_order(
    function: Callable[..., Result], arguments: Sequence[tuple[Any, ...]], workers: int
) -> Iterator[Result]:
    """`function` of each tuple of arguments, in order; one worker stays in this process.

    Ctrl-C stops the workers at once.
    """
    if workers == 1 or len(arguments) < 2:
        yield from (function(*each) for each in arguments)
        return
    from joblib import Parallel, delayed, parallel_config
    from joblib.externals.loky import get_reusable_executor

    with parallel_config(backend="loky", inner_max_num_threads=1):
        pool = Parallel(n_jobs=workers, return_as="generator", batch_size=1, max_nbytes=None)
        try:
            yield from pool(delayed(function)(*each) for each in arguments)
        except BaseException:
            get_reusable_executor(reuse=True).shutdown(wait=False, kill_workers=True)
            raise
