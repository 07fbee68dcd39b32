"""Clearances in the pocket, signed, against subtraction by hand."""

from typing import Any

import numpy as np
import pytest
from cores import core
from hypothesis import given, settings
from hypothesis import strategies as st

from physics.columns import column
from physics.core import geometry
from physics.envelope import Envelope, clearances
from physics.outputs import CLEARANCES
from physics.ports import d_port, round_port, slot_port

POCKET = Envelope(pocket_length=0.330, pocket_width=0.118, pocket_depth=0.066, proud_height=0.024)


def room(envelope: Envelope = POCKET, **changes: Any) -> dict[str, float]:
    d = core(**changes)
    return {name: float(value[0]) for name, value in clearances(d, geometry(d), envelope).items()}


def test_clearances_carry_the_names_of_the_outputs() -> None:
    assert tuple(room()) == CLEARANCES


def test_a_core_worked_by_hand_has_the_room_that_is_left() -> None:
    # Core 280 long, two tanks of 18 + 3; stack 112.2; 70 thick; bore 19 with wall and land, 3 + 3, each side
    expected = {
        "length_clearance": 330 - 280 - 2 * 21,
        "width_clearance": 118 - 112.2,
        "lid_clearance": 66 + 24 - 70,
        "port_height_clearance": 70 - 12 - 19,
        "port_width_clearance": 112.2 - 12 - 19,
        "port_flange_clearance": 66 - 12 - 19,
    }
    assert room() == {name: pytest.approx(value * 1e-3, abs=1e-9) for name, value in expected.items()}


def test_ports_of_a_divided_tank_share_its_face() -> None:
    through = room(passes=2, thickness=0.08)
    # 80 - three walls of 3: two chambers of 35.5
    assert through["port_height_clearance"] == pytest.approx(0.0355 - 0.006 - 0.019)
    assert through["port_width_clearance"] == pytest.approx(0.1122 - 0.012 - 0.019)
    # The upper chamber starts at 3 + 35.5 + 3 mm: its port needs 6 + 19 and a wall above, of 66 below the flange
    assert through["port_flange_clearance"] == pytest.approx(0.066 - 0.0415 - 0.025 - 0.003)
    banks = room(passes=2, side_by_side=1.0)
    assert banks["port_width_clearance"] == pytest.approx((0.1122 - 0.009) / 2 - 0.006 - 0.019)
    assert banks["port_height_clearance"] == pytest.approx(0.070 - 0.012 - 0.019)


@pytest.mark.parametrize(
    ("port", "height", "width"),
    [
        (round_port(column(0.019), column(0.019)), 0.019, 0.019),
        (slot_port(column(0.012), column(0.030), column(0.019)), 0.012, 0.030),
        (d_port(column(0.020), column(0.030), column(0.019)), 0.030, 0.040),
    ],
    ids=["round", "slot", "D"],
)
def test_each_port_shape_takes_its_own_height_and_width(port: Any, height: float, width: float) -> None:
    left = room(port=port)
    assert left["port_height_clearance"] == pytest.approx(0.070 - 0.012 - height)
    assert left["port_width_clearance"] == pytest.approx(0.1122 - 0.012 - width)


def test_a_core_too_big_has_negative_room_in_that_direction_only() -> None:
    assert room(length=0.300)["length_clearance"] == pytest.approx(-0.012)
    assert room(thickness=0.095)["lid_clearance"] == pytest.approx(-0.005)
    tall = room(passages=12)
    assert [name for name, value in tall.items() if value < 0] == ["width_clearance"]


@settings(deadline=None, derandomize=True)
@given(grow=st.floats(0, 0.05))
def test_a_larger_pocket_gives_exactly_that_much_room(grow: float) -> None:
    larger = Envelope(0.330 + grow, 0.118 + grow, 0.066 + grow, 0.024)
    before, after = room(), room(larger)
    for name in ("length_clearance", "width_clearance", "lid_clearance", "port_flange_clearance"):
        assert after[name] - before[name] == pytest.approx(grow, abs=1e-12)


def test_clearances_are_columns_like_the_designs() -> None:
    d = core(thickness=np.array([0.05, 0.06, 0.09]))
    left = clearances(d, geometry(d), POCKET)
    np.testing.assert_allclose(left["lid_clearance"], [0.04, 0.03, 0.0], atol=1e-12)
