"""Port shapes against polygons and the public library; flow spread against a network of forty passages."""

import fluids
import numpy as np
import pytest
from comparisons import SPREAD_EXPONENTS, SPREAD_RATIOS, spread_error
from hypothesis import given, settings
from hypothesis import strategies as st
from published import anchor

from physics.arrays import Array
from physics.columns import column
from physics.core import HEADERS
from physics.ports import (
    SPREAD_LIMIT,
    Port,
    area_step,
    d_port,
    header_spread,
    hydraulic_diameter,
    port_loss,
    port_resistance,
    round_port,
    slot_port,
)


def polygon(x: Array, y: Array) -> tuple[float, float]:
    """Area and perimeter of a closed polygon."""
    area = 0.5 * abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1)))
    return float(area), float(np.sum(np.hypot(x - np.roll(x, 1), y - np.roll(y, 1))))


def expect_shape(port: Port, x: Array, y: Array) -> None:
    area, perimeter = polygon(x, y)
    assert port.area[0] == pytest.approx(area, rel=1e-6)
    assert port.perimeter[0] == pytest.approx(perimeter, rel=1e-6)
    assert port.width[0] == pytest.approx(np.ptp(x), rel=1e-5)
    assert port.height[0] == pytest.approx(np.ptp(y), rel=1e-5)


@pytest.mark.parametrize("open_height", [0.004, 0.015, 0.020, 0.031, 0.0399])
def test_a_d_port_is_the_circle_cut_by_its_flat(open_height: float) -> None:
    R = 0.020
    half = np.arccos((R - open_height) / R)
    angle = np.linspace(-half, half, 20001)  # from the far side, the flat closes the polygon
    port = d_port(column(R), column(open_height), column(0.016))
    expect_shape(port, R * np.sin(angle), R * np.cos(angle))
    assert port.area[0] == pytest.approx(fluids.geometry.A_partial_circle(D=2 * R, h=open_height), rel=1e-9)


def test_a_d_port_meets_its_anchors() -> None:
    port = d_port(column(0.020), column(0.015), column(0.016))
    assert port.area[0] * 1e6 == pytest.approx(anchor("D-port", "h=15", "A_mm2"), rel=1e-6)
    assert hydraulic_diameter(port)[0] * 1e3 == pytest.approx(anchor("D-port", "h=15", "Dh_mm"), rel=1e-5)


def test_a_d_port_opened_to_its_full_bore_is_round() -> None:
    full, drilled = d_port(column(0.01), column(0.02), column(0.016)), round_port(column(0.02), column(0.016))
    for name in ("area", "perimeter", "height", "width", "line_area"):
        assert getattr(full, name)[0] == pytest.approx(getattr(drilled, name)[0], rel=1e-9), name


def test_a_slot_is_a_stadium() -> None:
    h, w = 0.012, 0.030
    angle = np.linspace(-np.pi / 2, np.pi / 2, 20001)
    x = (w - h) / 2 + h / 2 * np.cos(angle)
    y = h / 2 * np.sin(angle)
    port = slot_port(column(h), column(w), column(0.016))
    expect_shape(port, np.concatenate([x, -x]), np.concatenate([y, -y]))


def test_a_slot_as_wide_as_high_is_round() -> None:
    slot, drilled = (
        slot_port(column(0.02), column(0.02), column(0.016)),
        round_port(column(0.02), column(0.016)),
    )
    assert slot.area[0] == pytest.approx(drilled.area[0])
    assert hydraulic_diameter(slot)[0] == pytest.approx(0.02)


def test_a_step_is_a_contraction_one_way_and_an_expansion_the_other() -> None:
    small, large = column(np.pi / 4 * 0.03**2), column(np.pi / 4 * 0.05**2)
    assert area_step(large, small)[0] == pytest.approx(fluids.contraction_sharp(0.05, 0.03), rel=1e-6)
    assert area_step(small, large)[0] == pytest.approx(fluids.diffuser_sharp(0.03, 0.05), rel=1e-9)
    assert area_step(small, small)[0] == pytest.approx(0, abs=1e-12)


def test_port_loss_is_the_sum_of_its_four_steps() -> None:
    line, bore, face, m, rho = 0.016, 0.020, 0.060, 1.0, 1050.0
    area = {d: np.pi / 4 * d**2 for d in (line, bore, face)}
    q = {d: 0.5 * (m / a) ** 2 / rho for d, a in area.items()}
    expected = q[line] * (fluids.diffuser_sharp(line, bore) + fluids.contraction_sharp(bore, line)) + q[
        bore
    ] * (fluids.diffuser_sharp(bore, face) + fluids.contraction_sharp(face, bore))
    resistance = port_resistance(round_port(column(bore), column(line)), column(area[face]))
    loss = port_loss(resistance, column(m), column(rho))
    assert loss[0] == pytest.approx(expected, rel=1e-6)


@settings(deadline=None, derandomize=True)
@given(bore=st.floats(0.012, 0.03), larger=st.floats(1.01, 1.5))
def test_a_larger_port_with_its_line_loses_less(bore: float, larger: float) -> None:
    face, m, rho = column(0.08 * 0.1), column(1.0), column(1050.0)
    before, after = (
        port_loss(port_resistance(round_port(column(d), column(d)), face), m, rho)[0] for d in (bore, bore * larger)
    )
    assert after < before


# --- the flow spread ----------------------------------------------------------------------------


@pytest.mark.parametrize("ratio", SPREAD_RATIOS)
@pytest.mark.parametrize("exponent", SPREAD_EXPONENTS)
@pytest.mark.parametrize("header", HEADERS)
def test_header_spread_is_within_eight_per_cent_of_a_network(header: str, exponent: float, ratio: float) -> None:
    assert ratio <= SPREAD_LIMIT
    assert spread_error(header, exponent, ratio) == pytest.approx(0, abs=0.08)


def test_centre_ports_bring_half_the_flow_to_each_mouth() -> None:
    assert HEADERS["centre"] == (0.5, 1.0)
    assert HEADERS["same end"] == (1.0, 1.0)
    assert HEADERS["opposite ends"] == (1.0, 3.0)


def test_the_rule_for_an_even_header_keeps_the_spread_under_five_per_cent() -> None:
    for _, factor in HEADERS.values():
        assert header_spread(column(0.03), column(1.85), column(factor))[0] < 0.05
