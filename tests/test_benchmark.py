"""The benchmark measures what it says: scripts that give the product's numbers, operations, searches."""

import csv
from dataclasses import fields
from subprocess import CalledProcessError
from time import perf_counter

import numpy as np
import pytest
from small_studies import ROOT, SECOND_DUTY, SMALL, problem, study, with_variable, write

from optimize.benchmark import searchers, startup, suite, table, written
from optimize.benchmark.baselines import Baseline, baseline, coolprop, differences, fitted, scalar_ratings, why_none
from optimize.benchmark.growth import Growth, finer, over_designs, over_duty_points, workers_against_one
from optimize.benchmark.operations import TRANSCENDENTAL, counting, floor_of, marked
from optimize.benchmark.rates import measure, random_points
from optimize.benchmark.scalar_rating import rate_core
from optimize.benchmark.searchers import Course, OutOfTimeError, Watched, compete, course, exact_front
from optimize.bounded import BoundedCores
from optimize.evaluate import CoreProblem
from optimize.study.load import load
from physics.fins import Fin

TINY = SMALL | {"air_fin": '["S18-64"]', "port": '"R22"'}


def script_problem(turbulator: str, passes: str, header: str = "centre") -> CoreProblem:
    """Two duty points, one turbulator, one layout; every thickness and number of passages."""
    keys = TINY | {"turbulator": f'"{turbulator}"', "passes": f'"{passes}"', "header": f'"{header}"'}
    return problem(SECOND_DUTY, **keys)


@pytest.mark.parametrize("turbulator", ["TS-20-16", "TP-20-14"])
@pytest.mark.parametrize("passes", ["1", "2 through the thickness", "3 through the thickness", "2 side by side"])
def test_the_script_with_the_fits_gives_the_products_numbers(turbulator, passes):
    space = script_problem(turbulator, passes)
    chosen = baseline(space, 12)
    assert len(chosen.cores) == 12
    found = differences(space, chosen, list(scalar_ratings(chosen, fitted(space))))
    assert {name for name, difference in found.items() if not difference < 1e-6} == set()


@pytest.mark.parametrize("header", ["same end", "opposite ends"])
def test_the_script_feeds_its_header_like_the_product(header):
    space = script_problem("TS-20-16", "1", header)
    chosen = baseline(space, 6)
    found = differences(space, chosen, list(scalar_ratings(chosen, fitted(space))))
    assert max(found.values()) < 1e-6


def test_the_script_has_the_transition_of_plain_passages():
    """Flows of two to six times the study's, so that laminar, between and turbulent all come up."""
    for times in (2.0, 6.0):
        keys = {"turbulator": '"TP-20-14"', "passes": '"2 through the thickness"'}
        space = problem(**TINY, **keys, coolant_flow=f'"{55 * times:g} L/min"')
        chosen = baseline(space, 18)
        assert max(differences(space, chosen, list(scalar_ratings(chosen, fitted(space)))).values()) < 1e-6
        assert np.max(space.rate_points(chosen.points)["coolant_Re"]) > 2300


@pytest.mark.parametrize(("turbulator", "passes"), [("TS-20-16", "1"), ("TP-20-14", "2 through the thickness")])
def test_the_script_that_asks_coolprop_agrees_to_half_a_percent(turbulator, passes):
    space = script_problem(turbulator, passes)
    chosen = baseline(space, 3)
    found = differences(space, chosen, list(scalar_ratings(chosen, coolprop(space))))
    assert max(found.values()) < 0.005
    assert found["heat_rejected"] > 1e-9  # not the fits again


def test_a_changed_core_makes_the_script_differ():
    """The comparison would see it: 1 % of a fin's pitch is no rounding error."""
    space = script_problem("TS-20-16", "1")
    chosen = baseline(space, 2)
    chosen.cores[1].air_fin.pitch *= 1.01
    found = differences(space, chosen, list(scalar_ratings(chosen, fitted(space))))
    assert found["heat_rejected"] > 1e-4
    assert found["air_pressure_drop"] > 1e-4


def test_the_script_refuses_fins_it_does_not_know():
    space = script_problem("TS-20-16", "1")
    chosen: Baseline = baseline(space, 1)
    chosen.cores[0].coolant_family = "open"
    with pytest.raises(ValueError, match="no scalar correlations"):
        rate_core(chosen.cores[0], chosen.duties, *fitted(space))


def test_a_study_without_a_baseline_says_why():
    assert why_none(script_problem("TS-20-16", "1")) is None
    assert "offset strip" in (why_none(problem(**(TINY | {"turbulator": '"OPEN-30"'}))) or "")
    found = CoreProblem(with_variable(study(**TINY), "core.air_fin", "P16-64"))
    assert "offset strip" in (why_none(found) or "")


# --- the floor ------------------------------------------------------------------------------------------------------


def test_elements_are_counted_by_operation():
    with counting() as counter:
        x = np.asarray(marked(np.linspace(0.5, 1.0, 7)))
        y = np.exp(x) * x
        y += 1.0
        np.where(y > 2.0, y, x)
        np.add.reduce(y)
        x[:, None] * x[:3]
        np.interp(x, [0.0, 1.0], [0.0, 2.0])
    counts = {(operation.__name__, letter): n for (operation, letter), n in counter.items()}
    assert counts == {
        ("exp", "d"): 7, ("multiply", "d"): 7 + 21, ("add", "d"): 7 + 7, ("greater", "d"): 7, ("where", "d"): 7,
        ("interp", "d"): 7,
    }
    assert np.asarray is not np.asanyarray


def test_columns_are_marked_through_and_through():
    fin = marked(Fin(*(np.array([x]) for x in (2.54e-3, 1.279e-3, 0.102e-3))))
    assert {type(getattr(fin, field.name)).__name__ for field in fields(fin)} == {"_Counted"}


def test_counting_a_rating_counts_in_proportion_and_changes_no_number():
    space = script_problem("TS-20-16", "1")
    points = random_points(space.axes, 40, np.random.default_rng(0))
    (batch,) = space.space.batches(points)
    before = space.rate(batch)["heat_rejected"].copy()
    floor = floor_of(batch.designs, space.duty, space.envelope, len(points))
    assert np.array_equal(space.rate(batch)["heat_rejected"], before)
    names = {name for name, _, _ in floor.kinds}
    assert {"exp", "tanh", "multiply", "divide", "add"} <= names
    # Four passes of two films: at least j of each side (log, exp, exp) and its fins (tanh).
    assert floor.transcendental > 4 * 2 * 4
    assert floor.plain > floor.transcendental
    hard = sum(count for name, count, _ in floor.kinds if name in TRANSCENDENTAL)
    assert floor.transcendental == pytest.approx(hard)
    assert floor.floor == pytest.approx(sum(count * ns for _, count, ns in floor.kinds))
    assert floor.ratio == pytest.approx(floor.taken / floor.floor)


# --- searchers ------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def small() -> CoreProblem:
    return problem(**SMALL)


def test_the_exact_front_is_that_of_every_core_rated(small):
    front = exact_front(small)
    shape = [axis.size for axis in small.axes]
    every = np.array(np.unravel_index(np.arange(np.prod(shape)), shape), dtype=float).T
    evaluation = small.evaluate(every)
    good = evaluation.objectives[np.all(evaluation.margins >= 0, axis=1)]
    beaten = [np.any(np.all(good <= row, axis=1) & np.any(good < row, axis=1)) for row in good]
    expected = np.unique(good[~np.array(beaten)], axis=0)
    assert np.array_equal(np.unique(front, axis=0), expected)


def test_a_course_ends_at_no_gap_when_everything_was_rated_and_never_rises(small):
    front = exact_front(small)
    watched = Watched(small, 60.0)
    for part in np.array_split(random_points(small.axes, 3000, np.random.default_rng(1)), 12):
        watched.evaluate(part)
    found = course("random", 0, watched, front)
    assert found.rated == 3000
    assert np.all(np.diff(found.gap) <= 1e-12)
    assert 0 <= found.gap[-1] < found.gap[0] <= 1
    whole = Watched(small, 60.0)
    searchers.sweep(whole)
    assert course("sweep", 0, whole, front).gap[-1] == pytest.approx(0.0, abs=1e-12)


def test_what_comes_late_does_not_count(small):
    watched = Watched(small, 0.0, begun=perf_counter() - 1.0)
    with pytest.raises(OutOfTimeError):
        watched.evaluate(random_points(small.axes, 3, np.random.default_rng(0)))
    assert (watched.rated, watched.times) == (0, [])


def test_searchers_compete_and_an_absent_one_is_told(small, monkeypatch):
    monkeypatch.setattr(searchers, "_pymoo_is_there", lambda: False)
    courses, absent = compete(small, exact_front(small), 0.6, 1)
    assert absent == ["pymoo NSGA-II"]
    assert [c.searcher for c in courses] == ["finfront sweep", "finfront evolve", "Optuna NSGA-II"]
    assert all(np.all((c.gap >= 0) & (c.gap <= 1)) and np.all(c.times <= 0.6) for c in courses)


def test_the_certified_search_ends_at_the_exact_front_with_few_cores_rated(small):
    front, bounded = exact_front(small), BoundedCores(small.study)
    assert np.array_equal(np.unique(exact_front(bounded), axis=0), np.unique(front, axis=0))
    watched = searchers.WatchedBounds(bounded, 60.0)
    searchers._certified(watched, 0)
    found = course("certify", 0, watched, front)
    assert found.gap[-1] == pytest.approx(0.0, abs=1e-12)
    assert found.rated < 0.5 * small.space.size


def test_pymoo_searches_the_same_space(small):
    pytest.importorskip("pymoo")
    searchers._run(searchers._pymoo, Watched(small, 0.1), 0)  # what is loaded at the first call takes its time
    watched = Watched(small, 4.0)
    with pytest.raises(OutOfTimeError):
        searchers._pymoo(watched, 0)
    assert watched.rated >= searchers.POPULATION
    assert course("pymoo", 0, watched, exact_front(small)).gap[-1] < 1


# --- growth ---------------------------------------------------------------------------------------------------------


def test_slopes_are_exponents():
    sizes = np.array([1.0, 2.0, 4.0, 8.0])
    assert Growth("time", "s", "designs", sizes, 3 * sizes**1.5).slope == pytest.approx(1.5)
    assert Growth("time", "s", "designs", sizes, np.array([1.0, 1.0, 1.0, 4.0])).last_slope == pytest.approx(2.0)


def test_growth_is_measured_over_what_is_said(small):
    assert over_designs(small, 40).sizes.tolist() == [1, 2, 5, 10, 20, 40]
    assert over_duty_points(small, 8).sizes.tolist() == [1, 2, 4, 8, 16]


def test_a_finer_space_holds_as_many_cores_between_the_same_ends(small):
    space = finer(small, 5000)
    assert 5000 <= space.space.size < 5000 + small.space.size
    thickness = space.study.variables["core.thickness"].values
    assert (min(thickness), max(thickness)) == (0.04, 0.09)
    assert finer(CoreProblem(with_variable(small.study, "core.thickness", 0.06)), 5000) is None


def test_workers_find_what_one_finds(small):
    done = workers_against_one(small, 2000, 2)
    assert done.same
    assert done.designs >= 2000


# --- table, files ---------------------------------------------------------------------------------------------------


def test_rates_count_what_was_rated(small):
    rate = measure(small, 50)
    assert rate.cores >= 50
    assert rate.ratings_a_second == pytest.approx(rate.cores_a_second * rate.points)


def test_a_fresh_process_that_fails_is_no_start(small):
    """The study's file is gone: nothing was rated."""
    with pytest.raises(CalledProcessError):
        startup.seconds_of_rate(small)


def test_rows_come_for_every_part_and_go_into_a_folder(tmp_path):
    courses: list[Course] = []
    small = CoreProblem(load(write(tmp_path, **SMALL)))
    rows = list(suite.rows(small, suite.Asked(cores=60, seconds=0.5, seeds=1), courses))
    text = "\n".join(row.markdown for row in rows)
    parts = ("rating", "one core alone", "finfront --help", "finfront rate", "math module", "PropsSI", "transcendental",
             "NumPy floor", "finfront sweep", "designs in one call", "copies of a core", "duty points",
             "above idle")  # fmt: skip
    assert [words for words in parts if words not in text] == []
    paths = written.write(tmp_path, "some machine", rows, courses, "Small")
    assert {path.name for path in paths} == {"benchmark.md", "benchmark.csv", "gap.csv", "gap.png", "gap.svg"}
    assert all(row.markdown in (tmp_path / "benchmark.md").read_text(encoding="utf-8") for row in rows)
    with (tmp_path / "gap.csv").open(encoding="utf-8") as file:
        assert len(list(csv.reader(file))) == 1 + sum(len(c.times) for c in courses)


def test_a_study_that_solves_for_its_flows_is_told_what_is_left_out():
    space = CoreProblem(load(ROOT / "studies/dune_racer.toml"))
    rows = list(suite.rows(space, suite.Asked(cores=20), []))
    left = {row.what for row in rows if row.measured == suite.LEFT_OUT}
    assert left >= {"scalar scripts", "NumPy floor", "time over duty points"}
    assert "rating" not in left


def test_a_bar_in_a_row_does_not_part_its_cell():
    assert table.Row("a|b", "1").markdown == "| a\\|b | 1 |  |"


def test_lines_of_a_figure_are_the_gaps_reached_last():
    own = [
        Course("x", 0, 9, np.array([1.0, 2.0, 4.0]), np.array([0.5, 0.2, 0.1])),
        Course("x", 1, 9, np.array([0.5, 3.0]), np.array([0.4, 0.3])),
    ]
    (line,) = written.gap_lines(own)
    assert line.gaps[:, 0].tolist() == [50, 40]
    assert line.gaps[:, -1].tolist() == [10, 30]
    assert line.middle[-1] == pytest.approx(20)
