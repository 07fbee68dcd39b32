"""Work on the machines of a dask cluster that stands already; the one door to dask.

The tasks are those of one machine, and their results are taken in the same order, so a run is the same to the last bit
(where the machines have the same versions and processors of one kind; what differs is told). A worker that is lost
gives its tasks back to the others. joblib's own dask backend waits for ever when all workers are gone, so the tasks are
handed over here, and looked after.
"""

import sys
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import CancelledError
from contextlib import contextmanager
from dataclasses import dataclass, field
from time import monotonic
from typing import Any, TypeVar

from optimize.errors import FinfrontError

Result = TypeVar("Result")

PATIENCE = 60.0  # seconds without a single worker before the run is given up
_CONNECT = 15.0
_LOOK = 1.0
_BITS = ("finfront", "numpy", "scipy", "moocore")
_LOST_OFTEN = "a task was on several workers when they were lost: look to their memory, and give the same command again"


@dataclass
class Cluster:
    """A cluster in use: its workers when it was met, how many were lost, how many tasks were handed over again."""

    client: Any
    workers: int
    patience: float = PATIENCE
    keys: set[str] = field(default_factory=set)
    lost: int = 0
    retried: int = 0

    def in_order(
        self, function: Callable[..., Result], arguments: Sequence[tuple[Any, ...]]
    ) -> Generator[Result, None, None]:
        """`function` of each tuple of arguments, in order."""
        futures = [self.client.submit(function, *each, pure=False) for each in arguments]
        self.keys |= {future.key for future in futures}
        try:
            for number in range(len(futures)):
                yield self._result(futures[number])
                futures[number] = None  # let the cluster forget it
        finally:
            self.client.cancel([future for future in futures if future is not None], force=True)

    def _result(self, future: Any) -> Any:
        """A result when it is there; FinfrontError when there is no worker left for too long."""
        from distributed import KilledWorker

        alone, failed = monotonic(), False
        while True:
            try:
                return future.result(timeout=_LOOK)
            except TimeoutError:
                if failed:
                    raise  # the task's own
                # A result, or a fault, that came just behind the last look is taken at the next one.
                failed = future.status == "error"
                alone = monotonic() if self._look() else alone
            except KilledWorker:
                raise FinfrontError("the cluster lost a task again and again", do=_LOST_OFTEN) from None
            except CancelledError:
                raise self._gone("the scheduler of the cluster is gone") from None
            if monotonic() - alone > self.patience:
                raise self._gone(f"the cluster has had no worker for {self.patience:.0f} seconds")

    def _look(self) -> int:
        """Number of workers now."""
        if self.client.status != "running":
            raise self._gone("the scheduler of the cluster is gone")
        return len(self.client.scheduler_info(n_workers=-1)["workers"])

    def settle(self) -> None:
        """Count the workers lost with tasks of ours in hand, and those tasks, as the scheduler tells it."""
        self.lost = self.retried = 0
        events = self.client.get_events("all") if self.client.status == "running" else ()
        for had in [e.get("processing-tasks") or () for _, e in events if e.get("action") == "remove-worker"]:
            ours = self.keys & set(had)
            self.lost += bool(ours)
            self.retried += len(ours)

    def told(self) -> dict[str, int]:
        """What the record keeps."""
        return {"workers": self.workers, "lost": self.lost, "retried": self.retried}

    def _gone(self, what: str) -> FinfrontError:
        return FinfrontError(what, do="start it again, then give the same command: what was evaluated is kept")


@contextmanager
def joined(address: str, patience: float = PATIENCE) -> Iterator[Cluster]:
    """The cluster whose scheduler has an address ("tcp://10.0.0.5:8786", "tls://...").

    TLS certificates are those of dask's own configuration (distributed.comm.tls). Raises FinfrontError where dask is
    not installed, nothing answers, no worker comes, or a worker has other versions.
    """
    try:
        import distributed
    except ImportError:
        do = "in the folder of finfront: pip install --editable '.[cluster]'"
        raise FinfrontError("a cluster needs dask, which is not installed", do=do) from None
    try:
        client: Any = distributed.Client(address, timeout=_CONNECT, set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TypeError, RuntimeError) as error:
        why = (str(error).splitlines() or [type(error).__name__])[0]
        what = f"no cluster answers at '{address}': {why}"
        do = "give the address its scheduler printed; for tls:// set dask's ca-file, cert and key"
        raise FinfrontError(what, "--cluster", do) from None
    try:
        yield Cluster(client, _met(client, patience), patience)
    finally:
        client.close(timeout=5)


def _met(client: Any, patience: float) -> int:
    """Number of workers, each with this finfront and these versions."""
    try:
        client.wait_for_workers(1, timeout=patience)
        theirs = client.run(_what_counts)
    except TimeoutError:
        do = "start some: dask worker ADDRESS --nworkers 8 --nthreads 1"
        raise FinfrontError(f"the cluster has no worker after {patience:.0f} seconds", "--cluster", do) from None
    except (ImportError, OSError, RuntimeError) as error:
        what = f"the workers cannot work for finfront: {error}"
        raise FinfrontError(what, "--cluster", "install this finfront where they run") from None
    ours = _what_counts()
    for worker, versions in theirs.items():
        other = [f"{name} {versions.get(name)}, here {ours[name]}" for name in ours if versions.get(name) != ours[name]]
        if other and len(other) == 1 and other[0].startswith("instructions"):
            print(f"note: worker {worker} has other {other[0]}: last bits may differ", file=sys.stderr)
        elif other:
            do = "install the same versions there; the results would differ in their last bits"
            raise FinfrontError(f"worker {worker} has {'; '.join(other)}", "--cluster", do)
    return len(theirs)


def _what_counts() -> dict[str, str]:
    """Versions that the bits depend on, and the processor's widest instructions; also run on the workers."""
    import numpy as np

    from optimize.runs import versions

    told = {name: version for name, version in versions().items() if name in _BITS}
    config: Any = np.show_config(mode="dicts")
    return {"instructions": " ".join(config["SIMD Extensions"].get("found", [])), **told}
