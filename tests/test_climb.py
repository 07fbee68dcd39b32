"""The neighbourhood search against every point of small spaces, under several requirements at once."""

import numpy as np
import pytest
from test_search import Drawn, Smooth, all_points

from optimize.pareto import nondominated
from optimize.search.climb import climb, front_of, kept, neighbourhood
from optimize.search.problem import Axis, Evaluation


def brute_front(problem, shift) -> set[tuple[float, ...]]:
    """Objectives of the front by every point, the margins shifted by hand."""
    made = problem.evaluate(all_points(problem))
    good = np.all(np.round(made.margins + shift, 12) >= 0, axis=1) & np.all(np.isfinite(made.objectives), axis=1)
    rows = made.objectives[good]
    return {tuple(row) for row in rows[nondominated(rows)]} if len(rows) else set()


@pytest.mark.parametrize("start", [[0, 23, 15, 0, 0], [2, 0, 0, 11, 0], [1, 12, 8, 6, 0]])
def test_from_any_point_of_a_smooth_space_the_whole_front_is_found(start):
    problem = Smooth()
    rows = climb(problem, np.array([start], dtype=float)).rows
    found = {tuple(row) for row in rows.objectives[front_of(rows, np.zeros(3))]}
    assert found == brute_front(problem, np.zeros(3))
    assert len(rows) < 0.8 * np.prod(problem.sizes)


def test_every_version_of_the_requirements_gets_its_own_front():
    problem = Smooth()
    shifts = [np.zeros(3), np.array([0.1, 0.0, 0.0]), np.array([0.0, -0.2, 0.0]), np.array([0.0, 0.0, -0.5])]
    rows = climb(problem, np.array([[1.0, 12, 8, 6, 0]]), shifts).rows
    for shift in shifts:
        assert {tuple(row) for row in rows.objectives[front_of(rows, shift)]} == brute_front(problem, shift)


def test_a_start_that_keeps_nothing_is_walked_to_what_does():
    class Walled(Smooth):
        def evaluate(self, points):
            made = super().evaluate(points)
            return Evaluation(made.objectives, made.margins - np.array([0.0, 0.6, 0.0]), made.tie)

    problem = Walled()
    start = np.array([[0.0, 23, 15, 11, 0]])
    assert not kept(climb(problem, start, most=1).rows, np.zeros(3)).any()
    rows = climb(problem, start).rows
    assert {tuple(row) for row in rows.objectives[front_of(rows, np.zeros(3))]} == brute_front(problem, np.zeros(3))


def test_no_point_is_judged_twice_and_none_that_cannot_be_computed_is_on_a_front():
    problem = Drawn((4, 6, 5), (True, False, False), 2, 5)
    rows = climb(problem, np.array([[0.0, 0, 0]])).rows
    assert len({point.tobytes() for point in rows.points}) == len(rows)
    front = front_of(rows, np.zeros(3))
    assert np.isfinite(rows.objectives[front]).all()
    assert np.isfinite(rows.margins[front]).all()


def test_the_same_start_gives_the_same_points():
    a, b = (climb(Smooth(), np.array([[0.0, 3, 3, 3, 0]])).rows for _ in range(2))
    assert a.points.tobytes() == b.points.tobytes()


def test_neighbours_differ_in_one_or_two_variables_and_stay_inside():
    axes = (Axis("fin", size=4, outer=True), Axis("count", size=20), Axis("length", low=1.0, high=2.0))
    points = np.array([[1.0, 0.0, 2.0]])
    around = np.concatenate(list(neighbourhood(points, axes)))
    assert (np.count_nonzero(around != points, axis=1) <= 2).all()
    assert (around >= [0, 0, 1.0]).all()
    assert (around <= [3, 19, 2.0]).all()
    assert {1.0, 2.0} <= set(around[:, 1])  # one and two steps along the ladder


def test_a_budget_ends_the_search():
    assert len(climb(Smooth(), np.array([[0.0, 3, 3, 3, 0]]), most=50).seen) < 2500
