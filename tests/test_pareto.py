"""Fronts, layers, hypervolume and knee against published values and plain definitions."""

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from optimize.pareto import (
    Screen,
    hypervolume,
    knee,
    layers,
    nondominated,
    normalised_hypervolume,
    unique_front,
)

KNOWN: dict[str, Any] = tomllib.loads((Path(__file__).parent / "reference/known_fronts.toml").read_text())
ZDT = {"zdt1": lambda f: 1.0 - np.sqrt(f), "zdt2": lambda f: 1.0 - f**2}

# Small whole numbers: many ties, many equal rows.
objective_rows = st.integers(1, 4).flatmap(
    lambda k: hnp.arrays(np.float64, st.tuples(st.integers(0, 40), st.just(k)), elements=st.integers(0, 5).map(float))
)


def dominators(rows):
    """Matrix [i, j]: row j dominates row i, by the definition."""
    return np.array([[bool((b <= a).all() and (b < a).any()) for b in rows] for a in rows], dtype=bool).reshape(
        len(rows), len(rows)
    )


def zdt_front(name, count):
    f1 = np.linspace(0.0, 1.0, count)
    return np.column_stack([f1, ZDT[name](f1)])


@given(objective_rows)
def test_front_is_the_rows_without_a_dominator(rows):
    assert nondominated(rows).tolist() == (~dominators(rows).any(axis=1)).tolist()


@given(objective_rows, st.integers(1, 4))
def test_layer_is_the_longest_chain_of_dominators(rows, count):
    beats = dominators(rows)
    chain = np.ones(len(rows), dtype=int)
    for _ in range(len(rows)):
        chain = np.array([1 + max([0, *chain[beats[i]]]) for i in range(len(rows))], dtype=int)
    assert layers(rows, count).tolist() == np.where(chain <= count, chain, 0).tolist()


@given(objective_rows, st.data())
def test_screen_stops_only_dominated_rows(rows, data):
    chosen = data.draw(hnp.arrays(np.bool_, len(rows)))
    stopped = np.setdiff1d(np.arange(len(rows)), Screen.of(rows[chosen]).passing(rows))
    assert dominators(rows)[stopped][:, chosen].any(axis=1).all()


@pytest.mark.parametrize("objectives", [1, 2, 3, 4])
def test_screen_of_many_pivots_stops_most_dominated_rows_and_no_other(objectives):
    random = np.random.default_rng(5)
    rows, pivots = random.random((2000, objectives)), random.random((1000, objectives)) * 0.7
    dominated = np.array([((pivots <= row).all(axis=1) & (pivots < row).any(axis=1)).any() for row in rows])
    stopped = np.setdiff1d(np.arange(2000), Screen.of(pivots).passing(rows))
    assert dominated[stopped].all()
    assert len(stopped) > 0.7 * dominated.sum()


@given(objective_rows, st.data())
def test_unique_front_keeps_the_best_tie_then_the_first(rows, data):
    tie = data.draw(hnp.arrays(np.float64, (len(rows), 2), elements=st.integers(0, 2).map(float)))
    best: dict[tuple[float, ...], tuple[Any, ...]] = {}
    for i, (row, t) in enumerate(zip(rows, tie, strict=True)):
        key = (*t, i)
        best[tuple(row)] = min(best.get(tuple(row), key), key)
    assert unique_front(rows, tie).tolist() == sorted(key[-1] for key in best.values())


@pytest.mark.parametrize("case", KNOWN["small_set"])
def test_small_sets_have_their_published_hypervolume_and_front(case):
    points = np.array(case["points"])
    assert hypervolume(points, np.array(case["reference"])) == pytest.approx(case["hypervolume"], abs=1e-9)
    assert points[nondominated(points)].tolist() == case["front"]


@pytest.mark.parametrize("name", ZDT)
@pytest.mark.parametrize("count", [50, 100])
def test_discretised_front_has_its_known_hypervolume(name, count):
    known = KNOWN[name][f"hypervolume_1_1_of_{count}_points"]
    # 1e-6: the digits printed
    assert hypervolume(zdt_front(name, count), np.full(2, 1.1)) == pytest.approx(known, abs=1e-6)


@pytest.mark.parametrize("name", ZDT)
@pytest.mark.parametrize(("reference", "key"), [(1.1, "1_1"), (2.0, "2"), (11.0, "11")])
def test_fine_front_comes_up_to_the_largest_hypervolume(name, reference, key):
    largest = KNOWN[name][f"hypervolume_{key}"]
    found = hypervolume(zdt_front(name, 200_001), np.full(2, reference))
    # A staircase of step h under a front falling by 1 misses about h/2 = 2.5e-6; printed digits add 5e-8.
    assert largest - 4e-6 < found < largest + 1e-7


def test_sphere_front_of_three_objectives_comes_up_to_the_largest_hypervolume():
    a, b = (g.ravel() for g in np.meshgrid(*[np.linspace(0.0, np.pi / 2, 400)] * 2))
    front = np.column_stack([np.cos(a) * np.cos(b), np.cos(a) * np.sin(b), np.sin(a)])
    largest = KNOWN["dtlz2"]["hypervolume_1_1_of_3_objectives"]
    # A staircase under a surface of area pi/2 misses of the order of the step, pi/800 = 0.004.
    assert largest - 0.006 < hypervolume(front, np.full(3, 1.1)) < largest


def test_hypervolume_ignores_rows_beyond_the_reference():
    assert hypervolume(np.array([[5.0, 0.1], [0.5, 0.5]]), np.ones(2)) == 0.25
    assert hypervolume(np.array([[5.0, 0.1]]), np.ones(2)) == 0.0
    assert hypervolume(np.empty((0, 2)), np.ones(2)) == 0.0


def test_normalised_hypervolume_does_not_change_with_units():
    front, ideal, reference = zdt_front("zdt1", 50), np.zeros(2), np.full(2, 1.1)
    scale, shift = np.array([1e5, 1e-3]), np.array([-3.0, 7.0])
    moved = normalised_hypervolume(front * scale + shift, ideal * scale + shift, reference * scale + shift)
    assert moved == pytest.approx(normalised_hypervolume(front, ideal, reference), rel=1e-12)
    assert normalised_hypervolume(np.array([[-1.0, -1.0]]), ideal, reference) == 1.0


def test_normalised_hypervolume_refuses_a_box_without_volume():
    with pytest.raises(ValueError, match="ideal"):
        normalised_hypervolume(np.zeros((1, 2)), np.ones(2), np.array([2.0, 1.0]))


@pytest.mark.parametrize(
    "function", [nondominated, knee, lambda rows: layers(rows, 2), lambda rows: hypervolume(rows, np.ones(2))]
)
def test_rows_with_nan_are_refused(function):
    with pytest.raises(ValueError, match="NaN"):
        function(np.array([[0.0, 1.0], [np.nan, 0.0]]))


def test_knee_of_zdt1_is_where_its_slope_is_minus_one():
    # f2 = 1 - sqrt(f1): slope -1 at f1 = 1/4.
    front = zdt_front("zdt1", 101)
    assert front[knee(front), 0] == pytest.approx(0.25)


def test_knee_does_not_change_with_units():
    front = zdt_front("zdt1", 101)
    assert knee(front * np.array([1e4, 1e-4]) + 5.0) == knee(front)


def test_knee_of_three_objectives_is_the_balanced_corner():
    front = np.array([[0.0, 1.0, 1.0], [1.0, 0.0, 1.0], [0.4, 0.3, 0.3], [1.0, 1.0, 0.0], [0.5, 0.6, 0.5]])
    assert knee(front) == 2


@pytest.mark.parametrize(
    ("front", "at"),
    [
        ([[3.0, 4.0]], 0),
        ([[0.0, 1.0], [1.0, 0.0]], 0),
        ([[1.0, 2.0, 5.0], [1.0, 2.0, 5.0]], 0),
        ([[0.0, 0.0, 1.0], [1.0, 1.0, 0.0], [0.2, 0.2, 0.3]], 2),  # one row best in two objectives
        ([[0.0, 1.0, 2.0], [0.1, 0.1, 2.0], [1.0, 0.0, 2.0]], 1),  # one objective constant
    ],
)
def test_knee_of_a_degenerate_front_is_defined(front, at):
    assert knee(np.array(front)) == at


def test_knee_of_a_front_that_bulges_away_is_an_end():
    assert knee(zdt_front("zdt2", 51)) in (0, 50)


def test_knee_of_an_empty_front_is_refused():
    with pytest.raises(ValueError, match="at least one"):
        knee(np.empty((0, 2)))
