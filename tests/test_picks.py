"""The named cores of a front."""

import numpy as np
import pytest

from optimize.picks import pick_name, picks
from optimize.study.model import Objective
from physics.outputs import OUTPUTS

HEAT = Objective("heat_rejected", True, "full_power")
LOSS = Objective("air_pressure_drop", False, "full_power")
MASS = Objective("filled_mass", False, None)


def test_each_objective_has_its_best_core():
    front = np.array([[-50.0, 9.0, 3.0], [-40.0, 4.0, 2.5], [-30.0, 2.0, 2.7], [-35.0, 5.0, 1.0]])
    named = picks(front, (HEAT, LOSS, MASS))
    assert (named["most cooling"], named["least air loss"], named["lightest"]) == (0, 2, 3)


def test_the_knee_is_where_the_front_bends():
    """A front of two straight legs bends in their common point."""
    first = np.column_stack([np.linspace(-50, -48, 5), np.linspace(10, 2, 5)])
    second = np.column_stack([np.linspace(-46, -40, 4), np.linspace(1.9, 1.6, 4)])
    assert picks(np.vstack([first, second]), (HEAT, LOSS))["knee"] == 4


def test_a_tie_goes_to_the_better_of_the_other_objectives():
    front = np.array([[-50.0, 9.0, 3.0], [-50.0, 8.0, 4.0], [-50.0, 8.0, 3.5], [-10.0, 8.0, 3.4]])
    assert picks(front, (HEAT, LOSS, MASS))["most cooling"] == 2


def test_a_front_of_one_core_gives_it_every_name():
    assert picks(np.array([[-50.0, 9.0]]), (HEAT, LOSS)) == {"knee": 0, "most cooling": 0, "least air loss": 0}


def test_an_objective_without_a_name_of_its_own_is_called_by_its_label():
    assert pick_name(Objective("stack_height", False, None)) == "least stack height"
    assert pick_name(Objective("heat_rejected", False, "idle")) == "least heat rejected, idle"


@pytest.mark.parametrize("maximise", [True, False])
def test_every_output_can_be_an_objective_with_a_name(maximise):
    for output in OUTPUTS.values():
        name = pick_name(Objective(output.name, maximise, "idle" if output.per == "duty" else None))
        assert name
        assert name != "knee"


@pytest.mark.parametrize(
    "objectives",
    [
        (Objective("heat_rejected", True, "full_power"), Objective("heat_rejected", True, "long_climb"), LOSS),
        (Objective("dry_mass", False, None), Objective("filled_mass", False, None), HEAT),
    ],
)
def test_two_objectives_of_one_study_have_picks_of_their_own(objectives):
    """Two duty points, or dry and filled mass, may both be objectives: neither pick may hide the other."""
    front = np.array([[1.0, 2.0, 3.0], [2.0, 1.0, 3.0], [3.0, 3.0, 1.0], [1.5, 1.5, 2.0]])
    assert len(picks(front, objectives)) == 4
