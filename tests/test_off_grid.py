"""The front off the grid: against known fronts, long references, other seeds and steps; every core of it feasible."""

import re
import shutil
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
from small_studies import ROOT, SMALL, problem, study, with_limits, write

from optimize import asked, job, method, runs
from optimize.begun import begun
from optimize.evaluate import CoreProblem
from optimize.freed import OffGrid, freed, freed_points, off_grid_front, settled
from optimize.pareto import hypervolume, nondominated, normalised_hypervolume
from optimize.search.archive import Archive
from optimize.search.builds import Builds, rivals
from optimize.search.denser import thinned
from optimize.search.off_grid import LONG, refine
from optimize.search.problem import Axis, Evaluation
from optimize.search.rows import Rows
from optimize.search.sweep import sweep
from optimize.space import Space
from optimize.stored_core import core_of_run
from optimize.study.faults import StudyFaults
from optimize.study.load import load
from optimize.study.model import Limit, Study

GAP = 1e-4  # of the hypervolume
SEEDS = range(10)
LONG_SEEDS = (100, 101, 102)


@dataclass(frozen=True)
class Shelf:
    """Names, counts and free numbers with a front that is known: what lies beside the best name and count is behind it.

    f1 = x, f2 = 1 - sqrt(x) + what name, count and the other number cost; x is at least 0.04, which is a margin.
    """

    twins: bool = False
    objective_names = ("f1", "f2")
    margin_names = ("x is enough",)
    axes = (
        Axis("name", size=5, outer=True), Axis("x", low=0.0, high=1.0), Axis("count", size=12),
        Axis("y", low=-1.0, high=1.0),
    )

    def evaluate(self, points):
        name, x, count, y = points.T
        dear = 0.3 * (name != 3) + 0.02 * (count - 7) ** 2 + (y - 0.4 * x) ** 2
        if self.twins:
            dear = np.where(name == 1, 0.02 * (count - 7) ** 2 + (y - 0.4 * x) ** 2, dear)
        f2 = 1.0 - np.sqrt(np.maximum(x, 0.0)) + dear
        return Evaluation(np.column_stack([x, f2]), (x - 0.04)[:, None], name[:, None])


def ends(front):
    return front.min(axis=0), front.max(axis=0)


def gap(front, reference):
    """How much of the hypervolume of a reference a front misses, in the box of the reference."""
    best, worst = ends(reference)
    corner = worst + 0.1 * (worst - best)
    return 1.0 - normalised_hypervolume(front, best, corner) / normalised_hypervolume(reference, best, corner)


def union(fronts):
    joined = np.concatenate(fronts)
    return joined[nondominated(joined)]


def seeded(study: Study, seed: int) -> CoreProblem:
    return CoreProblem(replace(study, seed=seed))


def in_steps(study: Study, step: float) -> Study:
    """The study with other steps of its thickness, its range the same."""
    thickness = study.variables["core.thickness"]
    assert thickness.ends is not None
    low, high = thickness.ends
    values = tuple(low + step * i for i in range(int((high - low) / step + 1e-9) + 1))
    return replace(study, variables=study.variables | {"core.thickness": replace(thickness, values=values)})


def moved(study: Study, archive: Archive, seed: int, workers: int = 1) -> OffGrid:
    return off_grid_front(seeded(study, seed), archive, workers)


def reference(study: Study, archive: Archive, seeds=LONG_SEEDS) -> np.ndarray:
    return union([off_grid_front(seeded(study, s), archive, 2, care=LONG).front.objectives for s in seeds])


@cache
def small() -> tuple[Study, Archive]:
    made = problem(**SMALL)
    return made.study, sweep(made)


# --- the search itself ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(5))
def test_a_known_front_is_found_from_a_poor_start(seed):
    start = np.array([[0.0, 0.5, 2.0, -0.9], [4.0, 0.9, 11.0, 0.9]])
    found = refine(Shelf(), start, np.random.SeedSequence(seed))
    x = np.linspace(0.04, 1.0, 200_001)
    assert -1e-9 < gap(found.front.objectives, np.column_stack([x, 1.0 - np.sqrt(x)])) < GAP
    assert set(map(tuple, Builds(Shelf.axes).of(found.front.points))) == {(3.0, 7.0)}
    assert found.builds == 1
    assert found.still
    assert found.front.margins.min() >= 0.0


def test_of_builds_that_do_the_same_the_one_with_the_better_tie_stays():
    found = refine(Shelf(twins=True), np.array([[3.0, 0.5, 7.0, 0.2]]), np.random.SeedSequence(0))
    share = np.mean(found.front.points[:, 0] == 1.0)
    assert share > 0.95


def test_more_rounds_never_lose_hypervolume_and_are_told():
    found = refine(Shelf(), np.array([[3.0, 0.5, 7.0, 0.2]]), np.random.SeedSequence(0))
    assert list(found.course) == sorted(found.course)
    assert found.course[-1] == 1.0
    assert found.rated > len(found.front)


def test_without_a_continuous_axis_nothing_can_be_moved():
    made = problem(**SMALL)
    with pytest.raises(ValueError, match="continuous axis"):
        refine(made, np.zeros((1, len(made.axes))), np.random.SeedSequence(0))


def test_a_front_thinned_loses_no_more_than_it_may():
    x = np.sort(np.random.default_rng(0).random(5000)) ** 3
    points = np.column_stack([x, 1.0 - np.sqrt(x)])
    empty = np.empty((5000, 0))
    few = thinned(Rows(np.arange(5000), points, points, empty, empty), 1e-3)
    assert len(few) < 1000
    corner = np.array([1.1, 1.1])
    assert hypervolume(few.objectives, corner) >= (1.0 - 1e-3) * hypervolume(points, corner)


def test_a_rival_is_never_worse_at_any_place():
    values = np.array([[1.0, 2.0], [3.0, 1.0], [1.0, 2.0], [3.0, 0.5], [0.5, 3.0], [4.0, 1.0]])
    rows = Rows(np.arange(6), values, values, np.ones((6, 1)), np.zeros((6, 1)))
    assert rivals(rows, 3, np.full(2, 1e-9)).tolist() == [1, -1, -1]


# --- cores ----------------------------------------------------------------------------------------------------------


def test_ranges_are_freed_from_end_to_end_as_written_and_counts_stay():
    # 40 mm and steps of 7 mm: the last is 89 mm, the range goes to 90 mm
    made = study(**SMALL | {"thickness": '{ from = "40 mm", to = "90 mm", step = "7 mm" }'})
    assert made.variables["core.thickness"].values[-1] == pytest.approx(0.089)
    free = freed(made)
    assert (free.variables["core.thickness"].low, free.variables["core.thickness"].high) == (0.04, 0.09)
    assert free.variables["core.passages"] == made.variables["core.passages"]
    assert {axis.name for axis in Space(free).axes if not axis.discrete} == {"thickness"}


def test_points_on_the_grid_are_the_same_cores_freed():
    made, archive = small()
    grid = CoreProblem(made)
    free = CoreProblem(freed(made))
    again = free.evaluate(freed_points(grid, archive.kept.points))
    assert again.objectives.tobytes() == archive.kept.objectives.tobytes()


def test_settled_values_are_those_a_table_holds():
    space = Space(freed(small()[0]))
    column = space.names.index("thickness")
    points = np.tile([axis.low for axis in space.axes], (500, 1))
    points[:, column] = np.random.default_rng(0).uniform(0.04, 0.09, 500)
    points[0, column], points[1, column] = 0.04, 0.09
    values = settled(space, points)[:, column]
    assert [float(f"{1e3 * v:.8g}") for v in values] == pytest.approx(1e3 * values, rel=1e-15)
    assert np.abs(values - points[:, column]).max() < 1e-8
    assert (values[0], values[1]) == (0.04, 0.09)


def test_ends_that_a_table_cannot_hold_are_not_reached(tmp_path):
    """A metre range in a study of inches: 87 mm is 3.42519685... in."""
    text = (ROOT / "studies/tow_rig_us_units.toml").read_text(encoding="utf-8")
    path = tmp_path / "study.toml"
    path.write_text(re.sub(r"thickness = \{ from = .*? step = ", 'thickness = { from = "44 mm", to = "87 mm", step = ',
                           text, count=1), encoding="utf-8")  # fmt: skip
    shutil.copytree(ROOT / "studies/catalogues", tmp_path / "catalogues")
    space = Space(freed(load(path)))
    column = space.names.index("thickness")
    points = np.tile([axis.low for axis in space.axes], (3, 1))
    points[:, column] = 0.044, 0.087, 0.06
    inches = settled(space, points)[:, column] / 0.0254
    read_back = np.array([float(f"{v:.8g}") for v in inches])
    assert read_back == pytest.approx(inches, rel=1e-14)
    assert 0.0254 * read_back.min() >= 0.044
    assert 0.0254 * read_back.max() <= 0.087


def test_every_core_is_inside_its_range_and_keeps_every_limit_when_rated_alone():
    made, archive = small()
    found = moved(made, archive, 1)
    free, front = found.problem, found.front
    column = free.space.names.index("thickness")
    assert front.points[:, column].min() >= 0.04
    assert front.points[:, column].max() <= 0.09
    discrete = [i for i, axis in enumerate(free.axes) if axis.discrete]
    assert np.array_equal(front.points[:, discrete], np.round(front.points[:, discrete]))
    for point, objectives in list(zip(front.points, front.objectives, strict=True))[:: max(1, len(front) // 40)]:
        alone = free.evaluate(point[None, :])
        assert alone.margins.min() >= 0.0
        assert alone.objectives.tobytes() == objectives.tobytes()
    assert nondominated(front.objectives).all()


def test_the_grid_s_front_is_nowhere_better():
    made, archive = small()
    found = moved(made, archive, 1)
    both = np.concatenate([found.front.objectives, archive.front.objectives])
    assert gap(found.front.objectives, union([both])) < 3e-5
    assert found.grid is not None
    assert found.moved is not None
    assert found.grid < found.moved


def test_workers_change_no_bit():
    made, archive = small()
    one, two = (moved(made, archive, 4, workers).front for workers in (1, 2))
    assert one.points.tobytes() == two.points.tobytes()
    assert one.objectives.tobytes() == two.objectives.tobytes()
    assert one.ordinals.tolist() == two.ordinals.tolist()


def test_a_small_study_comes_near_a_long_reference_from_any_seed_and_any_step():
    made, archive = small()
    long = reference(made, archive, LONG_SEEDS[:1])
    for step in (0.01, 0.005, 0.002):
        stepped = in_steps(made, step)
        found = moved(stepped, sweep(CoreProblem(stepped)), int(1e6 * step))
        assert gap(found.front.objectives, long) < GAP
        assert gap(long, union([found.front.objectives, long])) < GAP


def test_several_ranges_are_moved_together():
    found = in_three_ranges({"core.length": (0.24, 0.30), "tanks.length": (0.012, 0.03)}, 2)
    assert [axis.name for axis in found[0].problem.axes if not axis.discrete] == ["length", "thickness", "tank_length"]


@pytest.mark.slow
def test_several_ranges_are_moved_together_along_a_limit():
    # Longer tanks feed the passages more evenly, and leave less of the pocket's length to the core
    found = in_three_ranges({"core.length": (0.26, 0.325), "tanks.length": (0.004, 0.03)}, 10)
    points = found[0].front.points[:, [found[0].problem.space.names.index(name) for name in ("length", "tank_length")]]
    assert points[:, 0].max() < 0.324


def in_three_ranges(ranges: dict[str, tuple[float, float]], seeds: int) -> list[OffGrid]:
    made = small()[0]
    steps = {
        key: replace(made.variables[key], values=tuple(np.linspace(*ends, 4)), ends=ends)
        for key, ends in ranges.items()
    }
    made = replace(made, variables=made.variables | steps)
    archive = sweep(CoreProblem(made))
    found = [moved(made, archive, seed) for seed in range(seeds)]
    both = union([each.front.objectives for each in found])
    assert max(gap(each.front.objectives, both) for each in found) < GAP
    assert min(each.front.margins.min() for each in found) >= 0.0
    return found


def test_what_is_feasible_only_between_the_steps_is_found():
    made, archive = small()
    narrow = with_limits(made, *made.limits, Limit("core_thickness", 0.0521, 0.0523, None))
    nothing = sweep(CoreProblem(narrow))
    assert nothing.feasible == 0
    found = moved(narrow, nothing, 0)
    assert len(found.front) > 0
    assert (found.grid, archive.feasible > 0) == (0.0, True)
    assert found.front.margins.min() >= 0.0


# --- studies and runs -----------------------------------------------------------------------------------------------


def wanted(folder, **keys):
    return write(folder, **SMALL | keys, method='"auto"\noff_grid = true')


def test_a_study_that_does_not_ask_for_it_has_none_of_it():
    assert small()[0].search.off_grid is False


def test_a_run_keeps_the_front_off_the_grid_beside_the_grid_s(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    made = load(wanted(tmp_path))
    plain = job.run(replace(made, search=replace(made.search, off_grid=False)), tmp_path / "plain", 1, runs.NO_DATE,
                    lambda *_: None)  # fmt: skip
    outcome = job.run(made, tmp_path / "off", 1, runs.NO_DATE, lambda *_: None)
    again = job.run(made, tmp_path / "again", 2, runs.NO_DATE, lambda *_: None)
    run = runs.read(tmp_path / "off")
    assert "off_grid" not in plain.record
    assert {"off_grid", "off_grid_builds"} & set(plain.tables) == set()
    for name, table in plain.tables.items():
        assert table.equals(outcome.tables[name]), name
    for name in ("off_grid", "off_grid_builds"):
        assert (tmp_path / f"off/{name}.csv").read_bytes() == (tmp_path / f"again/{name}.csv").read_bytes()
    told = run.record["off_grid"]
    assert told["moved"] == ["thickness"]
    assert (told["front"], told["builds"]) == (len(run.tables["off_grid"]), len(run.tables["off_grid_builds"]))
    assert told["rated"] == again.record["off_grid"]["rated"] > told["front"]
    assert run.tables["off_grid_builds"]["cores"].sum() == told["front"]
    assert told["hypervolume"]["off_grid"] > told["hypervolume"]["grid"]


def test_a_run_stopped_off_the_grid_goes_on_to_the_same_tables(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    made = load(wanted(tmp_path))
    plan = method.search_plan(CoreProblem(made))

    def stopped(what, done, total):
        if what.endswith("off the grid") and done > 5000:
            raise KeyboardInterrupt

    for folder, progress in (("cut", stopped), ("cut", lambda *_: None), ("whole", lambda *_: None)):
        with begun(made, tmp_path / folder, runs.NO_DATE, plan) as work:
            if progress is stopped:
                with pytest.raises(KeyboardInterrupt):
                    job.run(made, work.folder, 1, work.made, progress, work.store)
                assert work.store.kept
            else:
                job.run(made, work.folder, 1, work.made, progress, work.store)
    cut, whole = (tmp_path / folder / "off_grid.csv" for folder in ("cut", "whole"))
    assert cut.read_bytes() == whole.read_bytes()


def test_check_says_what_will_be_moved(tmp_path, capsys):
    from optimize.cli.run_commands import check

    check(wanted(tmp_path))
    assert "off the grid: thickness from 40 mm to 90 mm" in capsys.readouterr().out


def test_a_core_off_the_grid_goes_by_its_name_and_is_the_core_that_was_judged(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    made = load(wanted(tmp_path))
    outcome = job.run(made, tmp_path / "run", 1, runs.NO_DATE, lambda *_: None)
    given = CoreProblem(made)
    table = outcome.tables["off_grid"]
    column = next(title for title in table.columns if title.startswith("air_pressure_drop@"))
    for _, row in table.iloc[:: len(table) // 12].iterrows():
        core = core_of_run(given.space, tmp_path / "run", row["core"])
        judged = given.evaluate_choices(core, 1)
        assert judged.margins.min() >= 0.0
        duty = column.partition("@")[2].split(" ")[0]
        rated = given.rate_choices(core, 1)["air_pressure_drop"][0, given.duty.names.index(duty)]
        assert rated / 1e3 == pytest.approx(row[column], rel=1e-12)
    known = asked.core_and_run(tmp_path / "run", None, None, table["core"].iloc[0])[2]
    assert known.name == table["core"].iloc[0]


def test_the_summary_tells_of_it(tmp_path, monkeypatch):
    from optimize.report import draw_all, style
    from optimize.report.off_grid_figure import off_grid_data
    from optimize.report.summary import OFF_GRID, sections

    monkeypatch.chdir(tmp_path)
    job.run(load(wanted(tmp_path)), tmp_path / "run", 1, runs.NO_DATE, lambda *_: None)
    run = runs.read(tmp_path / "run")
    said = sections(run)[OFF_GRID]
    assert "thickness free of steps" in said
    assert "stopped growing" in said
    assert "thickness from [mm]" in said
    data = off_grid_data(run)
    assert (len(data.grid), len(data.moved)) == (run.record["front"], run.record["off_grid"]["front"])
    with style.house_style():
        figure = draw_all(run)["off_grid"]
    assert "more of the hypervolume" in figure.get_suptitle()


@pytest.mark.parametrize(("limit", "words"), [
    ('min = "52.1 mm"\nmax = "52.3 mm"', "On the grid nothing meets everything."),
    ('min = "52.1 mm"\nmax = "52.3 mm"\n[[limits]]\noutput = "filled_mass"\nmax = "1 g"', "None of them meets every"),
])  # fmt: skip
def test_a_report_is_made_where_the_grid_has_nothing(tmp_path, monkeypatch, limit, words):
    from optimize.report import write_report

    monkeypatch.chdir(tmp_path)
    path = write(tmp_path, extra=f'\n[[limits]]\noutput = "core_thickness"\n{limit}\n', **SMALL,
                 method='"auto"\noff_grid = true')  # fmt: skip
    made = load(path)
    outcome = job.run(made, tmp_path / "run", 1, runs.NO_DATE, lambda *_: None)
    assert not outcome.feasible
    write_report(tmp_path / "run")
    assert words in (tmp_path / "run/summary.md").read_text(encoding="utf-8")
    assert ("off_grid" in outcome.tables) == words.startswith("On")


@pytest.mark.parametrize(("keys", "word"), [
    ({"method": '"auto"\noff_grid = "yes"'}, "true or false"),
    ({"method": '"auto"\noffgrid = true'}, "unknown key 'offgrid'"),
    ({"method": '"auto"\noff_grid = true', "thickness": '"70 mm"'}, "no variable is a range"),
    ({"method": '"auto"\noff_grid = true', "thickness": '["70 mm", "80 mm"]'}, "no variable is a range"),
])  # fmt: skip
def test_what_is_wrong_with_it_is_said(tmp_path, keys, word):
    with pytest.raises(StudyFaults, match=word) as caught:
        load(write(tmp_path, **keys))
    assert "line" in str(caught.value)


# --- the measurement, minutes long ----------------------------------------------------------------------------------

MEASURED = ("dune_racer.toml", "tow_rig_us_units.toml")


@cache
def searched(name: str, step: float | None = None) -> tuple[Study, Archive]:
    made = load(ROOT / "studies" / name)
    made = made if step is None else in_steps(made, step)
    return made, sweep(CoreProblem(made), workers=2)


@cache
def long_reference(name: str) -> np.ndarray:
    made, archive = searched(name)
    fronts = [off_grid_front(seeded(made, s), archive, 2, care=LONG).front.objectives for s in LONG_SEEDS]
    joined = union(fronts)
    apart = ", ".join(f"{100 * gap(front, joined):.5f} %" for front in fronts)
    print(f"\n{name}: long reference of {len(LONG_SEEDS)} seeds, {len(joined):,} cores; each misses of it {apart}")
    return joined


@pytest.mark.slow
@pytest.mark.parametrize("name", MEASURED)
def test_ten_seeds_come_near_a_long_reference(name):
    made, archive = searched(name)
    long = long_reference(name)
    gaps = []
    for seed in SEEDS:
        found = moved(made, archive, seed, 2)
        gaps.append(gap(found.front.objectives, long))
        told = f"{found.found.rated:,} rated, {len(found.front):,} on the front, {found.found.builds} builds"
        print(f"{name}: seed {seed}: {told}; misses {100 * gaps[-1]:.4f} %")
    print(f"{name}: the grid's front misses {100 * gap(archive.front.objectives, long):.4f} %")
    assert max(gaps) <= GAP


@pytest.mark.slow
@pytest.mark.parametrize("name", MEASURED)
def test_the_answer_does_not_depend_on_the_step(name):
    long = long_reference(name)
    coarse, fine = (moved(*searched(name, step), seed=0, workers=2).front.objectives for step in (0.005, 0.002))
    both = union([coarse, fine])
    told = ", ".join(f"{100 * gap(f, both):.4f} %" for f in (coarse, fine))
    print(f"{name}: from steps of 5 mm and 2 mm, of both together {told} missing; "
          f"of the reference {100 * gap(coarse, long):.4f} %, {100 * gap(fine, long):.4f} %")  # fmt: skip
    assert max(gap(f, both) for f in (coarse, fine)) <= GAP
    assert max(gap(f, long) for f in (coarse, fine)) <= GAP


@pytest.mark.slow
@pytest.mark.parametrize(("name", "step"), [("dune_racer.toml", 0.001), ("tow_rig_us_units.toml", 0.000254)])
def test_a_sweep_in_finer_steps_finds_nothing_more(name, step):
    """Every choice of the rest is rated at every step: whatever the refinement had overlooked would stand out here."""
    front = moved(*searched(name), seed=0, workers=2).front.objectives
    finer = searched(name, step)[1].front.objectives
    missed = gap(front, union([front, finer]))
    print(f"{name}: in steps of {1e3 * step:g} mm the sweep's front misses {100 * gap(finer, front):.3f} % "
          f"of the one off the grid, which misses {100 * missed:.4f} % of both together")  # fmt: skip
    assert missed < GAP
