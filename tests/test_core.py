"""Geometry, chambers and mass of a core against sums done by hand."""

from typing import Any

import numpy as np
import pytest
from cores import core, fin
from hypothesis import given, settings
from hypothesis import strategies as st

from physics.columns import column, take
from physics.core import Geometry, geometry, impossible, stack_height
from physics.fins import OPEN, PLAIN

MM = 1e-3
# A core for pencil and paper: plain air fins, open coolant passages, round numbers.
HAND: dict[str, Any] = {
    "length": 200 * MM,
    "thickness": 60 * MM,
    "passages": 4,
    "plate_thickness": 0.5 * MM,
    "side_plate_thickness": 2 * MM,
    "air_bar_width": 5 * MM,
    "coolant_bar_width": 4 * MM,
    "divider_width": 4 * MM,
    "air_blockage": 0.05,
    "coolant_blockage": 0.02,
    "tank_length": 20 * MM,
    "tank_wall": 3 * MM,
    "density": 2700,
    "air_family": PLAIN,
    "coolant_family": OPEN,
    "air_fin": fin(spacing=6.1 * MM, pitch=1.6 * MM, thickness=0.1 * MM),
    "coolant_fin": fin(spacing=3 * MM),
}


def by_hand(**changes: Any) -> Geometry:
    return geometry(core(**{**HAND, **changes}))


def one(value: Any) -> float:
    return float(np.ravel(value)[0])


def test_stack_height_is_the_sum_of_its_layers() -> None:
    # 5 air x 6.1 + 4 coolant x 3 + 8 plates x 0.5 + 2 sides x 2
    assert one(stack_height(core(**HAND))) == pytest.approx((30.5 + 12 + 4 + 4) * MM)


def test_areas_meet_a_core_worked_by_hand() -> None:
    g = by_hand()
    assert one(g.overall_length) == pytest.approx(246 * MM)
    assert one(g.frontal_area) == pytest.approx(200 * MM * 50.5 * MM)
    # 190 mm of fins at 1.6 mm pitch: 118.75 channels of 1.5 x 6.0 mm, five passages, 5 % lost to braze
    channels = 190 / 1.6 * 5
    assert one(g.air.free_area) == pytest.approx(channels * 1.5 * MM * 6 * MM * 0.95)
    assert one(g.air.area) == pytest.approx(channels * 2 * (1.5 + 6) * MM * 60 * MM)
    assert one(g.air.sigma) == pytest.approx(one(g.air.free_area) / (200 * MM * 50.5 * MM))
    assert one(g.air.surface.hydraulic_diameter) == pytest.approx(2.4 * MM)
    assert one(g.air.surface.fin_area_ratio) == pytest.approx(0.8)
    # Coolant: 4 passages of 52 x 3 mm, 200 mm long, wetted on two faces
    assert one(g.coolant.free_area) == pytest.approx(4 * 52 * MM * 3 * MM * 0.98)
    assert one(g.coolant.area) == pytest.approx(4 * 2 * 52 * MM * 200 * MM)
    assert one(g.coolant.sigma) == pytest.approx(4 * 52 * 3 * 0.98 / (50.5 * 60))
    # Eight plates conduct where both passages meet
    assert one(g.plate_area) == pytest.approx(8 * 190 * MM * 52 * MM)
    assert one(g.air.outer_share) == pytest.approx(2 / 5)


def test_masses_and_volumes_meet_a_core_worked_by_hand() -> None:
    g = by_hand()
    per_pitch = 1.6 * 6.1 - 1.5 * 6.0  # mm2 of fin metal a pitch
    volumes_mm3 = {
        "air fins": 5 * 190 / 1.6 * per_pitch * 60,
        "plates": 8 * 200 * 60 * 0.5,
        "side plates": 2 * 200 * 60 * 2,
        "air bars": 5 * 2 * 5 * 6.1 * 60,
        "coolant bars": 4 * 2 * 4 * 3 * 200,
        "tank ends": 2 * 3 * 50.5 * 60,
        "tank walls": 2 * 20 * (50.5 * 60 - 44.5 * 54),  # 50.5 x 60 outside, 3 mm thick
    }
    assert one(g.dry_mass) == pytest.approx(2700 * sum(volumes_mm3.values()) * 1e-9)
    assert one(g.coolant_volume) == pytest.approx((4 * 52 * 3 * 200 + 2 * 20 * 44.5 * 54) * 1e-9)


def test_two_passes_through_the_thickness_split_passages_tanks_and_faces_along_it() -> None:
    single, double = by_hand(), by_hand(passes=2)
    # 60 - 2 x 4 - one divider of 4 mm: two lanes of 24 mm
    assert one(double.coolant.width) == pytest.approx(24 * MM)
    assert one(double.coolant.free_area) == pytest.approx(4 * 24 * MM * 3 * MM * 0.98)
    assert one(double.coolant.area) == pytest.approx(4 * 2 * 48 * MM * 200 * MM)
    assert one(double.coolant.sigma) == pytest.approx(4 * 48 * 3 * 0.98 / (50.5 * 60))
    # 60 - three walls of 3 mm: two chambers of 25.5 mm, 50.5 - 6 wide
    assert one(double.header_area) == pytest.approx(20 * MM * 25.5 * MM)
    assert one(double.port_face) == pytest.approx(44.5 * MM * 25.5 * MM)
    assert one(double.turn_area) == pytest.approx(20 * MM * 44.5 * MM)  # the turn crosses the thickness
    assert one(double.air.free_area) == one(single.air.free_area)
    more_metal = (4 * 4 * 3 * 200 + 2 * 20 * 3 * 44.5) * 1e-9 * 2700  # four dividers, a wall in each tank
    assert one(double.dry_mass) == pytest.approx(one(single.dry_mass) + more_metal)


def test_two_banks_side_by_side_split_the_stack() -> None:
    single, double = by_hand(), by_hand(passes=2, side_by_side=1)
    assert one(double.coolant.width) == pytest.approx(52 * MM)
    assert one(double.coolant.free_area) == pytest.approx(one(single.coolant.free_area) / 2)
    assert one(double.coolant.area) == one(single.coolant.area)
    assert one(double.header_area) == one(single.header_area)
    # 50.5 - three walls of 3 mm: two chambers of 20.75 mm, 60 - 6 high
    assert one(double.port_face) == pytest.approx(20.75 * MM * 54 * MM)
    assert one(double.turn_area) == pytest.approx(20 * MM * 54 * MM)  # the turn climbs the stack
    assert one(double.dry_mass) == pytest.approx(one(single.dry_mass) + 2 * 20 * 3 * 54 * 1e-9 * 2700)


@settings(deadline=None, derandomize=True)
@given(
    passages=st.integers(1, 40),
    thickness=st.floats(0.03, 0.12),
    passes=st.integers(1, 6),
    banks=st.booleans(),
)
def test_no_open_area_exceeds_its_face(passages: int, thickness: float, passes: int, banks: bool) -> None:
    design = core(passages=passages, thickness=thickness, passes=passes, side_by_side=float(banks))
    g = geometry(design)
    if impossible(design, g)[0]:
        return
    assert 0 < one(g.air.sigma) < 1
    assert 0 < one(g.coolant.sigma) < 1
    assert one(g.plate_area) < 2 * passages * 0.28 * thickness
    assert one(g.dry_mass) < 2730 * one(g.frontal_area) * thickness + 2730 * 2 * 0.003 * 10 * (
        0.3 + thickness
    )


@pytest.mark.parametrize(
    "changes",
    [
        {"thickness": 0.010},
        {"length": 0.009},
        {"passes": 12, "divider_width": 0.006},
        {"air_blockage": 1.0},
        {"air_fin": fin(spacing=6e-3, pitch=0.1e-3, thickness=0.1e-3, strip_length=3e-3)},
        {"thickness": np.nan},
    ],
    ids=["all bars", "no face", "all dividers", "all braze", "no gap", "not a number"],
)
def test_a_core_with_no_room_is_impossible(changes: dict[str, Any]) -> None:
    unbuildable, sound = core(**changes), core()
    assert impossible(unbuildable, geometry(unbuildable))[0]
    assert not impossible(sound, geometry(sound))[0]


def test_a_core_taken_from_a_batch_keeps_its_dimensions() -> None:
    batch = core(thickness=np.array([0.05, 0.06, 0.07]), passages=np.array([9.0, 10.0, 11.0]))
    picked = take(batch, np.array([2, 0]))
    np.testing.assert_array_equal(picked.thickness, [0.07, 0.05])
    assert picked.length.shape == column(1.0).shape
