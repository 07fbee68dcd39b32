"""Effectiveness against exact tables, limits and worked examples of the texts, forwards and backwards."""

from collections.abc import Callable
from typing import Any

import ht
import numpy as np
import pytest
from cores import AIR_FIN, TURBULATOR, core
from hypothesis import given, settings
from hypothesis import strategies as st
from published import anchor, columns, example
from scipy.integrate import solve_bvp
from scipy.optimize import brentq

from physics.arrays import Array
from physics.columns import column, upright
from physics.core import geometry
from physics.film import efficiencies, film_coefficient
from physics.fins import OPEN
from physics.heat_transfer import (
    core_effectiveness,
    counter_cross,
    crossflow_coolant_mixed,
    crossflow_unmixed,
    fin_efficiency,
    surface_efficiency,
)

SIX_DIGITS = 1e-6


def unmixed(NTU: float, C_ratio: float) -> float:
    return float(crossflow_unmixed(column(NTU), column(C_ratio))[0])


def whole_core(
    UA: float, C_air: float, C_coolant: float, passes: int = 1, banks: bool = False, mixed: bool = False
) -> float:
    values = (column(UA), column(C_air), column(C_coolant), column(passes), column(float(banks)))
    return float(core_effectiveness(*values, mixed)[0])


def by_ht(NTU: float, Cr: float, subtype: str) -> float:
    """The public library's own effectiveness."""
    return float(ht.effectiveness_from_NTU(NTU=NTU, Cr=Cr, subtype=subtype))  # type: ignore[no-untyped-call]


def root(residual: Callable[[float], float], low: float, high: float) -> float:
    return float(brentq(residual, low, high, xtol=1e-10))


# --- one pass -----------------------------------------------------------------------------------


def test_both_unmixed_meets_the_exact_table() -> None:
    NTU, C, expected = columns("crossflow_unmixed_exact.csv", "NTU", "Cstar", "eps_both_unmixed_exact")
    assert NTU.size > 100
    np.testing.assert_allclose(crossflow_unmixed(NTU, C), expected, rtol=0, atol=SIX_DIGITS)


def test_coolant_mixed_meets_the_closed_forms() -> None:
    NTU, C, C_max, C_min = columns(
        "crossflow_unmixed_exact.csv", "NTU", "Cstar", "eps_Cmax_mixed", "eps_Cmin_mixed"
    )
    as_max = crossflow_coolant_mixed(NTU, C, np.full(NTU.shape, True))
    as_min = crossflow_coolant_mixed(NTU, C, np.full(NTU.shape, False))
    np.testing.assert_allclose(as_max, C_max, rtol=0, atol=SIX_DIGITS)
    np.testing.assert_allclose(as_min, C_min, rtol=0, atol=SIX_DIGITS)


def test_crossflow_meets_the_course_exercise() -> None:
    case = example("crossflow_values")
    assert unmixed(5, 0.7) == pytest.approx(case["both_unmixed"], abs=1e-8)
    # C_max mixed: the coolant is the stronger stream and mixed, so C_coolant = 1/0.7 of C_air
    assert whole_core(5, 1, 1 / 0.7, mixed=True) == pytest.approx(case["C_max_mixed"], abs=1e-8)
    assert whole_core(5, 1 / 0.7, 1, mixed=True) == pytest.approx(case["C_min_mixed"], abs=1e-8)
    for C, row in zip(case["C_ratio"], case["table"], strict=True):
        np.testing.assert_allclose(crossflow_unmixed(np.array(case["NTU"]), column(C)), row, atol=2e-4)


@pytest.mark.parametrize(("NTU", "C"), [(1, 1.0), (1, 0.5), (2, 0.5), (3, 0.25), (5, 0.75)])
def test_crossflow_meets_the_anchors_of_a_public_library(NTU: int, C: float) -> None:
    expected = anchor("Cross-flow both unmixed", f"NTU={NTU} C*={C:g}", "eps")
    assert unmixed(NTU, C) == pytest.approx(expected, abs=SIX_DIGITS)


@pytest.mark.parametrize("NTU", [0.03, 0.3, 8.0, 20.0, 60.0])
@pytest.mark.parametrize("C", [0.02, 0.4, 0.99, 1.0])
def test_crossflow_agrees_with_ht_beyond_the_table(NTU: float, C: float) -> None:
    expected = by_ht(NTU, C, "crossflow")
    assert unmixed(NTU, C) == pytest.approx(expected, abs=1e-7)


def test_a_small_exchanger_uses_all_of_its_conductance() -> None:
    for NTU in (1e-3, 1e-5, 1e-7):
        assert unmixed(NTU, 0.6) == pytest.approx(NTU, rel=1e-3)


def test_a_boundless_coolant_gives_the_exponential() -> None:
    NTU = np.array([0.1, 1.0, 4.0])
    expected = 1 - np.exp(-NTU)
    for C in (0.0, 1e-9):
        np.testing.assert_allclose(crossflow_unmixed(NTU, column(C)), expected, rtol=1e-6)
        np.testing.assert_allclose(
            crossflow_coolant_mixed(NTU, column(C), np.full(3, True)), expected, rtol=1e-6
        )


def test_the_switch_to_the_exponential_is_no_step() -> None:
    NTU = column(1.0)
    below, above = crossflow_unmixed(NTU, column(0.99e-6)), crossflow_unmixed(NTU, column(1.01e-6))
    assert abs(float((below - above)[0])) < 1e-6


@settings(deadline=None, derandomize=True)
@given(NTU=st.floats(1e-6, 90), C=st.floats(0, 1))
def test_effectiveness_lies_between_zero_and_counterflow(NTU: float, C: float) -> None:
    counterflow = by_ht(NTU, C, "counterflow")
    assert 0 <= unmixed(NTU, C) <= counterflow + 1e-6
    for coolant_is_max in (True, False):
        mixed = float(crossflow_coolant_mixed(column(NTU), column(C), np.array([coolant_is_max]))[0])
        assert 0 <= mixed <= unmixed(NTU, C) + 1e-6


@settings(deadline=None, derandomize=True)
@given(NTU=st.floats(1e-3, 50), C=st.floats(0, 1), more=st.floats(1.001, 2))
def test_more_transfer_units_never_cool_less(NTU: float, C: float, more: float) -> None:
    assert unmixed(NTU * more, C) >= unmixed(NTU, C) - 1e-12


# --- several passes -----------------------------------------------------------------------------


def multipass() -> tuple[Array, ...]:
    names = ("NTU_total", "Cstar", "n_passes", "counter_mixed_between_formula", "counter_air_unmixed_FD")
    return tuple(columns("crossflow_multipass.csv", *names))


def test_passes_through_the_thickness_meet_the_formula_column() -> None:
    NTU, C, n, formula, _ = multipass()
    ours = core_effectiveness(NTU, np.ones_like(C), 1 / C, n, np.zeros_like(n), mixed=False)
    np.testing.assert_allclose(ours, formula, rtol=0, atol=SIX_DIGITS)
    eps = counter_cross(crossflow_unmixed(column(1.0), column(0.5)), column(0.5), column(2.0))
    assert eps[0] == pytest.approx(anchor("Two-pass counter, mixed between", "NTU=2", "eps"), abs=SIX_DIGITS)


def test_the_formula_for_passes_is_at_most_1_1_percent_above_unmixed_air() -> None:
    NTU, C, n, _, air_unmixed = multipass()
    ours = core_effectiveness(NTU, np.ones_like(C), 1 / C, n, np.zeros_like(n), mixed=False)
    excess = ours / air_unmixed - 1
    assert np.all(excess >= -1e-5)
    assert excess.max() == pytest.approx(0.011, abs=0.0005)  # NTU 5, C* 1, two passes
    charge_air = (NTU == 3) & (C == 0.25) & (n == 2)
    assert excess[charge_air][0] == pytest.approx(0.0012, abs=0.0002)


def test_many_passes_through_the_thickness_approach_counterflow() -> None:
    for NTU, C in ((2.0, 0.5), (3.0, 0.25), (1.0, 1.0)):
        expected = by_ht(NTU, C, "counterflow")
        assert whole_core(NTU, 1.0, 1 / C, passes=400) == pytest.approx(expected, abs=2e-5)


@pytest.mark.parametrize("n", [1, 2, 3, 6])
@pytest.mark.parametrize(
    ("UA", "C_air", "C_coolant"), [(3.0, 1.0, 4.0), (2.0, 1.0, 0.4), (0.5, 1.0, 1.0), (4.0, 1.0, 0.3)]
)
def test_banks_side_by_side_meet_a_walk_through_the_banks(
    n: int, UA: float, C_air: float, C_coolant: float
) -> None:
    T_air, T, heat = 100.0, 20.0, 0.0
    C_bank = C_air / n
    C_min, C_max = sorted((C_bank, C_coolant))
    for _ in range(n):
        Q = by_ht(UA / n / C_min, C_min / C_max, "crossflow") * C_min * (T_air - T)
        T, heat = T + Q / C_coolant, heat + Q
    expected = heat / (min(C_air, C_coolant) * 80.0)
    assert whole_core(UA, C_air, C_coolant, n, banks=True) == pytest.approx(expected, rel=1e-7)


def test_banks_are_worse_than_one_pass_at_equal_conductance() -> None:
    assert whole_core(3, 1, 2, 3, banks=True) < whole_core(3, 1, 2) < whole_core(3, 1, 2, 3)


# --- fins ---------------------------------------------------------------------------------------


def test_fin_efficiency_meets_the_solved_fin_equation() -> None:
    h, k, t, length, edge = 150.0, 180.0, 1e-4, 4e-3, 0.03
    m2 = 2 * h / (k * t) * (1 + edge)  # both faces and the edges of the strips
    x = np.linspace(0, length, 41)
    solved = solve_bvp(
        lambda x, y: np.array([y[1], m2 * y[0]]),
        lambda base, tip: np.array([base[0] - 1, tip[1]]),
        x,
        np.vstack([np.ones_like(x), np.zeros_like(x)]),
        tol=1e-8,
    )
    expected = -solved.sol(0)[1] / (m2 * length)
    ours = fin_efficiency(*(column(v) for v in (h, k, t, length, edge)))
    assert ours[0] == pytest.approx(expected, rel=1e-7)


def test_fin_efficiency_meets_its_anchor() -> None:
    ours = fin_efficiency(*(column(v) for v in (150.0, 180.0, 1e-4, 2.4e-3, 0.0)))
    assert ours[0] == pytest.approx(anchor("Sandwich fin", "h=150", "eta_f"), rel=1e-6)


def test_the_outermost_fins_conduct_the_whole_height_from_one_plate() -> None:
    d = upright(core(passages=1))  # two air passages, both outermost
    g = geometry(d)
    h, k = np.full((1, 1), 300.0), d.fin_conductivity
    eta_fin, eta_surface = efficiencies(g.air, h, k)
    b, t, s = 6.35e-3, 0.102e-3, float(AIR_FIN.gap[0])
    ml = (b - t) * np.sqrt(2 * 300 / (180 * t) * (1 + t / 3.175e-3))
    assert eta_fin[0, 0] == pytest.approx(np.tanh(ml) / ml, rel=1e-9)
    # Walls without the fins: two faces of the gap; the side plate's own is reached only through the fins.
    ratio = float(g.air.surface.fin_area_ratio[0, 0])
    primary = (1 - ratio) / 2
    assert eta_surface[0, 0] == pytest.approx(primary + (1 - primary) * np.tanh(ml) / ml, rel=1e-9)
    assert ratio == pytest.approx(
        1 - s * 3.175e-3 * 2 / (2 * (s * 3.175e-3 + (b - t) * 3.175e-3 + t * (b - t)) + t * s)
    )


def test_an_open_passage_has_no_fin_to_be_inefficient() -> None:
    g = geometry(upright(core(coolant_family=OPEN, coolant_fin=TURBULATOR)))
    eta_fin, eta_surface = efficiencies(g.coolant, np.full((1, 1), 5000.0), np.full((1, 1), 180.0))
    assert (eta_fin[0, 0], eta_surface[0, 0]) == (1.0, 1.0)


# --- worked examples ----------------------------------------------------------------------------


def colburn_film(Nu: float, Re: float, fluid: dict[str, Any], G: float) -> float:
    """h by way of j = Nu/(Re Pr^(1/3)); Pr from the example's cp, mu and k, as its printed one is rounded."""
    Pr = fluid["cp"] * fluid["mu"] / fluid["k"]
    j = Nu / (Re * Pr ** (1 / 3))
    return float(film_coefficient(*(column(v) for v in (j, G, fluid["cp"], Pr)))[0])


def test_flat_passages_reach_the_recomputed_outlets_and_not_the_printed_ones() -> None:
    case = example("flat_passages")
    h, C = {}, {}
    for name in ("air", "gas"):
        fluid = case[name]
        G = fluid["mass_flow"] / (fluid["passages"] * fluid["passage_area"])
        Re = G * 4 * fluid["passage_area"] / fluid["perimeter"] / fluid["mu"]
        Nu = 0.023 * Re**0.8 * fluid["Pr"] ** 0.4 * fluid["entrance_factor"]
        h[name] = colburn_film(Nu, Re, fluid, G)
        C[name] = fluid["mass_flow"] * fluid["cp"]
        assert h[name] == pytest.approx(case["recomputed"][f"h_{name}"], rel=0.005)
    UA = case["area"] / (1 / h["air"] + 1 / h["gas"])
    assert pytest.approx(case["recomputed"]["UA"], rel=0.005) == UA
    eps = whole_core(UA, C["gas"], C["air"])
    assert eps == pytest.approx(case["recomputed"]["effectiveness"], rel=0.005)
    heat = eps * C["gas"] * (case["gas"]["T_in_K"] - case["air"]["T_in_K"])
    gas_out, air_out = case["gas"]["T_in_K"] - heat / C["gas"], case["air"]["T_in_K"] + heat / C["air"]
    assert gas_out == pytest.approx(case["recomputed"]["T_gas_out_K"], abs=1.0)
    assert air_out == pytest.approx(case["recomputed"]["T_air_out_K"], abs=1.0)
    assert abs(gas_out - case["printed"]["T_gas_out_K"]) > 50


def test_gas_to_water_design_returns_the_area() -> None:
    case = example("gas_to_water_design")
    heat = case["water_flow"] * case["cp_water"] * (case["T_water"][1] - case["T_water"][0])
    C_water, C_gas = case["water_flow"] * case["cp_water"], heat / (case["T_gas"][0] - case["T_gas"][1])
    target = heat / (C_gas * (case["T_gas"][0] - case["T_water"][0]))
    NTU = root(lambda n: whole_core(n * C_gas, C_gas, C_water) - target, 0.1, 10)
    area = NTU * C_gas / case["U"]
    assert target == pytest.approx(case["recomputed"]["effectiveness"], rel=1e-3)
    assert pytest.approx(case["recomputed"]["NTU"], rel=1e-3) == NTU
    assert area == pytest.approx(case["recomputed"]["area"], rel=1e-3)
    assert area == pytest.approx(case["printed"]["area"], rel=0.03)  # chart


def test_gas_to_water_rating_returns_the_outlets() -> None:
    case = example("gas_to_water_rating")
    gas, water, recomputed, printed = case["gas"], case["water"], case["recomputed"], case["printed"]
    C_gas, C_water = gas["mass_flow"] * gas["cp"], water["mass_flow"] * water["cp"]
    eps = whole_core(case["UA"], C_gas, C_water)
    heat = eps * C_gas * (gas["T_in"] - water["T_in"])
    assert eps == pytest.approx(recomputed["effectiveness"], rel=1e-3)
    assert heat == pytest.approx(recomputed["heat"], rel=1e-3)
    assert gas["T_in"] - heat / C_gas == pytest.approx(recomputed["T_gas_out"], abs=0.1)
    assert water["T_in"] + heat / C_water == pytest.approx(recomputed["T_water_out"], abs=0.1)
    assert heat == pytest.approx(printed["heat"], rel=0.03)  # chart


def test_air_heater_returns_the_unknown_water_flow() -> None:
    case = example("air_heater")
    cold, hot = case["T_air"]
    rho = case["pressure"] / (case["gas_constant"] * (cold + 273.15))
    C_air = rho * case["air_volume_flow"] * case["cp_air"]
    heat = C_air * (hot - cold)
    span = case["T_water_in"] - cold
    C_water = root(lambda C: whole_core(case["UA"], C_air, C) * min(C, C_air) * span - heat, 100, C_air)
    assert heat == pytest.approx(case["printed"]["heat"], rel=2e-3)
    assert C_water == pytest.approx(case["recomputed"]["C_water"], rel=1e-3)
    assert C_water == pytest.approx(case["printed"]["C_water"], rel=0.02)  # trial by hand
    assert case["T_water_in"] - heat / C_water == pytest.approx(case["printed"]["T_water_out"], abs=1.2)


def test_cold_water_cooler_returns_effectiveness_and_outlets() -> None:
    case = example("cold_water_air_cooler")
    air, water, recomputed = case["air"], case["water"], case["recomputed"]
    C_air, C_water = air["mass_flow"] * air["cp"], water["mass_flow"] * water["cp"]
    eps = whole_core(case["UA"], C_air, C_water)
    heat = eps * C_air * (air["T_in"] - water["T_in"])
    assert eps == pytest.approx(recomputed["effectiveness"], abs=1e-4)
    assert eps == pytest.approx(case["printed"]["effectiveness"], abs=0.003)
    assert air["T_in"] - heat / C_air == pytest.approx(case["printed"]["T_air_out"], abs=0.2)
    assert water["T_in"] + heat / C_water == pytest.approx(case["printed"]["T_water_out"], abs=0.2)
    # Air mixed, water not: the C_min-mixed form
    mixed = crossflow_coolant_mixed(column(case["UA"] / C_air), column(C_air / C_water), np.array([False]))
    assert mixed[0] == pytest.approx(recomputed["one_mixed_C_min"], abs=1e-4)


def test_vehicle_core_returns_its_conductance_from_measured_temperatures() -> None:
    case = example("vehicle_core")
    C_water = case["water_flow"] * case["cp_water"]
    heat = C_water * (case["T_water"][0] - case["T_water"][1])
    C_air = heat / (case["T_air"][1] - case["T_air"][0])
    span = case["T_water"][0] - case["T_air"][0]
    UA = root(lambda x: whole_core(x, C_air, C_water) * min(C_air, C_water) * span - heat, 100, 1e4)
    tubes = case["tubes"]
    area = tubes["count"] * np.pi * tubes["diameter"] * tubes["length"]
    assert heat == pytest.approx(case["printed"]["heat"], rel=1e-9)
    assert pytest.approx(case["recomputed"]["UA"], rel=1e-4) == UA
    assert UA / area == pytest.approx(case["printed"]["U_inner"], rel=0.003)


def test_steam_to_oil_off_design() -> None:
    case = example("steam_to_oil")
    steam, oil, design, expected = (
        case["steam"],
        case["oil"],
        case["ht_design"],
        case["off_design_recomputed"],
    )
    # The steam is C_max and mixed: it stands on the coolant side, the oil on the unmixed air side
    C_steam, C_oil = steam["mass_flow"] * steam["cp"], oil["mass_flow"] * oil["cp"]
    span = steam["T_in"] - oil["T_in"]
    heat = C_oil * (oil["T_out"] - oil["T_in"])
    UA = root(lambda x: whole_core(x, C_oil, C_steam, mixed=True) * C_oil * span - heat, 100, 1e5)
    assert pytest.approx(design["UA"], rel=1e-4) == UA
    assert steam["T_in"] - heat / C_steam == pytest.approx(design["T_steam_out"], abs=1e-3)
    C_half = case["off_design"]["oil_flow"] * oil["cp"]
    eps = whole_core(case["off_design"]["UA"], C_half, C_steam, mixed=True)
    assert eps == pytest.approx(expected["effectiveness"], rel=1e-4)
    assert eps * C_half * span == pytest.approx(expected["heat"], rel=1e-4)
    assert eps == pytest.approx(case["off_design_printed"]["effectiveness"], rel=0.04)


def test_compact_surface_returns_its_film_coefficient() -> None:
    case = example("compact_surface")
    x, expected = case["inputs"], case["recomputed"]
    G = x["rho"] * x["face_velocity"] / x["sigma"]
    h = film_coefficient(*(column(v) for v in (x["j"], G, x["cp"], x["Pr"])))
    assert pytest.approx(expected["G"], rel=0.003) == G
    assert h[0] == pytest.approx(expected["h"], rel=0.003)


def test_gas_over_water_core_returns_every_printed_thermal_step() -> None:
    case = example("gas_over_water")
    gas, water, core_, fins, wet = (case[k] for k in ("gas", "water", "core", "gas_surface", "water_surface"))
    expected = case["recomputed"]
    volume = core_["flow_length"] * core_["width"] * core_["height"]
    G = gas["mass_flow"] / (fins["sigma"] * core_["width"] * core_["height"])
    h_gas = film_coefficient(*(column(v) for v in (expected["j"], G, gas["cp"], gas["Pr"])))
    k, t, length = (column(fins[name]) for name in ("conductivity", "fin_thickness", "fin_length"))
    eta = fin_efficiency(h_gas, k, t, length, column(0.0))
    eta_o = surface_efficiency(column(fins["fin_area_ratio"]), eta)
    Re = water["rho"] * water["velocity"] * wet["hydraulic_diameter"] / water["mu"]
    h_water = colburn_film(
        0.023 * Re**0.8 * water["Pr"] ** 0.333, Re, water, water["rho"] * water["velocity"]
    )
    UA = 1 / (
        1 / (eta_o * h_gas * fins["area_per_volume"] * volume)
        + 1 / (h_water * wet["area_per_volume"] * volume)
    )
    C_gas, C_water = gas["mass_flow"] * gas["cp"], water["mass_flow"] * water["cp"]
    ours = {
        "G": G,
        "h_gas": h_gas[0],
        "eta_f": eta[0],
        "eta_o": eta_o[0],
        "h_water": h_water,
        "UA": UA[0],
        "effectiveness": whole_core(float(UA[0]), C_gas, C_water),
    }
    assert ours == {name: pytest.approx(expected[name], rel=0.005) for name in ours}
