"""A run begun, stopped and gone on with: the same bits, the same question, one writer."""

import json
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from small_studies import SMALL, study, write
from test_search import Boxed, Drawn, Smooth, assert_same

from optimize import begun as begun_module
from optimize import job, method, runs, store
from optimize.begun import begun, question, stored_designs
from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.one_writer import is_held, one_writer
from optimize.search.certify import certify
from optimize.search.evolve import evolve
from optimize.search.memory import Arrays
from optimize.search.sweep import Grid, sweep
from optimize.study.load import load

NOW = datetime(2026, 3, 9, 14, 5, 6, tzinfo=UTC)
LATER = datetime(2026, 3, 10, tzinfo=UTC)


class Cut:
    """A memory that holds some batches, packed as in the file, and may refuse more."""

    def __init__(self, batches: list[bytes], most: int = 10**9):
        self.batches, self.most = batches, most

    @property
    def kept(self) -> int:
        return len(self.batches)

    def recall(self, number: int) -> Arrays:
        return store.unpacked(self.batches[number])

    def keep(self, arrays: Arrays) -> None:
        if len(self.batches) >= self.most:
            raise KeyboardInterrupt
        self.batches.append(store.packed(arrays))


def swept(memory):
    problem = Drawn((3, 40, 30, 25), (True, False, False, False), 2, 3)
    return sweep(problem, block=80, memory=memory)


def evolved(memory):
    return evolve(Smooth(), seed=4, budget=1500, population=40, memory=memory)


def certified(memory):
    return certify(Boxed((3, 48, 32, 24, 1)), seed=4, block=20, memory=memory)


@pytest.mark.parametrize("search", [swept, evolved, certified], ids=["sweep", "evolve", "certify"])
def test_a_search_cut_at_ten_points_ends_as_one_never_cut(search):
    whole = Cut([])
    truth = search(whole)
    assert_same(truth, search(None))
    assert whole.kept >= 12
    for cut in np.linspace(0, whole.kept - 1, 10).astype(int):
        part = Cut([], most=int(cut))
        with pytest.raises(KeyboardInterrupt):
            search(part)
        assert part.batches == whole.batches[: part.kept]
        rest = Cut(part.batches)
        assert_same(truth, search(rest))
        assert rest.batches == whole.batches


def test_what_is_kept_does_not_grow_with_what_is_swept():
    problem = Drawn((3, 40, 30, 25), (True, False, False, False), 2, 3)
    memory = Cut([])
    sweep(problem, block=80, memory=memory)
    grid = Grid.of(problem.axes, 80)
    kept = sum(len(memory.recall(n)["feasible_sample.ordinals"]) for n in range(memory.kept))
    assert kept < 0.5 * grid.total


def test_a_search_that_draws_other_points_than_were_kept_is_refused():
    memory = Cut([])
    evolve(Smooth(), seed=4, budget=1500, population=40, memory=memory)
    with pytest.raises(FinfrontError, match="other cores"):
        evolve(Smooth(), seed=5, budget=1500, population=40, memory=Cut(memory.batches[:3]))


# --- the folder -----------------------------------------------------------------------------------------------------


def opened(asked, out, now=NOW, **options):
    plan = method.search_plan(CoreProblem(asked))
    return begun(asked, out, now, plan, **options)


def carried_out(asked, out, now=NOW):
    with opened(asked, out, now) as work:
        return job.run(asked, work.folder, 1, work.made, lambda *_: None, work.store)


@pytest.fixture(scope="module")
def place(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("studies")
    write(folder, **SMALL)
    return folder / "study.toml"


def test_a_run_gone_on_with_keeps_its_date_and_its_tables(place, tmp_path):
    asked = load(place)
    first = carried_out(asked, tmp_path / "a")
    (tmp_path / "a" / runs.RECORD).unlink()  # as if it had been stopped while writing
    with opened(asked, tmp_path / "a", LATER) as work:
        assert (work.made, work.finished) == (NOW, False)
        assert work.store.kept
        again = job.run(asked, work.folder, 1, work.made, lambda *_: None, work.store)
    assert again.record["made"] == first.record["made"]
    assert again.record["cores_per_second"] is None
    for name, table in first.tables.items():
        assert table.equals(again.tables[name]), name


def test_a_changed_study_is_refused_with_the_difference(place, tmp_path):
    asked = load(place)
    carried_out(asked, tmp_path / "a")
    text = place.read_text(encoding="utf-8")
    other = place.with_name("other.toml")
    other.write_text(text.replace('pocket_depth = "66 mm"', 'pocket_depth = "61 mm"'), encoding="utf-8")
    changed = load(other)
    if changed.envelope == asked.envelope:
        pytest.fail("the starter's pocket is not what this test thinks")
    with pytest.raises(FinfrontError, match=r"envelope.pocket_depth: 66 mm -> 61 mm"), opened(changed, tmp_path / "a"):
        pass
    with pytest.raises(FinfrontError, match="seed"), opened(replace(asked, seed=99), tmp_path / "a"):
        pass


def test_a_comment_more_is_the_same_question(place):
    asked = load(place)
    assert question(replace(asked, text=asked.text + "\n# a thought\n")) == question(asked)
    assert question(replace(asked, seed=asked.seed + 1)) != question(asked)


def test_other_versions_are_refused(place, tmp_path, monkeypatch):
    asked = load(place)
    carried_out(asked, tmp_path / "a")
    monkeypatch.setattr(begun_module.runs, "versions", lambda: runs_versions() | {"numpy": "0.1"})
    with pytest.raises(FinfrontError, match=r"numpy .*, now 0\.1"), opened(asked, tmp_path / "a"):
        pass


runs_versions = runs.versions


def test_without_a_name_an_unfinished_run_of_the_question_is_gone_on_with(place, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    asked = load(place)
    with opened(asked, None) as work:
        first = work.folder
    with opened(asked, None, LATER) as work:
        assert work.folder == first
        (first / runs.RECORD).write_text("{}")
    with opened(asked, None, LATER) as work:
        assert work.folder != first


def test_a_folder_with_anything_else_in_it_is_left_alone(place, tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(FinfrontError, match="not an empty folder"), opened(load(place), tmp_path):
        pass
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_one_writer_at_a_time_and_the_lock_goes_with_it(tmp_path):
    with one_writer(tmp_path, NOW):
        assert is_held(tmp_path)
        with pytest.raises(FinfrontError, match="is being written by process"), one_writer(tmp_path, NOW):
            pass
    assert not is_held(tmp_path)
    with one_writer(tmp_path, NOW):
        pass
    assert list(tmp_path.iterdir()) == []


def test_stored_designs_are_the_search_s_own_rows_each_once(place, tmp_path):
    asked = load(place)
    outcome = carried_out(asked, tmp_path / "a")
    stored = stored_designs(tmp_path / "a")
    assert len(np.unique(stored.rows.ordinals)) == len(stored.rows)
    evaluation = stored.problem.evaluate(stored.rows.points)
    assert np.array_equal(evaluation.objectives, stored.rows.objectives, equal_nan=True)
    assert np.array_equal(evaluation.margins, stored.rows.margins, equal_nan=True)
    assert set(outcome.tables["designs"]["core"]) <= {f"C{i}" for i in stored.rows.ordinals}


def test_stored_designs_of_an_edited_study_are_refused(place, tmp_path):
    carried_out(load(place), tmp_path / "a")
    edited = tmp_path / "a" / "study.toml"
    edited.write_text(edited.read_text(encoding="utf-8").replace("66 mm", "67 mm"), encoding="utf-8")
    with pytest.raises(FinfrontError, match="changed after the run"):
        stored_designs(tmp_path / "a")


def test_salvage_goes_on_from_what_is_sound(place, tmp_path):
    asked = load(place)
    truth = carried_out(asked, tmp_path / "a").tables["front"]
    file = tmp_path / "a" / store.FILE
    data = bytearray(file.read_bytes())
    data[len(data) // 2] ^= 8
    file.write_bytes(data)
    (tmp_path / "a" / runs.RECORD).unlink()
    with pytest.raises(FinfrontError, match="damaged") as told, opened(asked, tmp_path / "a"):
        pass
    assert "--salvage" in told.value.do
    with opened(asked, tmp_path / "a", salvage=True) as work:
        again = job.run(asked, work.folder, 1, work.made, lambda *_: None, work.store)
    assert again.tables["front"].equals(truth)


def test_the_starter_s_plan_names_what_a_store_must_agree_with():
    assert "sweep of" in method.search_plan(CoreProblem(study(**SMALL)))
    asked = study(**SMALL | {"method": '"evolve"'})
    assert "50000 evaluations" in method.search_plan(CoreProblem(asked)).replace(",", "")
    assert json.dumps(runs.versions())


@pytest.mark.slow
def test_a_sweep_of_ten_million_cores_stays_below_a_gigabyte(tmp_path):
    """Peak resident memory of the process and of its workers together, the store included."""
    keys = {
        "thickness": '{ from = "40 mm", to = "89.9 mm", step = "0.0125 mm" }', "passages": "{ from = 5, to = 20 }",
        "draws": "0",
    }
    path = write(tmp_path, **keys)
    asked = load(path)
    size = CoreProblem(asked).space.size
    assert size is not None
    code = (
        "import resource, sys\n"
        "from pathlib import Path\n"
        "from datetime import UTC, datetime\n"
        "from optimize import method\n"
        "from optimize.begun import begun\n"
        "from optimize.evaluate import CoreProblem\n"
        "from optimize.study.load import load\n"
        "asked = load(sys.argv[1]); problem = CoreProblem(asked)\n"
        "with begun(asked, Path(sys.argv[2]), datetime.now(UTC), method.search_plan(problem)) as work:\n"
        "    _, archive = method.search(problem, 2, lambda *_: None, None, work.store)\n"
        "most = [resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]\n"
        "print(archive.rated, most[0] / 1024, most[1] / 1024)\n"
    )
    command = [sys.executable, "-c", code, str(path), str(tmp_path / "run")]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    rated, own, one_worker = map(float, done.stdout.split())
    assert rated == size >= 10_000_000
    assert own + 2 * one_worker < 1000.0, done.stdout
    print(done.stdout)
