"""Humid air against the ASHRAE tables, worked examples and CoolProp's real mixture of air and water."""

import tomllib
from typing import Any

import numpy as np
import pytest
from CoolProp.CoolProp import HAProps_Aux, HAPropsSI, PropsSI
from hypothesis import given, settings
from hypothesis import strategies as st
from published import REFERENCE
from scipy.integrate import quad
from scipy.optimize import brentq

from physics.humid_air import (
    RANGE,
    TRIPLE_POINT,
    condensate,
    dew_point,
    humidity_of,
    humidity_ratio,
    latent_heat,
    saturation_pressure,
    vapour_pressure,
)
from physics.properties import AIR, coolant

EXAMPLES = tomllib.loads((REFERENCE / "humid_air_examples.toml").read_text(encoding="utf-8"))
POINTS = EXAMPLES["tables"]["points"]
WATER = coolant("water")


def enthalpy(T: float, W: float) -> float:
    """Of humid air over a kilogram of dry air [J/kg], from 0 degC: air, and water warmed and then evaporated at T."""
    air = quad(lambda t: float(AIR.specific_heat(t, 0.0)), 273.15, T)[0]
    water = quad(lambda t: float(WATER.specific_heat(t, 1e5)), 273.16, T)[0]
    return float(air + W * (water + latent_heat(max(T, TRIPLE_POINT))))


def wet_bulb(T: float, W: float, p: float) -> float:
    """Saturation by water of the air's own final temperature (adiabatic saturation)."""
    def spare(T_wet: float) -> float:
        W_wet = float(humidity_of(T_wet, p, 1.0))
        liquid = quad(lambda t: float(WATER.specific_heat(t, 1e5)), 273.16, T_wet)[0]
        return enthalpy(T, W) + (W_wet - W) * liquid - enthalpy(T_wet, W_wet)

    return float(brentq(spare, 280.0, 440.0))


# --- worked examples ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("point", [point for point in POINTS if "V" in point])
def test_volume_of_the_ashrae_tables_is_dry_air_at_its_partial_pressure(point: dict[str, Any]) -> None:
    p_air = point["p"] - vapour_pressure(point["W"], point["p"])
    # Printed to 0.4 %; at 1 MPa vapour is no ideal gas any more: 1 %
    assert 1 / AIR.density(point["T"], p_air) == pytest.approx(point["V"], rel=2e-3 if point["p"] < 2e5 else 1.2e-2)


@pytest.mark.parametrize("point", [point for point in POINTS if "H" in point])
def test_enthalpy_of_the_ashrae_tables_is_met(point: dict[str, Any]) -> None:
    # Pressure's effect on vapour is left out: 1 % at 1 MPa, 0.1 % at one atmosphere
    assert enthalpy(point["T"], point["W"]) == pytest.approx(point["H"], rel=1e-2 if point["p"] > 2e5 else 1e-3)


@pytest.mark.parametrize("point", [point for point in POINTS if "wet_bulb" in point])
def test_wet_bulb_of_the_ashrae_tables_is_met(point: dict[str, Any]) -> None:
    # At 1 MPa an ideal mixture holds some per cent less vapour (no enhancement factor): 1 K
    assert wet_bulb(point["T"], point["W"], point["p"]) == pytest.approx(point["wet_bulb"], abs=1.0)


def test_an_ideal_mixture_is_no_answer_at_a_hundred_bar() -> None:
    """The table's 10 MPa: the enhancement factor of 1.21 stands between, so stay below some bars."""
    point = next(point for point in POINTS if "relative_humidity" in point)
    ideal = vapour_pressure(point["W"], point["p"]) / saturation_pressure(point["T"])
    assert ideal == pytest.approx(1.21 * point["relative_humidity"], rel=0.01)


def test_room_air_has_its_enthalpy_and_its_saturated_equal() -> None:
    case = EXAMPLES["room"]
    W = float(humidity_of(case["T"], case["p"], case["relative_humidity"]))
    H = enthalpy(case["T"], W)
    assert float(H) == pytest.approx(case["H"], rel=4e-3)  # W is 0.45 % low without enhancement factor
    T = brentq(lambda T: enthalpy(T, float(humidity_of(T, case["p"], 1.0))) - H, 280.0, 298.0)
    assert float(T) == pytest.approx(case["T_saturated_at_H"], abs=0.05)


def test_air_cooled_below_its_dew_point_is_that_of_moran_and_shapiro() -> None:
    case = EXAMPLES["cooled_below_its_dew_point"]
    W1 = humidity_of(case["T1"], case["p"], case["relative_humidity"])
    water = condensate(W1, case["T2"], case["p"], case["moist_air"] / (1 + W1))
    printed, recomputed = case["printed"], case["recomputed"]
    assert float(W1) == pytest.approx(printed["W1"], rel=5e-3)
    assert float(W1) == pytest.approx(recomputed["W1"], rel=5e-3)
    assert humidity_of(case["T2"], case["p"], 1.0) == pytest.approx(recomputed["W2"], rel=5e-3)
    assert dew_point(vapour_pressure(W1, case["p"])) == pytest.approx(recomputed["dew_point"], abs=0.1)
    assert dew_point(vapour_pressure(W1, case["p"])) == pytest.approx(printed["dew_point"], abs=0.1)
    assert water == pytest.approx(recomputed["condensate"], rel=0.02)
    assert water == pytest.approx(printed["condensate"], rel=0.02)


# --- saturation -----------------------------------------------------------------------------------------------------


def test_saturation_over_liquid_is_that_of_the_reference_equation() -> None:
    T = np.linspace(TRIPLE_POINT, RANGE[1], 101)
    np.testing.assert_allclose(saturation_pressure(T), PropsSI("P", "T", T, "Q", 0, "Water"), rtol=3e-4)


def test_saturation_over_ice_is_that_of_the_reference_equation() -> None:
    T = np.linspace(200.0, 273.0, 31)
    expected = [HAProps_Aux("p_ws", t, 1e5, 0.0)[0] for t in T]
    np.testing.assert_allclose(saturation_pressure(T), expected, rtol=5e-4)


def test_ice_and_liquid_meet_at_the_triple_point() -> None:
    """611.657 Pa: IAPWS, from memory."""
    either_side = saturation_pressure(np.array([TRIPLE_POINT - 1e-9, TRIPLE_POINT]))
    np.testing.assert_allclose(either_side, 611.657, rtol=1e-6)


@given(st.floats(174.0, 472.0))
@settings(max_examples=100)
def test_vapour_pressure_rises_with_temperature(T: float) -> None:
    low, high = saturation_pressure(np.array([T, T + 0.01]))
    assert low < high


# --- dew point ------------------------------------------------------------------------------------------------------


def test_dew_point_turns_saturation_round() -> None:
    T = np.linspace(200.0, 400.0, 20001).reshape(-1, 3)
    np.testing.assert_allclose(dew_point(saturation_pressure(T)), T, atol=2e-3)


def test_dew_point_has_a_value_for_dry_air_and_for_any_pressure() -> None:
    T = dew_point(np.array([0.0, 1e-12, 1e-3, 1e3, 1e9, np.inf]))
    assert np.min(T) == RANGE[0]
    assert np.max(T) == pytest.approx(RANGE[1], abs=1e-9)
    assert np.all(np.diff(T) >= 0)


def test_a_pressure_that_is_not_known_spoils_no_other() -> None:
    with np.errstate(invalid="ignore"):
        T = dew_point(np.array([[2339.2, np.nan]]))
    assert T[0, 0] == pytest.approx(293.15, abs=0.02)  # steam tables, 20 degC: 2339.2 Pa, from memory
    assert np.isnan(T[0, 1])


@pytest.mark.parametrize(("p", "least", "most", "kelvin"), [
    (1e5, 0.0040, 0.0111, 0.15), (2e5, 0.0072, 0.0176, 0.27), (3e5, 0.0100, 0.0220, 0.38), (4e5, 0.0126, 0.0240, 0.48),
])  # fmt: skip
def test_an_ideal_mixture_condenses_a_little_early_and_a_little_much(
    p: float, least: float, most: float, kelvin: float
) -> None:
    """Without enhancement factor against CoolProp's humid air, vapour up to half of the pressure."""
    W_error, T_error = [], []
    for T in np.arange(265.0, 380.0, 5.0):
        if saturation_pressure(T) < 0.5 * p:
            W = HAPropsSI("W", "T", T, "P", p, "R", 1.0)
            W_error.append(float(humidity_of(T, p, 1.0)) / W - 1)
            T_error.append(float(dew_point(vapour_pressure(W, p))) - T)
    assert -most < min(W_error) < max(W_error) < -least
    assert 0.04 < min(T_error) < max(T_error) < kelvin


# --- humidity and condensate ----------------------------------------------------------------------------------------


@given(st.floats(0.0, 0.2), st.floats(0.7e5, 5e5))
@settings(max_examples=100)
def test_humidity_and_vapour_pressure_are_two_names_of_one_thing(W: float, p: float) -> None:
    assert humidity_ratio(vapour_pressure(W, p), p) == pytest.approx(W, rel=1e-12, abs=1e-15)


def test_compressing_moist_air_raises_its_dew_point() -> None:
    """At 2 bar the dew point of W = 0.01 is that of twice the vapour pressure: CoolProp, both within 0.2 K."""
    for p in (1e5, 2e5):
        expected = HAPropsSI("D", "T", 340.0, "P", p, "W", 0.01)
        assert dew_point(vapour_pressure(0.01, p)) == pytest.approx(expected, abs=0.2)


@given(st.floats(0.0, 0.05), st.floats(255.0, 420.0), st.floats(0.8e5, 4e5))
@settings(max_examples=100)
def test_water_condenses_below_the_dew_point_and_nowhere_else(W: float, T_cold: float, p: float) -> None:
    margin = T_cold - float(dew_point(vapour_pressure(W, p)))
    water = float(condensate(W, T_cold, p, 0.5))
    assert 0 <= water <= 0.5 * W
    if abs(margin) > 0.01:
        assert (water > 0) == (margin < 0)


def test_metal_above_the_boiling_point_stays_dry() -> None:
    """Its saturation pressure passes the charge pressure: the humidity there has no bound, and no sign to turn."""
    assert not np.any(condensate(0.05, np.linspace(374.0, 600.0, 50), 1e5, 1.0))


def test_condensate_broadcasts_to_designs_by_duty_points() -> None:
    W, p, flow = np.array([0.01, 0.02]), np.array([1.5e5, 2e5]), np.array([0.4, 0.8])
    T = np.array([[275.0, 275.0], [285.0, 285.0], [350.0, np.nan]])
    water = condensate(W, T, p, flow)
    assert water.shape == (3, 2)
    assert water[1, 1] == pytest.approx(float(condensate(0.02, 285.0, 2e5, 0.8)), rel=1e-14)
    assert np.isnan(water[2, 1])
    assert np.all(water.ravel()[:5] >= 0)


# --- latent heat ----------------------------------------------------------------------------------------------------


def test_latent_heat_is_that_of_water_to_a_hundred_degrees() -> None:
    T = np.linspace(TRIPLE_POINT, 373.15, 21)
    expected = PropsSI("H", "T", T, "Q", 1, "Water") - PropsSI("H", "T", T, "Q", 0, "Water")
    np.testing.assert_allclose(latent_heat(T), expected, rtol=6e-3)
    np.testing.assert_allclose(latent_heat(T[:9]), expected[:9], rtol=1e-3)  # to 40 degC


def test_frost_sets_free_the_heat_of_fusion_as_well() -> None:
    """333.5 kJ/kg at 0 degC: any handbook, from memory."""
    ice, liquid = latent_heat(np.array([TRIPLE_POINT - 1e-9, TRIPLE_POINT]))
    assert ice - liquid == pytest.approx(333.5e3, rel=2e-3)


def test_sublimation_follows_from_the_slope_of_vapour_pressure() -> None:
    """Clausius & Clapeyron on CoolProp's pressure over ice: L = R T^2 d ln p/dT, R = 461.5 J/(kg K)."""
    for T in (240.0, 255.0, 270.0):
        warm, cold = (HAProps_Aux("p_ws", T + dT, 1e5, 0.0)[0] for dT in (0.5, -0.5))
        assert latent_heat(T) == pytest.approx(461.5 * T * T * np.log(warm / cold), rel=2e-3)
