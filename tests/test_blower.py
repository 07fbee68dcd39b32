"""Blower and engine against worked examples, CoolProp's air and indicator diagrams integrated numerically."""

import tomllib
from typing import Any

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given, settings
from hypothesis import strategies as st
from published import REFERENCE
from scipy.integrate import quad
from scipy.optimize import brentq

from physics.blower import (
    RATIOS,
    Blower,
    Curve,
    Engine,
    compress,
    engine_flow,
    ideal_efficiency,
    isentropic_curve,
    leakage,
    nozzle_flow,
    shaft_power,
    speed_for,
    swept_flow,
)
from physics.properties import AIR, ConstantFluid

EXAMPLES = tomllib.loads((REFERENCE / "blower_examples.toml").read_text(encoding="utf-8"))
RATIO, EFFICIENCY = st.floats(1.01, 3.5), st.floats(0.3, 1.0)


def constant(value: float) -> Curve:
    return Curve(np.array([1.0]), np.array([value]))


def perfect_air(cp: float, gamma: float = 1.4) -> ConstantFluid:
    """Air of constant cp and gamma; viscosity and conductivity play no part."""
    return ConstantFluid("air", cp, 1.8e-5, 0.026, gas_constant=cp * (gamma - 1) / gamma)


def blower(volumetric: Curve | float = 1.0, isentropic: Curve | float = 0.7, **changes: float) -> Blower:
    curves = [v if isinstance(v, Curve) else constant(v) for v in (volumetric, isentropic)]
    return Blower(**{"displacement": 2.4e-3, "mechanical": 1.0, "inlet_loss": 0.0, **changes},
                  volumetric=curves[0], isentropic=curves[1])  # fmt: skip


def test_below_ratio_one_nothing_is_compressed() -> None:
    done = compress(AIR, 300.0, 1e5, np.array([0.5, 0.999, 1.0]), 0.6)
    assert done.T2.tolist() == [300.0] * 3
    assert done.work.tolist() == [0.0] * 3
    assert blower().outside(np.array([0.999, 1.0])).tolist() == [True, False]


# --- worked examples ------------------------------------------------------------------------------------------------


def test_supercharger_with_aftercooler_is_balanced_as_by_gupta() -> None:
    case = EXAMPLES["supercharger_and_aftercooler"]
    air, ratio = perfect_air(case["cp"], case["gamma"]), np.array(case["p2"] / case["p1"])
    # The flow on the book's R = 287; its gamma is cp and R rounded.
    rho = case["p1"] / (case["gas_constant"] * case["T1"])
    flow = engine_flow(Engine(case["displacement"], constant(case["volumetric"])), case["rpm"] / 60, rho)
    done = compress(air, case["T1"], case["p1"], ratio, case["isentropic"])
    heat = flow * case["cp"] * (done.T2 - case["T_after_cooler"])
    power = shaft_power(blower(mechanical=case["mechanical"]), flow, done.work)
    expected = case["recomputed"]
    isentropic = compress(air, case["T1"], case["p1"], ratio, 1.0)
    assert float(isentropic.T2) == pytest.approx(expected["T2_isentropic"], rel=1e-4)
    assert float(done.T2) == pytest.approx(expected["T2"], rel=1e-4)
    assert flow == pytest.approx(expected["mass_flow"], rel=1e-4)
    assert heat == pytest.approx(expected["cooler_heat"], rel=1e-3)
    assert power == pytest.approx(expected["drive_power"], rel=1e-3)
    # Printed to three figures
    assert heat == pytest.approx(case["printed"]["cooler_heat"], rel=2e-3)
    assert power == pytest.approx(case["printed"]["drive_power"], rel=3e-3)


@pytest.mark.parametrize(("name", "built_in"), [("roots_work", 1.0), ("vane_work", "vane_built_in")])
def test_work_of_roots_and_vane_blower_is_that_of_nag(name: str, built_in: float | str) -> None:
    case = EXAMPLES["roots_and_vane"]
    g, r = case["gamma"], case["ratio"]
    ri = case[built_in] if isinstance(built_in, str) else built_in
    isentropic = case["p1"] * case["displacement"] * g / (g - 1) * (r ** ((g - 1) / g) - 1)
    work = isentropic / ideal_efficiency(g, np.array(r), ri)
    assert work == pytest.approx(case["printed"][name], rel=1e-4)
    # As a study has it: through the curve, whose lines keep 0.2 %.
    assert isentropic / isentropic_curve(ri, 1.0, g).at(r) == pytest.approx(case["printed"][name], rel=2e-3)


def test_two_stages_with_intercooling_are_those_of_nag() -> None:
    case = EXAMPLES["two_stages"]
    air = perfect_air(case["cp"], case["gamma"])
    first, second = (np.array(r) for r in case["ratios"])
    low = compress(air, case["T1"], 1e5, first, case["isentropic"])
    high = compress(air, low.T2 - case["intercooled_by"], 1e5 * first, second, case["isentropic"])
    assert float(low.T2) == pytest.approx(case["printed"]["T2"], rel=1e-5)
    assert float(high.T2) == pytest.approx(case["printed"]["T4"], rel=1e-5)
    power = shaft_power(blower(), case["mass_flow"], low.work + high.work)
    assert power == pytest.approx(case["printed"]["power"], rel=1e-4)


def test_outlet_of_a_supercharger_is_that_of_borgnakke_and_sonntag() -> None:
    case = EXAMPLES["supercharger_outlet"]
    air = perfect_air(case["cp"], case["gamma"])
    done = compress(air, case["T1"], case["p1"], np.array(case["ratio"]), case["isentropic"])
    assert float(done.T2) == pytest.approx(case["printed"]["T2"], abs=0.05)
    assert float(done.T2) == pytest.approx(case["recomputed"]["T2"], rel=1e-4)
    assert done.work == pytest.approx(case["recomputed"]["work"], rel=1e-3)


def test_leaking_dry_screw_is_that_of_the_liege_exercise() -> None:
    case, air = EXAMPLES["dry_screw"], perfect_air(1004.7)
    args = case["displacement"], case["leak_area"], case["loss_torque"]
    r = np.array(case["ratio"])
    curves = leakage(*args, case["rpm"] / 60, case["p1"], case["T1"], np.array([case["ratio"]]))
    screw = blower(*curves, displacement=case["displacement"])
    rho1 = air.density(case["T1"], case["p1"])
    flow = swept_flow(screw, case["rpm"] / 60, r, rho1)
    work = compress(air, case["T1"], case["p1"], r, screw.isentropic.at(r)).work
    # Constant gamma against the source's real air: 0.2 %
    expected = case["recomputed"]
    assert screw.volumetric.at(r) == pytest.approx(expected["volumetric"], rel=3e-3)
    assert screw.isentropic.at(r) == pytest.approx(expected["isentropic"], rel=3e-3)
    assert flow == pytest.approx(expected["mass_flow"], rel=3e-3)
    assert shaft_power(screw, flow, work) == pytest.approx(expected["power"], rel=3e-3)


def test_leak_of_the_liege_exercise_is_a_choked_nozzle() -> None:
    case = EXAMPLES["dry_screw"]
    expected = case["recomputed"]
    # a^2 = gamma R T, T0 = 1.2 T at the throat
    T0 = 1.2 * expected["throat_velocity"] ** 2 / (1.4 * 287.05)
    leak = nozzle_flow(case["leak_area"], np.array(3e5), np.array(T0), np.array(3.0))
    assert leak == pytest.approx(expected["leak"], rel=3e-3)


def test_leak_area_and_torque_give_back_the_nominal_point_they_were_found_from() -> None:
    case = EXAMPLES["dry_screw"]
    nominal = case["nominal"]
    volumetric, isentropic = leakage(
        case["displacement"], case["leak_area"], case["loss_torque"], nominal["rpm"] / 60, case["p1"], case["T1"],
        np.array([case["ratio"]]),
    )  # fmt: skip
    assert volumetric.y[0] == pytest.approx(nominal["volumetric"], rel=1e-3)
    assert isentropic.y[0] == pytest.approx(nominal["isentropic"], rel=1e-3)


def test_compressor_delivery_follows_from_its_cooler_as_by_mathur_and_sharma() -> None:
    """Efficiency found so that shaft power and cooler heat belong to one flow; the pressure ratio drops out."""
    case, expected = EXAMPLES["compressor_by_its_cooler"], EXAMPLES["compressor_by_its_cooler"]["recomputed"]
    air, speed = perfect_air(case["cp"]), case["rpm"] / 60
    power = 2 * np.pi * speed * case["torque"]

    def spare(efficiency: float) -> float:
        done = compress(air, case["T1"], 1e5, np.array(1.72), efficiency)
        return float(power / done.work * case["cp"] * (done.T2 - case["T3"]) - case["cooler_heat"])

    done = compress(air, case["T1"], 1e5, np.array(1.72), brentq(spare, 0.2, 0.9))
    assert power == pytest.approx(expected["power"], rel=1e-4)
    assert float(done.T2) == pytest.approx(expected["T2"], rel=1e-4)
    assert power / done.work == pytest.approx(expected["compressor_flow"], rel=1e-3)
    assert power / done.work == pytest.approx(case["printed"]["compressor_flow"], rel=1e-3)
    engine = Engine(case["cylinders"] * np.pi / 4 * case["bore"] ** 2 * case["stroke"], constant(case["volumetric"]))
    taken = engine_flow(engine, speed, case["p3"] / (case["gas_constant"] * case["T3"]))
    assert taken == pytest.approx(expected["engine_flow"], rel=1e-3)
    assert taken == pytest.approx(case["printed"]["engine_flow"], rel=1e-3)


# --- compression ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("T1", [265.0, 290.0, 313.0])
@pytest.mark.parametrize("p1", [80e3, 101325.0])
@pytest.mark.parametrize("efficiency", [0.5, 0.65, 0.8])
def test_compression_is_that_of_real_air(T1: float, p1: float, efficiency: float) -> None:
    """CoolProp's enthalpies from s1 to p2; 0.15 K and 0.25 % to ratio 3: what pressure does to air is left out."""
    s, h1 = (PropsSI(key, "T", T1, "P", p1, "Air") for key in "SH")
    ratios = np.array([1.05, 1.3, 1.7, 2.2, 3.0])
    done = compress(AIR, T1, p1, ratios, efficiency)
    for i, r in enumerate(ratios):
        work = (PropsSI("H", "S", s, "P", r * p1, "Air") - h1) / efficiency
        assert done.T2[i] == pytest.approx(PropsSI("T", "H", h1 + work, "P", r * p1, "Air"), abs=0.15)
        assert done.work[i] == pytest.approx(work, rel=2.5e-3)


@given(RATIO, EFFICIENCY)
@settings(max_examples=50)
def test_charge_comes_hotter_from_more_pressure_and_from_a_worse_blower(ratio: float, efficiency: float) -> None:
    here = compress(AIR, 300.0, 1e5, np.array([ratio, ratio * 1.01]), efficiency)
    worse = compress(AIR, 300.0, 1e5, np.array([ratio]), efficiency * 0.99)
    assert 300.0 < here.T2[0] < here.T2[1]
    assert 0 < here.work[0] < here.work[1]
    assert here.T2[0] < worse.T2[0]
    assert here.work[0] < worse.work[0]


def test_no_pressure_ratio_asks_for_no_work() -> None:
    done = compress(AIR, 300.0, 1e5, np.array([1.0]), 0.6)
    assert (done.T2[0], done.work[0]) == (300.0, 0.0)


def test_every_argument_broadcasts_to_designs_by_duty_points_and_a_bad_design_stays_alone() -> None:
    T1, p1, speed = np.array([290.0, 300.0, 310.0]), np.array([95e3, 98e3, 101e3]), np.array([80.0, 100.0, 150.0])
    ratio = np.linspace(1.1, 2.4, 12).reshape(4, 3)
    ratio[2, 1] = np.nan
    curves = Curve(np.array([1.0, 2.0]), np.array([0.95, 0.85])), Curve(np.array([1.0, 2.0]), np.array([0.6, 0.7]))
    machine, rho1 = blower(*curves), AIR.density(T1, p1)
    done = compress(AIR, T1, p1, ratio, machine.isentropic.at(ratio))
    for values in (done.T2, done.work, swept_flow(machine, speed, ratio, rho1), speed_for(machine, 0.5, ratio, rho1)):
        assert values.shape == (4, 3)
        np.testing.assert_array_equal(np.isnan(values), np.isnan(ratio))
    alone = compress(AIR, T1[2], p1[2], ratio[3, 2], machine.isentropic.at(ratio[3, 2]))
    assert done.T2[3, 2] == pytest.approx(float(alone.T2), rel=1e-14)


# --- flow -----------------------------------------------------------------------------------------------------------


@given(RATIO, st.floats(1.0, 300.0))
@settings(max_examples=50)
def test_the_speed_for_a_flow_sweeps_that_flow(ratio: float, speed: float) -> None:
    machine, r = blower(Curve(np.array([1.0, 3.0]), np.array([0.95, 0.7]))), np.array([ratio])
    assert speed_for(machine, swept_flow(machine, speed, r, 1.1), r, 1.1) == pytest.approx(speed, rel=1e-12)


def test_a_blower_sweeps_its_displacement_each_turn() -> None:
    # 2.4 L x 100/s x 1.2 kg/m3 x 90 %
    assert swept_flow(blower(0.9), 100.0, np.array([1.5]), 1.2) == pytest.approx(0.2592)


def test_a_two_stroke_fills_every_turn_and_a_four_stroke_every_other() -> None:
    filling = Curve(np.array([20.0, 100.0]), np.array([0.80, 0.96]))
    # 3 L x 60/s x 88 % x 2 kg/m3
    assert engine_flow(Engine(3e-3, filling, strokes=2), 60.0, 2.0) == pytest.approx(0.3168)
    assert engine_flow(Engine(3e-3, filling), 60.0, 2.0) == pytest.approx(0.1584)


# --- curves ---------------------------------------------------------------------------------------------------------


def test_a_curve_is_straight_between_points_and_held_beyond_them() -> None:
    curve = Curve(np.array([1.2, 1.6, 2.0]), np.array([0.6, 0.7, 0.66]))
    x = np.array([[1.0, 1.3, 1.6], [1.9, 2.0, 9.0]])
    np.testing.assert_allclose(curve.at(x), [[0.6, 0.625, 0.7], [0.67, 0.66, 0.66]], rtol=1e-14)
    np.testing.assert_array_equal(curve.outside(x), [[True, False, False], [False, False, True]])
    assert curve.outside(np.array([np.nan]))[0]
    assert np.isnan(curve.at(np.nan))


def test_a_constant_has_no_outside() -> None:
    curve = constant(0.9)
    assert curve.at(np.array([[0.1, 7.0]])).tolist() == [[0.9, 0.9]]
    assert not np.any(curve.outside(np.array([[0.1, 7.0]])))


@pytest.mark.parametrize(("x", "y"), [
    ([1.0, 1.0], [0.5, 0.6]), ([2.0, 1.0], [0.5, 0.6]), ([1.0], [0.5, 0.6]), ([], []),
])  # fmt: skip
def test_points_that_do_not_rise_make_no_curve(x: list[float], y: list[float]) -> None:
    with pytest.raises(ValueError, match="curve"):
        Curve(np.array(x), np.array(y))


def test_a_blower_is_outside_where_one_of_its_curves_is() -> None:
    volumetric, isentropic = (Curve(np.array(x), np.array([0.9, 0.8])) for x in ([1.0, 2.0], [1.3, 3.0]))
    machine = blower(volumetric, isentropic)
    assert machine.outside(np.array([1.1, 1.5, 2.5])).tolist() == [True, False, True]


# --- efficiencies of a kind of machine ------------------------------------------------------------------------------


@pytest.mark.parametrize("built_in", [1.0, 1.3, 2.0])
@pytest.mark.parametrize("ratio", [1.1, 1.6, 2.0, 3.0])
def test_ideal_efficiency_is_that_of_the_indicator_diagram(built_in: float, ratio: float) -> None:
    """Work v dp along the isentrope to the built-in ratio, then at constant volume, integrated numerically."""
    def v(r: float) -> float:
        return r ** (-1 / 1.4)

    drawn = quad(v, 1.0, built_in)[0] + (ratio - built_in) * v(built_in)
    expected = quad(v, 1.0, ratio)[0] / drawn
    assert ideal_efficiency(1.4, np.array(ratio), built_in) == pytest.approx(expected, rel=1e-9)


def test_a_machine_is_ideal_at_its_built_in_ratio_alone() -> None:
    eta = ideal_efficiency(1.4, np.array([1.4, 1.79, 1.8, 1.81, 2.5]), 1.8)
    assert eta[2] == pytest.approx(1.0, rel=1e-12)
    assert np.all(eta[[0, 1, 3, 4]] < 1)


@pytest.mark.parametrize("built_in", [1.0, 1.2, 2.0])
def test_lines_between_the_points_keep_to_the_ideal_machine(built_in: float) -> None:
    between = np.linspace(1.05, 4.0, 500)
    curve = isentropic_curve(built_in, 0.8)
    np.testing.assert_allclose(curve.at(between), 0.8 * ideal_efficiency(1.4, between, built_in), rtol=2e-3)
    assert not np.any(curve.outside(between[1:-1]))


@pytest.mark.parametrize("wrong", [(0.9, 0.8), (1.0, 0.0), (1.0, 1.2)])
def test_no_machine_expands_or_gives_more_than_it_takes(wrong: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="built-in"):
        isentropic_curve(*wrong)


# --- leakage --------------------------------------------------------------------------------------------------------

MACHINE: dict[str, Any] = {
    "displacement": 2.4e-3, "leak_area": 40e-6, "loss_torque": 6.0, "speed": 200.0, "p1": 98e3, "T1": 303.0,
}  # fmt: skip


def mixed_by_repetition(leak_area: float, ratio: float) -> tuple[float, float]:
    """Volumetric and isentropic efficiency of `MACHINE` with enthalpies, density and nozzle of CoolProp's air."""
    V, N, torque, p1, T1 = (MACHINE[k] for k in ("displacement", "speed", "loss_torque", "p1", "T1"))
    p2, rho1 = ratio * p1, PropsSI("D", "T", T1, "P", p1, "Air")
    h1, s1 = (PropsSI(key, "T", T1, "P", p1, "Air") for key in "HS")
    h_mix, total, leak, T2 = h1, 1.0, 0.0, T1
    for _ in range(60):
        total = V * N * PropsSI("D", "H", h_mix, "P", p1, "Air")
        h2 = PropsSI("H", "S", PropsSI("S", "H", h_mix, "P", p1, "Air"), "P", p2, "Air")
        T2 = PropsSI("T", "H", h2, "P", p2, "Air")
        p_throat = max(p1, p2 / 1.2**3.5)
        T_throat = T2 * (p_throat / p2) ** (1 / 3.5)
        leak = leak_area * p_throat / (287.05 * T_throat) * np.sqrt(2 * 3.5 * 287.05 * (T2 - T_throat))
        h_mix = h1 + leak / total * (h2 - h1)
    flow = total - leak
    work = PropsSI("H", "S", s1, "P", p2, "Air") - h1
    return flow / (rho1 * V * N), flow * work / (flow * (h2 - h1) + 2 * np.pi * N * torque)


@pytest.mark.parametrize("ratio", [1.3, 1.8, 2.6])
@pytest.mark.parametrize("leak_area", [10e-6, 60e-6])
def test_leakage_stands_where_repetition_with_real_air_stands(leak_area: float, ratio: float) -> None:
    curves = leakage(**{**MACHINE, "leak_area": leak_area}, ratios=np.array([ratio]))
    for curve, expected in zip(curves, mixed_by_repetition(leak_area, ratio), strict=True):
        assert curve.y[0] == pytest.approx(expected, rel=3e-3)


def test_a_machine_without_leak_and_torque_is_perfect() -> None:
    for curve in leakage(**{**MACHINE, "leak_area": 0.0, "loss_torque": 0.0}):
        np.testing.assert_allclose(curve.y, 1.0, rtol=1e-12)
        np.testing.assert_array_equal(curve.x, RATIOS)


def test_a_faster_machine_leaks_a_smaller_share() -> None:
    slow, fast = leakage(**MACHINE), leakage(**{**MACHINE, "speed": 2 * MACHINE["speed"]})
    assert np.all(fast[0].y > slow[0].y)
    assert np.all(fast[1].y > slow[1].y)
    assert np.all(np.diff(slow[0].y) < 0)


def test_ratios_a_machine_cannot_hold_are_outside_its_curves() -> None:
    volumetric, isentropic = leakage(**{**MACHINE, "leak_area": 400e-6})
    assert RATIOS[0] < volumetric.x[-1] < RATIOS[-1]
    np.testing.assert_array_equal(volumetric.x, isentropic.x)
    assert volumetric.outside(RATIOS[-1])
    assert np.all(volumetric.y > 0)


def test_a_machine_that_is_all_leak_is_refused() -> None:
    with pytest.raises(ValueError, match="leaks back"):
        leakage(**{**MACHINE, "leak_area": 0.05})


def test_a_choked_nozzle_passes_what_the_tables_say() -> None:
    """0.0404 A p0/sqrt(T0) for air: textbooks of gas dynamics, from memory."""
    flow = nozzle_flow(1e-4, np.array(2e5), np.array(300.0), np.array([1.9, 4.0]))
    np.testing.assert_allclose(flow, 0.0404 * 1e-4 * 2e5 / np.sqrt(300.0), rtol=1e-3)
    assert flow[0] == flow[1]


def test_a_nozzle_without_pressure_difference_passes_nothing_and_chokes_smoothly() -> None:
    flow = nozzle_flow(1e-4, np.array(2e5), np.array(300.0), np.array([1.0, 1.5, 1.8929, 1.8930]))
    assert flow[0] == 0
    assert flow[1] < flow[2]
    assert flow[2] == pytest.approx(flow[3], rel=1e-8)
