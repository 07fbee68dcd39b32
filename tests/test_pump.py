"""Pump curves: through their points, falling, on to zero; affinity laws; pumps in series."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from physics.columns import column
from physics.pump import Pump, in_series, pump

FLOW = np.array([0.0, 30.0, 60.0, 90.0, 110.0]) / 60e3  # L/min
HEAD = np.array([9.5, 9.1, 7.6, 4.4, 1.2])
few = settings(max_examples=60, deadline=None)


@st.composite
def curves(draw: st.DrawFn) -> Pump:
    """Any curve the door lets in: convex, concave, flat in places."""
    widths = draw(st.lists(st.floats(1e-5, 1e-3), min_size=1, max_size=8))
    falls = draw(st.lists(st.floats(0.0, 5.0), min_size=len(widths), max_size=len(widths)))
    falls[-1] = max(falls[-1], 0.05)
    falls = [fall if fall > 0.01 else 0.0 for fall in falls]
    end = draw(st.floats(0.0, 3.0))
    flow = np.concatenate([[0.0], np.cumsum(widths)])
    return pump(flow, end + sum(falls) - np.concatenate([[0.0], np.cumsum(falls)]))


def usual() -> Pump:
    return pump(FLOW, HEAD)


@given(curves())
@few
def test_a_curve_passes_through_its_points(one):
    assert one.at(one.flow, 1.0)[0] == pytest.approx(one.head, abs=1e-9)
    before = one.at(one.flow[1:] * (1 - 1e-12), 1.0)[0]
    assert before == pytest.approx(one.head[1:], abs=1e-6)


@given(curves())
@few
def test_head_nowhere_rises_with_flow(one):
    head, slope = one.at(np.linspace(0, 1.5 * one.flow[-1], 400), 1.0)
    assert np.all(np.diff(head) <= 1e-9)
    assert np.all(slope <= 1e-6)


@given(curves(), st.floats(0.0, 1.6), st.floats(0.2, 3.0))
@few
def test_slope_is_the_numerical_derivative(one, share, speed):
    flow, h = share * one.flow[-1] * speed, 1e-7 * one.flow[-1]
    if np.min(np.abs(one.flow * speed - flow)) < 3 * h:  # the curvature jumps at the points
        return
    low, high = (one.at(column(flow + d), speed)[0][0] for d in (-h, h))
    steepest = speed * np.max(np.abs(np.diff(one.head) / np.diff(one.flow)))
    assert one.at(column(flow), speed)[1][0] == pytest.approx((high - low) / (2 * h), abs=1e-4 * steepest)


@given(curves(), st.floats(0.1, 3.0), st.floats(0.0, 1.5))
@few
def test_affinity_laws_hold(one, speed, share):
    """Flow goes with speed, head with its square."""
    flow = share * one.flow[-1]
    at_one, at_speed = one.at(column(flow), 1.0), one.at(column(flow * speed), speed)
    steepest = np.max(np.abs(np.diff(one.head) / np.diff(one.flow)))
    assert at_speed[0][0] == pytest.approx(speed**2 * at_one[0][0], abs=1e-9 * speed**2 * max(one.head[0], 1))
    assert at_speed[1][0] == pytest.approx(speed * at_one[1][0], abs=1e-5 * speed * steepest)
    assert float(one.shutoff(speed)) == pytest.approx(speed**2 * float(one.shutoff(1.0)))
    assert float(one.reach(speed)) == pytest.approx(speed * float(one.reach(1.0)))


@given(curves(), st.floats(0.2, 2.0))
@few
def test_the_curve_goes_on_straight_through_zero(one, speed):
    reach = float(one.reach(speed))
    beyond = np.array([1.0, 1.5, 2.0]) * max(reach, speed * one.flow[-1] * 1.001)
    head, slope = one.at(beyond, speed)
    assert math.isfinite(reach)
    assert reach >= speed * one.flow[-1] * (1 - 1e-12)
    assert float(one.at(column(reach), speed)[0][0]) == pytest.approx(0, abs=1e-6 * speed**2 * one.head[0])
    assert np.all(head[1:] < 0)
    assert slope == pytest.approx(slope[0])
    assert np.diff(head) == pytest.approx(slope[0] * np.diff(beyond))


def test_a_pump_s_usual_curve_is_scipy_s_monotone_cubic():
    """Another program's Fritsch-Butland; the same as long as the curve steepens at its end."""
    flow = np.linspace(0, FLOW[-1], 101)
    reference = PchipInterpolator(FLOW, HEAD)
    head, slope = usual().at(flow, 1.0)
    np.testing.assert_allclose(head, reference(flow), rtol=1e-12)
    np.testing.assert_allclose(slope, reference(flow, 1), rtol=1e-9, atol=1e-6)


def test_a_curve_that_flattens_goes_on_along_its_last_chord():
    """Scipy's end slope would be level here, and the head would never end: chords -10000 and -1000."""
    one = pump([0.0, 1e-3, 2e-3], [11.0, 1.0, 0.0])
    assert float(PchipInterpolator(one.flow, one.head)(2e-3, 1)) == pytest.approx(0, abs=1e-9)
    assert float(one.at(column(3e-3), 1.0)[0][0]) == pytest.approx(-1.0)


def test_two_points_are_a_straight_line():
    one = pump([0.0, 2e-3], [10.0, 4.0])
    head, slope = one.at(np.array([0.0, 1e-3, 3e-3]), 1.0)
    assert head == pytest.approx([10, 7, 1])
    assert slope == pytest.approx([-3000] * 3)
    assert float(one.reach(1.0)) == pytest.approx(2e-3 * 10 / 6)


def test_a_pump_at_rest_gives_no_head():
    head, slope = usual().at(np.array([[1e-4, 1e-4], [0.0, 0.0]]), np.array([0.0, 1.0]))
    assert head[:, 0].tolist() == [0, 0]
    assert slope[:, 0].tolist() == [0, 0]
    assert np.all(head[:, 1] > 0)
    assert float(usual().shutoff(0.0)) == float(usual().reach(0.0)) == 0


@pytest.mark.parametrize("speed", [1.0, np.array([0.8, 0.8]), np.array([0.8, 1.1]), np.array([[0.8, 1.0]] * 3)])
def test_designs_and_duty_points_are_rated_alike_together_and_alone(speed):
    flow = np.array([[1e-4, 2e-3], [5e-4, 1.5e-3], [1.9e-3, 0.0]])
    head, slope = usual().at(flow, speed)
    speeds = np.broadcast_to(speed, flow.shape)
    for index in np.ndindex(flow.shape):
        alone = usual().at(column(flow[index]), float(speeds[index]))
        assert (head[index], slope[index]) == (alone[0][0], alone[1][0])


def test_an_unknown_flow_gives_an_unknown_head_and_no_error():
    head, _ = usual().at(np.array([np.nan, 1e-4]), 1.0)
    assert np.isnan(head).tolist() == [True, False]


def test_heads_of_pumps_in_series_add_up():
    other = pump([0.0, 1e-3], [4.0, 3.0])
    flow = np.array([[1e-4], [1.2e-3], [5e-3]])
    head, slope = in_series((usual(), other), flow, np.array([0.7, 1.0]))
    parts = [one.at(flow, np.array([0.7, 1.0])) for one in (usual(), other)]
    np.testing.assert_array_equal(head, parts[0][0] + parts[1][0])
    np.testing.assert_array_equal(slope, parts[0][1] + parts[1][1])


def test_two_equal_pumps_in_series_give_twice_the_head():
    flow = FLOW[1:-1]
    assert in_series((usual(), usual()), flow, 1.0)[0] == pytest.approx(2 * HEAD[1:-1])


@pytest.mark.parametrize(("flow", "head", "message"), [
    ([0.0], [5.0], "two or more points"),
    ([0.0, 1e-3], [5.0], "two or more points"),
    ([0.0, float("nan")], [5.0, 4.0], "all finite"),
    ([1e-4, 1e-3], [5.0, 4.0], "rises from zero"),
    ([0.0, 1e-3, 1e-3], [5.0, 4.0, 3.0], "rises from zero"),
    ([0.0, 1e-3], [5.0, 6.0], "nowhere rises"),
    ([0.0, 1e-3], [5.0, -1.0], "nowhere below zero"),
    ([0.0, 1e-3, 2e-3], [5.0, 4.0, 4.0], "falls to its last point"),
])  # fmt: skip
def test_points_that_are_no_pump_curve_are_refused(flow, head, message):
    with pytest.raises(ValueError, match=message):
        pump(flow, head)
