"""Continuous variables moved off their steps: a front that is known in closed form, whatever the step begun with."""

import numpy as np
import pytest

from optimize.pareto import hypervolume
from optimize.search.off_grid import refine
from optimize.search.problem import Axis, Evaluation


class Known:
    """Kind 1 is best everywhere: its front is f2 = (1 - f1)^2, f1 from 0.25 to 1."""

    objective_names = ("f1", "f2")
    margin_names = ("f1 at least 0.25",)
    axes = (Axis("kind", size=4, outer=True), Axis("a", low=0.0, high=1.0))

    def evaluate(self, points):
        kind, a = points.T
        objectives = np.column_stack([a, (1 - a) ** 2 + 0.2 * np.abs(kind - 1)])
        return Evaluation(objectives, (a - 0.25)[:, None], np.zeros((len(points), 0)))


def grid(step: float) -> np.ndarray:
    return np.array([[kind, a] for kind in (0, 1) for a in np.arange(0.3, 1.0001, step)])


@pytest.mark.parametrize("step", [0.35, 0.1])
def test_the_front_is_the_one_in_closed_form_whatever_the_step(step):
    found = refine(Known(), grid(step), np.random.SeedSequence(3))
    f1, f2 = found.front.objectives.T
    assert f2 == pytest.approx((1 - f1) ** 2)
    assert np.all(found.front.points[:, 0] == 1)
    assert np.all(found.front.margins >= 0)
    # Area up to (1, 0.5625): the integral of 0.5625 - (1 - x)^2 from 0.25 to 1.
    exact = 0.5625 * 0.75 - 0.75**3 / 3
    assert hypervolume(found.front.objectives, np.array([1.0, 0.5625])) == pytest.approx(exact, rel=1e-4)


def test_the_same_seed_gives_the_same_bits_with_any_workers():
    one, two = (refine(Known(), grid(0.1), np.random.SeedSequence(5), workers) for workers in (1, 2))
    assert one.front.points.tobytes() == two.front.points.tobytes()
    assert one.rated == two.rated


def test_a_space_of_lists_alone_is_refused():
    class Lists(Known):
        axes = (Axis("kind", size=4), Axis("a", size=3))

    with pytest.raises(ValueError, match="continuous"):
        refine(Lists(), grid(0.1), np.random.SeedSequence(1))
