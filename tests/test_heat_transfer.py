"""Effectiveness against exact tables, limits and worked examples of the texts, forwards and backwards."""

import ht
import numpy as np
import pytest
from comparisons import crossflow_differences, multipass_effectiveness, multipass_excess
from cores import TURBULATOR, core
from hypothesis import given, settings
from hypothesis import strategies as st
from published import anchor, columns, example
from scipy.integrate import solve_bvp
from worked_examples import (
    air_heater,
    cold_water_air_cooler,
    compact_surface,
    flat_passages,
    gas_over_water,
    gas_to_water_design,
    gas_to_water_rating,
    steam_to_oil,
    vehicle_core,
    whole_core,
)

from physics.columns import column
from physics.core import geometry
from physics.film import efficiencies
from physics.fins import OPEN
from physics.heat_transfer import (
    counter_cross,
    crossflow_coolant_mixed,
    crossflow_unmixed,
    fin_efficiency,
)

SIX_DIGITS = 1e-6


def unmixed(NTU: float, C_ratio: float) -> float:
    return float(crossflow_unmixed(column(NTU), column(C_ratio))[0])


def by_ht(NTU: float, Cr: float, subtype: str) -> float:
    """The public library's own effectiveness."""
    return float(ht.effectiveness_from_NTU(NTU=NTU, Cr=Cr, subtype=subtype))  # type: ignore[no-untyped-call]


# --- one pass -----------------------------------------------------------------------------------


@pytest.mark.parametrize("case", ["both unmixed", "C_max mixed", "C_min mixed"])
def test_one_pass_meets_the_exact_table(case: str) -> None:
    differences = crossflow_differences()[case]
    assert differences.size > 100
    np.testing.assert_allclose(differences, 0, rtol=0, atol=SIX_DIGITS)


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


def test_passes_through_the_thickness_meet_the_formula_column() -> None:
    (formula,) = columns("crossflow_multipass.csv", "counter_mixed_between_formula")
    np.testing.assert_allclose(multipass_effectiveness(), formula, rtol=0, atol=SIX_DIGITS)
    eps = counter_cross(crossflow_unmixed(column(1.0), column(0.5)), column(0.5), column(2.0))
    assert eps[0] == pytest.approx(anchor("Two-pass counter, mixed between", "NTU=2", "eps"), abs=SIX_DIGITS)


def test_the_formula_for_passes_is_at_most_1_1_percent_above_unmixed_air() -> None:
    NTU, C, n = columns("crossflow_multipass.csv", "NTU_total", "Cstar", "n_passes")
    excess = multipass_excess()
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


def test_the_outermost_fins_conduct_to_a_side_plate_reached_only_through_them() -> None:
    d = core(passages=1)  # two air passages, both outermost
    g = geometry(d)
    h, k, t = 300.0, 180.0, 0.102e-3
    _, eta_surface = efficiencies(g.air, np.full((1, 1), h), d.fin_conductivity)
    ratio = float(g.air.surface.fin_area_ratio[0])
    L, m = 6.35e-3 - t, np.sqrt(2 * h / (k * t) * (1 + t / 3.175e-3))
    # Exact fin of length L with a film over a tip plate: half of the primary area at the base, half at the tip.
    base, tip = (1 - ratio) / 2, (1 - ratio) / 2
    per_length = ratio / (m * L)
    loaded = tip / per_length
    fin = per_length * (np.sinh(m * L) + loaded * np.cosh(m * L)) / (np.cosh(m * L) + loaded * np.sinh(m * L))
    # 1e-3: one longer fin of the same area stands for fin and plate
    assert eta_surface[0, 0] == pytest.approx(base + fin, rel=1e-3)


def test_an_open_passage_has_no_fin_to_be_inefficient() -> None:
    g = geometry(core(coolant_family=OPEN, coolant_fin=TURBULATOR))
    eta_fin, eta_surface = efficiencies(g.coolant, np.full((1, 1), 5000.0), np.full((1, 1), 180.0))
    assert (eta_fin[0, 0], eta_surface[0, 0]) == (1.0, 1.0)


# --- worked examples ----------------------------------------------------------------------------


def test_flat_passages_reach_the_recomputed_outlets_and_not_the_printed_ones() -> None:
    case, ours = example("flat_passages"), flat_passages()
    for name in ("h_air", "h_gas", "UA", "effectiveness"):
        assert ours[name] == pytest.approx(case["recomputed"][name], rel=0.005), name
    for name in ("T_gas_out_K", "T_air_out_K"):
        assert ours[name] == pytest.approx(case["recomputed"][name], abs=1.0), name
    assert abs(ours["T_gas_out_K"] - case["printed"]["T_gas_out_K"]) > 50


def test_gas_to_water_design_returns_the_area() -> None:
    case, ours = example("gas_to_water_design"), gas_to_water_design()
    for name in ("effectiveness", "NTU", "area"):
        assert ours[name] == pytest.approx(case["recomputed"][name], rel=1e-3), name
    assert ours["area"] == pytest.approx(case["printed"]["area"], rel=0.03)  # chart


def test_gas_to_water_rating_returns_the_outlets() -> None:
    case, ours = example("gas_to_water_rating"), gas_to_water_rating()
    for name in ("effectiveness", "heat"):
        assert ours[name] == pytest.approx(case["recomputed"][name], rel=1e-3), name
    for name in ("T_gas_out", "T_water_out"):
        assert ours[name] == pytest.approx(case["recomputed"][name], abs=0.1), name
    assert ours["heat"] == pytest.approx(case["printed"]["heat"], rel=0.03)  # chart


def test_air_heater_returns_the_unknown_water_flow() -> None:
    case, ours = example("air_heater"), air_heater()
    assert ours["heat"] == pytest.approx(case["printed"]["heat"], rel=2e-3)
    assert ours["C_water"] == pytest.approx(case["recomputed"]["C_water"], rel=1e-3)
    assert ours["C_water"] == pytest.approx(case["printed"]["C_water"], rel=0.02)  # trial by hand
    assert ours["T_water_out"] == pytest.approx(case["printed"]["T_water_out"], abs=1.2)


def test_cold_water_cooler_returns_effectiveness_and_outlets() -> None:
    case, ours = example("cold_water_air_cooler"), cold_water_air_cooler()
    for name in ("effectiveness", "one_mixed_C_min"):
        assert ours[name] == pytest.approx(case["recomputed"][name], abs=1e-4), name
    assert ours["effectiveness"] == pytest.approx(case["printed"]["effectiveness"], abs=0.003)
    for name in ("T_air_out", "T_water_out"):
        assert ours[name] == pytest.approx(case["printed"][name], abs=0.2), name


def test_vehicle_core_returns_its_conductance_from_measured_temperatures() -> None:
    case, ours = example("vehicle_core"), vehicle_core()
    assert ours["heat"] == pytest.approx(case["printed"]["heat"], rel=1e-9)
    assert ours["UA"] == pytest.approx(case["recomputed"]["UA"], rel=1e-4)
    assert ours["U_inner"] == pytest.approx(case["printed"]["U_inner"], rel=0.003)


def test_steam_to_oil_off_design() -> None:
    case, ours = example("steam_to_oil"), steam_to_oil()
    assert ours["UA"] == pytest.approx(case["ht_design"]["UA"], rel=1e-4)
    assert ours["T_steam_out"] == pytest.approx(case["ht_design"]["T_steam_out"], abs=1e-3)
    for name in ("effectiveness", "heat"):
        assert ours[name] == pytest.approx(case["off_design_recomputed"][name], rel=1e-4), name
    assert ours["effectiveness"] == pytest.approx(case["off_design_printed"]["effectiveness"], rel=0.04)


def test_compact_surface_returns_its_film_coefficient() -> None:
    expected = example("compact_surface")["recomputed"]
    assert compact_surface() == {name: pytest.approx(expected[name], rel=0.003) for name in ("G", "h")}


def test_gas_over_water_core_returns_every_printed_thermal_step() -> None:
    expected = example("gas_over_water")["recomputed"]
    ours = gas_over_water()
    assert ours == {name: pytest.approx(expected[name], rel=0.005) for name in ours}
