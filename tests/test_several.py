"""Several runs and several cores: ranges against every subset, comparisons field by field, the list of runs, notes."""

import json
import shutil
from datetime import UTC, datetime
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from test_rerun import KEYS, carried_out, changed, dimension

from optimize import job, runs, store
from optimize.begun import begun
from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.export import export_trials
from optimize.history import history, text_of
from optimize.notes import FILE, LONGEST, add_note, notes_of
from optimize.one_writer import one_writer
from optimize.pareto import hypervolume
from optimize.report import write_report
from optimize.several.compare import compared
from optimize.several.compare_text import comparison_text, write_comparison
from optimize.several.parts import PartKind, shared
from optimize.several.range_of_cores import candidates, range_of
from optimize.several.range_tables import cores_table, parts_table, range_text, write_range
from optimize.several.subset import best_of_two, by_exchange, dominated_share, greedy
from optimize.study.load import load

NOW = datetime(2026, 3, 9, 14, 5, 6, tzinfo=UTC)


@pytest.fixture(scope="module")
def place(tmp_path_factory) -> Path:
    from small_studies import write

    return write(tmp_path_factory.mktemp("studies"), **KEYS)


@pytest.fixture(scope="module")
def folder(place, tmp_path_factory) -> Path:
    """A folder with two runs: as the starter asks, and with a shallower pocket."""
    folder = tmp_path_factory.mktemp("results")
    asked = load(place)
    carried_out(asked, folder / "first")
    depth = 1e3 * asked.envelope.pocket_depth
    less = changed(place, "less.toml", (dimension(place, "pocket_depth"), f'pocket_depth = "{depth - 12:g} mm"'))
    carried_out(less, folder / "second")
    return folder


# --- subsets --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_the_chain_of_greatest_hypervolume_is_that_of_every_subset(seed, count):
    random = np.random.default_rng(seed)
    x = np.sort(random.random(9))
    front = np.stack([x, np.sort(random.random(9))[::-1]], axis=1)[random.permutation(9)]
    reference = np.array([1.1, 1.1])
    best = max(hypervolume(front[list(some)], reference) for some in combinations(range(9), count))
    chosen = best_of_two(front, reference, count)
    assert len(chosen) == count
    assert hypervolume(front[chosen], reference) == pytest.approx(best, rel=1e-12)


@pytest.mark.parametrize("seed", range(8))
def test_exchange_finds_the_best_of_every_subset_of_three_objectives(seed):
    random = np.random.default_rng(seed)
    rows = random.random((12, 3))
    kinds = tuple(PartKind(f"k{i}", random.integers(0, 3, 12), ("a", "b", "c")) for i in range(4))

    def value(chosen):
        return 0.6 * dominated_share(rows[chosen], np.zeros(3), np.full(3, 1.1)) + 0.4 * shared(kinds, chosen)

    best = max(value(np.array(some)) for some in combinations(range(12), 3))
    starts = [greedy(np.arange(12), 3, value), *(np.array(s) for s in combinations(range(0, 12, 2), 3))]
    assert value(by_exchange(12, 3, value, starts)) == pytest.approx(best, rel=1e-12)


def test_the_plain_area_is_the_library_s_hypervolume():
    rows = np.random.default_rng(0).random((7, 2))
    assert dominated_share(rows, np.zeros(2), np.ones(2)) == pytest.approx(hypervolume(rows, np.ones(2)), rel=1e-12)


def test_sharing_counts_parts_by_hand():
    kinds = (PartKind("fin", np.array([0, 0, 1]), ("a", "b")), PartKind("port", np.array([0, 0, 0]), ("p",)))
    assert shared(kinds, np.array([0, 1])) == 1.0
    assert shared(kinds, np.array([0, 2])) == 0.5  # the port, not the fin
    assert shared(kinds, np.array([0, 1, 2])) == 0.75  # three parts where two would do, four at most beyond them


# --- a range --------------------------------------------------------------------------------------------------------


def test_without_weight_a_range_is_the_best_cover_of_all_subsets(folder):
    found = range_of(folder / "first", 3, 0.0)
    c = found.candidates
    front = c.objectives[: c.front]
    assert len(front) == len(runs.read(folder / "first").tables["front"])
    reference = front.max(axis=0) + 0.1 * np.ptp(front, axis=0)
    best = max(hypervolume(front[list(some)], reference) for some in combinations(range(len(front)), 3))
    assert hypervolume(c.objectives[found.chosen], reference) == pytest.approx(best, rel=1e-12)
    assert found.coverage[0] == pytest.approx(best / hypervolume(front, reference), rel=1e-9)


def test_more_weight_never_shares_less_and_never_covers_more(folder):
    found = [range_of(folder / "first", 3, weight) for weight in (0.0, 0.2, 0.5, 0.8, 1.0)]
    sharing, coverage = ([getattr(f, name)[0] for f in found] for name in ("sharing", "coverage"))
    assert sharing == sorted(sharing)
    assert coverage == sorted(coverage, reverse=True)


def test_one_core_a_duty_is_the_best_there(folder):
    c = candidates(folder / "first")
    duty = c.problem.duty.names[0]
    found = range_of(folder / "first", 9, 0.0, (duty,))
    rating = c.problem.rate_points(c.points)
    heat, loss = rating["heat_rejected"][:, 0], rating["air_pressure_drop"][:, 0]
    score = (heat.max() - heat) / np.ptp(heat) + (loss - loss.min()) / np.ptp(loss)
    assert found.chosen.tolist() == [int(np.argmin(score))]


def test_the_parts_list_names_every_part_once_and_whom_it_serves(folder, tmp_path):
    found = range_of(folder / "first", 3, 0.5)
    parts, cores = parts_table(found), cores_table(found)
    assert set(", ".join(parts["serves"]).split(", ")) == set(cores["core"])
    for kind in found.candidates.kinds:
        own = parts[parts["part"] == kind.name]
        assert sum(len(served.split(", ")) for served in own["serves"]) == 3
    fins = parts[parts["part"] == "air fin roll"].set_index("what")["serves"]
    for row in cores.itertuples():
        assert row.core in fins[row.air_fin]
    written = {path.name for path in write_range(found, tmp_path / "out")}
    assert written == {"cores.csv", "parts.csv", "range.md"}
    assert "Sharing costs" in range_text(found)


def test_a_range_that_cannot_be_is_refused(folder, tmp_path):
    with pytest.raises(FinfrontError, match="no duty point 'cruise'"):
        range_of(folder / "first", 3, 0.0, ("cruise",))
    with pytest.raises(FinfrontError, match="fewer than 999"):
        range_of(folder / "first", 999, 0.0)
    with pytest.raises(FinfrontError, match="no finished run"):
        range_of(tmp_path, 3, 0.0)


# --- compare --------------------------------------------------------------------------------------------------------


def test_a_comparison_tells_what_differs_and_rates_each_core_under_both(folder, tmp_path):
    found = compared([folder / "first", folder / "second"])
    assert found.changes["field"].tolist() == ["envelope.pocket_depth"]
    for front, name in zip(found.fronts, ("first", "second"), strict=True):
        table = runs.read(folder / name).tables["front"]
        assert list(front.cores) == table["core"].tolist()
        assert np.allclose(front.values, table[list(found.objectives)].to_numpy(), rtol=1e-6)
    assert found.hypervolumes[0] >= found.hypervolumes[1]
    room = 1e3 * sum((load(folder / "second/study.toml").envelope.pocket_depth,
                      load(folder / "second/study.toml").envelope.proud_height))  # fmt: skip
    picks = found.picks.set_index(["run", "core"])
    for row in found.crossed.itertuples():
        core, _, name = row.core.partition(" of ")
        over = picks.loc[(name, core), "thickness [mm]"] - room if row.under == "second" else -1.0
        assert ("thickness under the lid" in row.verdict) == (over > 1e-9)
        if row.under == name:
            assert row.verdict == "keeps everything"
    assert {path.name for path in write_comparison(found, tmp_path)} >= {"compare.md", "crossed.csv"}
    assert "envelope.pocket_depth" in comparison_text(found)


def test_a_run_compared_with_itself_differs_in_nothing(folder):
    found = compared([folder / "first", folder / "first"])
    assert found.changes.empty
    assert found.hypervolumes[0] == found.hypervolumes[1]
    assert [front.name for front in found.fronts] == ["first (1)", "first (2)"]


def test_one_run_alone_is_refused(folder):
    with pytest.raises(FinfrontError, match="nothing to be compared"):
        compared([folder / "first"])


# --- the list, and notes --------------------------------------------------------------------------------------------


def test_the_list_shows_every_run_and_one_bad_folder_hides_none(folder, place, tmp_path):
    shutil.copytree(folder, tmp_path / "all")
    everything = tmp_path / "all"
    (everything / "no_run").mkdir()
    for name, text in (("broken", "{"), ("empty", "{}"), ("list", "[]")):
        (everything / name).mkdir()
        (everything / name / runs.RECORD).write_text(text)
    (everything / "noise").mkdir()
    (everything / "noise" / store.FILE).write_bytes(bytes(range(256)) * 40)
    asked = load(place)
    with begun(asked, everything / "open", NOW, job.search_plan(CoreProblem(asked))):
        assert "being written" in text_of(history(everything))
    entries = {entry.folder.name: " ".join(entry.lines) for entry in history(everything)}
    assert set(entries) == {"first", "second", "broken", "empty", "list", "noise", "open"}
    record = json.loads((everything / "first" / runs.RECORD).read_text())
    for told in (f"seed {record['seed']}", f"{record['rated']:,} cores", f"{record['front']:,} on the front",
                 f"knee {record['picks']['knee']}"):  # fmt: skip
        assert told in entries["first"]
    assert "unfinished" in entries["open"]
    for name in ("broken", "empty", "list", "noise"):
        assert "cannot be read" in entries[name]


def test_the_newest_run_comes_first(folder):
    made = [entry.made for entry in history(folder)]
    assert made == sorted(made, reverse=True)
    with pytest.raises(FinfrontError, match="no folder"):
        history(folder / "nothing")


def test_notes_are_kept_in_order_and_shown_and_do_no_harm(folder, tmp_path):
    shutil.copytree(folder / "first", tmp_path / "run")
    run = tmp_path / "run"
    add_note(run, "chosen for\ntooling", NOW)
    add_note(run, "<script>alert(1)</script> =1+1 | # x", NOW)
    assert notes_of(run) == [
        "2026-03-09 14:05 chosen for tooling", "2026-03-09 14:05 <script>alert(1)</script> =1+1 | # x",
    ]  # fmt: skip
    write_report(run)
    assert "chosen for tooling" in (run / "summary.md").read_text(encoding="utf-8")
    page = (run / "report.html").read_text(encoding="utf-8")
    assert "chosen for tooling" in page
    assert "<script>alert(1)" not in page
    assert "chosen for tooling" in text_of(history(tmp_path))


@pytest.mark.parametrize("text", ["", "  \n", "\x00\x07", "x" * (LONGEST + 1)])
def test_a_note_that_says_nothing_or_never_ends_is_refused(folder, text):
    with pytest.raises(FinfrontError):
        add_note(folder / "first", text, NOW)
    assert not (folder / "first" / FILE).exists()


def test_a_note_can_be_put_on_a_run_at_work_but_not_on_any_folder(folder, place, tmp_path):
    asked = load(place)
    with begun(asked, tmp_path / "open", NOW, job.search_plan(CoreProblem(asked))), pytest.raises(FinfrontError), \
            one_writer(tmp_path / "open", NOW):  # fmt: skip
        pass
    add_note(tmp_path / "open", "let it run", NOW)
    with pytest.raises(FinfrontError, match="holds no run"):
        add_note(tmp_path, "x", NOW)


# --- the dashboard's study ------------------------------------------------------------------------------------------


def test_trials_are_the_designs_and_the_best_of_them_the_front(folder, tmp_path):
    import optuna
    from optuna.storages.journal import JournalFileBackend

    count = export_trials(folder / "first", tmp_path / "trials.log")
    run = runs.read(folder / "first")
    storage = optuna.storages.JournalStorage(JournalFileBackend(str(tmp_path / "trials.log")))
    study = optuna.load_study(study_name=None, storage=storage)
    assert len(study.trials) == count == len(run.tables["designs"])
    titles = [o["column"] for o in run.record["objectives"]]
    assert [d.name for d in study.directions] == ["MAXIMIZE", "MINIMIZE"]
    row = run.tables["designs"].set_index("core").loc[study.trials[0].user_attrs["core"]]
    assert study.trials[0].values == pytest.approx(row[titles].tolist())
    good = [t for t in study.trials if t.user_attrs["feasible"] == "yes"]
    best = {t.user_attrs["core"] for t in good if t.user_attrs["layer"] == 1}
    assert best == set(run.tables["front"]["core"])
    with pytest.raises(FinfrontError, match="there already"):
        export_trials(folder / "first", tmp_path / "trials.log")
