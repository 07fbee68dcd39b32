"""Work over processes or a cluster, in order, so that results never depend on how many there are.

The one door to joblib.
"""

import warnings
from collections.abc import Callable, Generator, Sequence
from contextlib import closing, contextmanager
from contextvars import ContextVar
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from collections.abc import Iterator

    from optimize.cluster import Cluster

_CLUSTER: "ContextVar[Cluster | None]" = ContextVar("cluster", default=None)

Result = TypeVar("Result")


def in_order(
    function: Callable[..., Result], arguments: Sequence[tuple[Any, ...]], workers: int
) -> Generator[Result, None, None]:
    """`function` of each tuple of arguments, in order; one worker stays in this process, unless a cluster is in use.

    Close the generator when leaving early (`contextlib.closing`): on Ctrl-C no worker may go on.
    Raises ValueError for fewer than one worker.

    >>> list(in_order(pow, [(2, 3), (3, 2)], workers=1))
    [8, 9]
    """
    if workers < 1:
        raise ValueError(f"expected at least one worker, got {workers}")
    if len(arguments) < 2:
        yield from (function(*each) for each in arguments)
    elif (cluster := _CLUSTER.get()) is not None:
        yield from cluster.in_order(function, arguments)
    elif workers == 1:
        yield from (function(*each) for each in arguments)
    else:
        yield from _abroad(function, arguments, workers)


@contextmanager
def spread_over(address: str | None) -> "Iterator[None]":
    """All work inside goes to the cluster at an address; none: it stays on this machine."""
    if address is None:
        yield
        return
    from optimize.cluster import joined

    with joined(address) as cluster:
        token = _CLUSTER.set(cluster)
        try:
            yield
        finally:
            _CLUSTER.reset(token)


def cluster_told() -> dict[str, int] | None:
    """Workers of the cluster in use, those lost so far and the tasks handed over again; None on this machine alone."""
    cluster = _CLUSTER.get()
    if cluster is None:
        return None
    cluster.settle()
    return cluster.told()


def in_batches(
    function: Callable[[Any, list[Any]], list[Result]], study: Any, items: Sequence[Any], size: int, workers: int,
    progress: Callable[[int, int], None] | None = None,
) -> list[Result]:
    """`function` of a study and some items at a time, `size` of them; all results in the order of the items."""
    tasks = [(study, list(items[i : i + size])) for i in range(0, len(items), size)]
    done: list[Result] = []
    with closing(in_order(function, tasks, workers)) as parts:
        for part in parts:
            done += part
            if progress is not None:
                progress(len(done), len(items))
    return done


def _abroad(
    function: Callable[..., Result], arguments: Sequence[tuple[Any, ...]], workers: int
) -> Generator[Result, None, None]:
    """In worker processes of one thread each."""
    from joblib import Parallel, delayed, parallel_config
    from joblib.externals.loky import get_reusable_executor

    with parallel_config(backend="loky", inner_max_num_threads=1):
        pool = Parallel(n_jobs=workers, return_as="generator", batch_size=1, max_nbytes=None)
    results = pool(delayed(function)(*each) for each in arguments)
    with warnings.catch_warnings():
        # joblib warns of the tasks a Ctrl-C cancels
        warnings.filterwarnings("ignore", message=".*adjusting the input task iterator")
        try:
            yield from results
        except BaseException:
            get_reusable_executor(reuse=True).shutdown(wait=True, kill_workers=True)
            raise
