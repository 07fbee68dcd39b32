"""Work spread over a dask cluster: the same bits, lost workers made good, and plain words where there is no cluster."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import fields
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from small_studies import SMALL, core, study, write
from test_search import assert_same

from optimize import cluster as cluster_module
from optimize import job
from optimize.cluster import joined
from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.search.sweep import sweep
from optimize.study.load import load
from optimize.tolerance.scatter import scatter
from optimize.workers import cluster_told, in_order, spread_over

distributed = pytest.importorskip("distributed", reason="dask is not installed: pip install --editable '.[cluster]'")
NOW = datetime(2026, 3, 9, 14, 5, 6, tzinfo=UTC)
HERE = str(Path(__file__).parent)


def standing(workers: int, processes: bool = False, **more: Any) -> Any:
    """A cluster on this machine; begun again where dask's own thread does not start within its ten seconds."""
    for attempt in range(5):
        try:
            return distributed.LocalCluster(
                n_workers=workers, threads_per_worker=1, processes=processes, dashboard_address=None, silence_logs=50,
                **more,
            )
        except AssertionError:
            if attempt == 4:
                raise
    return None


@pytest.fixture(scope="module")
def local() -> Iterator[Any]:
    """Two workers in processes of their own, that find the tests."""
    before = os.environ.get("PYTHONPATH", "")
    os.environ["PYTHONPATH"] = os.pathsep.join(filter(None, [HERE, before]))
    with standing(2, processes=True) as made:
        yield made
    os.environ["PYTHONPATH"] = before


def slow_square(x: int, seconds: float = 0.0) -> tuple[int, int]:
    time.sleep(seconds)
    return x * x, os.getpid()


def test_results_come_in_order_from_other_processes(local):
    with spread_over(local.scheduler_address):
        done = list(in_order(slow_square, [(x, 0.02 * (x % 3)) for x in range(12)], workers=1))
        assert cluster_told() == {"workers": 2, "lost": 0, "retried": 0}
    assert [value for value, _ in done] == [x * x for x in range(12)]
    assert os.getpid() not in {process for _, process in done}
    assert cluster_told() is None
    assert {process for _, process in in_order(slow_square, [(1,), (2,)], workers=1)} == {os.getpid()}


@pytest.mark.parametrize("block", [97, 500, 16384])
def test_a_sweep_has_the_same_bits_over_blocks_workers_processes_and_dask(local, block):
    problem = CoreProblem(study(**SMALL))
    truth = sweep(problem)
    for workers in (1, 2, 4) if block == 500 else (1,):
        assert_same(truth, sweep(problem, workers, block))
    with spread_over(local.scheduler_address):
        assert_same(truth, sweep(problem, 1, block))


def test_copies_have_the_same_bits_on_the_cluster(local):
    asked = study(**SMALL)
    problem = CoreProblem(asked)
    cores = [core(problem, thickness=0.04 + 0.01 * i) for i in range(6)]
    here = scatter(asked, cores, 1)
    with spread_over(local.scheduler_address):
        there = scatter(asked, cores, 1)
    for a, b in zip(here, there, strict=True):
        assert a.keys() == b.keys()
        for kind in a:
            for f in fields(a[kind]):
                x, y = getattr(a[kind], f.name), getattr(b[kind], f.name)
                if isinstance(x, np.ndarray):
                    assert x.tobytes() == y.tobytes(), (kind, f.name)


def test_a_whole_run_has_the_same_tables_and_records_the_cluster(local, tmp_path):
    asked = load(write(tmp_path, **SMALL))
    for name in ("here", "there"):
        (tmp_path / name).mkdir()
    job.run(asked, tmp_path / "here", 1, NOW, lambda *_: None)
    with spread_over(local.scheduler_address):
        outcome = job.run(asked, tmp_path / "there", 1, NOW, lambda *_: None)
    assert outcome.record["cluster"] == {"workers": 2, "lost": 0, "retried": 0}
    for path in (tmp_path / "here").glob("*.csv"):
        assert path.read_bytes() == (tmp_path / "there" / path.name).read_bytes(), path.name


def test_a_lost_worker_costs_nothing_but_time_and_is_counted(local):
    with joined(local.scheduler_address) as found:
        with closing(found.in_order(slow_square, [(x, 0.3) for x in range(12)])) as results:
            _, victim = next(results)
            os.kill(victim, signal.SIGKILL)
            done = [value for value, _ in results]
        found.settle()
        assert done == [x * x for x in range(1, 12)]
        assert found.lost == 1
        assert found.retried >= 1


def test_a_fault_of_the_task_is_the_fault_the_user_sees(local):
    with spread_over(local.scheduler_address), pytest.raises(ZeroDivisionError):
        list(in_order(divmod, [(1, 1), (1, 0), (2, 1)], workers=1))


class Behind:
    """A future that is done just behind the look at it: its result, or its fault, comes at the next one."""

    def __init__(self, status: str, then: Any):
        self.status, self.then, self.looks = status, then, 0

    def result(self, timeout: float) -> Any:
        self.looks += 1
        if self.looks == 1:
            raise TimeoutError("the look's own")
        if isinstance(self.then, Exception):
            raise self.then
        return self.then


class Alive:
    """A client with a worker."""

    status = "running"

    def scheduler_info(self, n_workers: int) -> dict[str, Any]:
        return {"workers": {"one": {}}}


def test_a_result_just_behind_the_look_at_it_is_taken():
    assert cluster_module.Cluster(Alive(), 1)._result(Behind("finished", 7)) == 7
    for fault in (TimeoutError("the task's own"), ZeroDivisionError("the task's own")):
        with pytest.raises(type(fault), match="the task's own"):
            cluster_module.Cluster(Alive(), 1)._result(Behind("error", fault))
    with pytest.raises(FinfrontError, match="again and again"):
        cluster_module.Cluster(Alive(), 1)._result(Behind("error", distributed.KilledWorker("task", None, 3)))


def test_a_scheduler_that_dies_is_told():
    made = standing(1)
    with joined(made.scheduler_address, patience=3.0) as found:
        results = found.in_order(time.sleep, [(0.1,), (3.0,), (3.0,)])
        next(results)
        made.close()
        with pytest.raises(FinfrontError, match=r"scheduler of the cluster is gone|no worker for 3 seconds"):
            list(results)


def test_leaving_early_leaves_no_task_behind(local):
    with joined(local.scheduler_address) as found:
        with closing(found.in_order(slow_square, [(x, 0.2) for x in range(40)])) as results:
            next(results)
        while any(found.client.processing().values()):  # what was in hand is finished; what was not begun never is
            time.sleep(0.05)
        assert next(iter(found.in_order(slow_square, [(3,), (4,)])))[0] == 9


def test_no_cluster_at_the_address_is_told(monkeypatch):
    monkeypatch.setattr(cluster_module, "_CONNECT", 1.0)
    for address in ("tcp://127.0.0.1:9", "nonsense://x", "127.0.0.1:notaport"):
        with pytest.raises(FinfrontError, match="no cluster answers") as told, spread_over(address):
            pass
        assert "address" in told.value.do


def test_a_cluster_without_workers_is_told():
    with (
        standing(0) as empty,
        pytest.raises(FinfrontError, match="no worker"), joined(empty.scheduler_address, patience=1.0),
    ):  # fmt: skip
        pass


def test_all_workers_gone_is_told_and_does_not_wait_for_ever():
    with standing(1) as made, joined(made.scheduler_address, patience=2.0) as found:
        results = found.in_order(time.sleep, [(0.1,), (6.0,), (6.0,)])
        next(results)
        made.scale(0)
        with pytest.raises(FinfrontError, match=r"no worker for 2 seconds|scheduler of the cluster is gone"):
            list(results)


def test_workers_of_other_versions_are_refused(local, monkeypatch):
    ours = cluster_module._what_counts()
    monkeypatch.setattr(cluster_module, "_what_counts", Other(ours))
    with pytest.raises(FinfrontError, match=r"has numpy .*, here 0\.0"), joined(local.scheduler_address):
        pass


class Other:
    """What the workers say as it is, what is said here changed."""

    def __init__(self, ours: dict[str, str]):
        self.ours, self.here = ours, os.getpid()

    def __call__(self) -> dict[str, str]:
        return self.ours | ({"numpy": "0.0"} if os.getpid() == self.here else {})


def test_without_dask_the_option_says_how_to_get_it(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(FinfrontError) as told, spread_over("tcp://127.0.0.1:1"):
        pass
    assert ".[cluster]" in told.value.do


def test_certificates_of_dask_s_own_configuration_are_used(tmp_path):
    """A scheduler that asks for TLS, reached by its tls:// address with the settings in dask's environment."""
    pytest.importorskip("cryptography", reason="no certificates without the cryptography package")
    security = distributed.Security.temporary()
    names = {}
    for key in ("tls_ca_file", "tls_client_cert", "tls_client_key"):
        names[key] = tmp_path / f"{key}.pem"
        names[key].write_text(getattr(security, key))
    settings = {
        "DASK_DISTRIBUTED__COMM__TLS__CA_FILE": str(names["tls_ca_file"]),
        "DASK_DISTRIBUTED__COMM__TLS__CLIENT__CERT": str(names["tls_client_cert"]),
        "DASK_DISTRIBUTED__COMM__TLS__CLIENT__KEY": str(names["tls_client_key"]),
    }
    code = (
        "import sys; from optimize import cluster; from optimize.workers import spread_over, in_order\n"
        "cluster._CONNECT = 4.0\n"
        "with spread_over(sys.argv[1]): print(list(in_order(pow, [(2, 3), (3, 2)], workers=1)))"
    )
    with standing(1, security=security, protocol="tls://") as made:
        assert made.scheduler_address.startswith("tls://")
        command = [sys.executable, "-c", code, made.scheduler_address]
        known = os.environ | settings
        done = subprocess.run(command, capture_output=True, text=True, timeout=60, env=known, check=False)
        assert done.stdout.strip() == "[8, 9]", done.stderr
        bare = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
        assert "no cluster answers" in bare.stderr
