"""Losses against digitised charts, a graded core design and the public fluid-dynamics library."""

import fluids
import numpy as np
import pytest
from comparisons import CHART_FLOWS, COEFFICIENTS, chart_differences
from hypothesis import given, settings
from hypothesis import strategies as st
from published import POUND_PER_SQUARE_FOOT, anchor, columns, example
from scipy.optimize import brentq
from worked_examples import gas_over_water_loss

from physics.columns import column
from physics.film import film_coefficient
from physics.fins import measured
from physics.fins.family import Fin, Flow
from physics.pressure_drop import (
    contraction_coefficient,
    core_loss,
    duct_loss,
    entry_coefficient,
    exit_coefficient,
    sudden_contraction,
    sudden_expansion,
)

# Of the charts' reading; the laminar one was drawn with Kd = 1.39
CHART_READING = {"Re=infinity": 0.0065, "Re>=1e4 square ducts": 0.0065, "laminar square ducts": 0.0315}


@pytest.mark.parametrize("coefficient", COEFFICIENTS)
@pytest.mark.parametrize("case", CHART_FLOWS)
def test_entry_and_exit_meet_the_kays_london_charts(coefficient: str, case: str) -> None:
    differences = chart_differences(coefficient, case)
    assert differences.size >= 8
    np.testing.assert_allclose(differences, 0, rtol=0, atol=CHART_READING[case])


def test_entry_and_exit_meet_the_choice_for_strip_fins() -> None:
    case = example("entry_and_exit")
    sigma = column(case["sigma"])
    assert entry_coefficient(sigma)[0] == pytest.approx(case["interrupted"]["Kc"], abs=0.02)
    assert exit_coefficient(sigma)[0] == pytest.approx(case["interrupted"]["Ke"], abs=0.02)
    assert entry_coefficient(sigma, 1.39)[0] == pytest.approx(case["laminar"]["Kc"], abs=0.02)
    assert exit_coefficient(sigma, 1.39)[0] == pytest.approx(case["laminar"]["Ke"], abs=0.02)


def test_contraction_coefficient_solves_its_equation() -> None:
    def residual(Cc: float, sigma: float) -> float:
        x = Cc * sigma
        return float(Cc * (1 + 2 / np.pi * (1 / x - x) * np.arctan(x)) - 1)

    for sigma in (0.02, 0.2, 0.5, 0.8, 0.95, 0.99):
        expected = brentq(residual, 0.5, 1.0, args=(sigma,), xtol=1e-12)
        assert contraction_coefficient(column(sigma))[0] == pytest.approx(expected, abs=1e-9)
    assert contraction_coefficient(column(0.0))[0] == pytest.approx(
        np.pi / (np.pi + 2), abs=1e-6
    )  # Kirchhoff 1869


@pytest.mark.parametrize("sigma", [0.3, 0.5, 0.7])
def test_coefficients_meet_their_anchors(sigma: float) -> None:
    s = column(sigma)
    expected = anchor("Contraction coefficient free-streamline", f"sigma={sigma}", "Cc")
    assert contraction_coefficient(s)[0] == pytest.approx(expected, rel=1e-5)
    assert entry_coefficient(s)[0] == pytest.approx(anchor("Kc Re=inf", f"sigma={sigma}", "Kc"), rel=1e-5)
    assert exit_coefficient(s)[0] == pytest.approx(anchor("Ke Re=inf", f"sigma={sigma}", "Ke"), rel=1e-9)


def test_a_core_as_open_as_its_face_has_no_end_losses() -> None:
    assert entry_coefficient(column(0.999))[0] == pytest.approx(0, abs=2e-3)
    assert exit_coefficient(column(0.999))[0] == pytest.approx(0, abs=2e-3)


def test_graded_core_returns_its_four_signed_terms() -> None:
    case = example("gas_over_water")
    loss, unit = gas_over_water_loss()
    for term, value in case["recomputed_terms"].items():
        assert getattr(loss, term)[0] / unit == pytest.approx(value, rel=0.005), term
    assert loss.acceleration[0] < 0  # the gas is cooled
    assert loss.total[0] == pytest.approx(case["recomputed"]["dp"], rel=0.005)
    assert loss.total[0] / POUND_PER_SQUARE_FOOT == pytest.approx(case["printed"]["dp_lbf_ft2"], rel=0.005)


def test_graded_core_read_through_our_own_interpolation_stays_within_two_per_cent() -> None:
    case = example("gas_over_water")
    gas, surface, expected = case["gas"], case["gas_surface"], case["recomputed"]
    family = measured(
        "9.29-0.737-SR", case["table_Re"], case["table_j"], case["table_f"], (-0.1, 0.1), (-0.1, 0.1)
    )
    fin = Fin(*(column(v) for v in (0.0127, 2.8e-3, surface["fin_thickness"])))
    shape = family.surface(fin)
    flow = Flow(*(column(v) for v in (expected["Re"], gas["Pr"], 0.18, 1.0, 0.01, 0.002)))
    j, f = family.j(fin, shape, flow), family.f(fin, shape, flow)
    h = film_coefficient(j, column(expected["G"]), column(gas["cp"]), column(gas["Pr"]))
    assert h[0] == pytest.approx(expected["h_gas"], rel=0.02)
    assert f[0] == pytest.approx(expected["f"], rel=0.02)


@settings(deadline=None, derandomize=True)
@given(
    G=st.floats(1, 100),
    sigma=st.floats(0.1, 0.9),
    rho=st.floats(0.3, 4),
    ratio=st.floats(0.5, 2),
    f=st.floats(0, 0.2),
)
def test_the_four_terms_are_bernoulli_and_momentum(
    G: float, sigma: float, rho: float, ratio: float, f: float
) -> None:
    """Entry by Bernoulli plus Kc, core by momentum, exit by recovery less Ke, each on its own velocity."""
    s, rho_out = sigma, rho * ratio
    Kc, Ke = entry_coefficient(column(s))[0], exit_coefficient(column(s))[0]
    u1, u2 = G / rho, G / rho_out
    entry = 0.5 * rho * (u1**2 - (s * u1) ** 2) + Kc * 0.5 * rho * u1**2
    momentum = G * (u2 - u1)
    rho_m = 2 / (1 / rho + 1 / rho_out)
    shear = 4 * f * 30 * 0.5 * G**2 / rho_m
    recovery = 0.5 * rho_out * (u2**2 - (s * u2) ** 2) - Ke * 0.5 * rho_out * u2**2
    loss = core_loss(*(column(v) for v in (G, s, Kc, Ke, f, 30.0, rho, rho_out, rho_m)))
    assert loss.total[0] == pytest.approx(entry + momentum + shear - recovery, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(("small", "large"), [(0.030, 0.050), (0.010, 0.050), (0.045, 0.050)])
def test_sudden_steps_agree_with_the_fluids_library(small: float, large: float) -> None:
    ratio = column((small / large) ** 2)
    assert sudden_contraction(ratio)[0] == pytest.approx(fluids.contraction_sharp(large, small), rel=1e-6)
    # `fluids` gives diffusers on the small bore
    assert sudden_expansion(ratio)[0] == pytest.approx(fluids.diffuser_sharp(small, large), rel=1e-9)


def test_sudden_steps_meet_their_anchors() -> None:
    ratio = column(0.36)
    assert sudden_contraction(ratio)[0] == pytest.approx(
        anchor("Sudden contraction", "50->30", "K on small bore"), rel=1e-5
    )
    assert sudden_expansion(ratio)[0] == pytest.approx(
        anchor("Sudden expansion", "30->50", "K on small bore"), rel=1e-5
    )


def test_equal_areas_make_no_step() -> None:
    assert sudden_contraction(column(1.0))[0] == pytest.approx(0, abs=1e-12)
    assert sudden_expansion(column(1.0))[0] == 0


def test_a_stated_loss_is_its_share_of_the_dynamic_pressure() -> None:
    # 0.8 kg/s of 2 kg/m3 through 400 cm2 is 10 m/s, 100 Pa
    loss = duct_loss(*(column(v) for v in (0.5, 0.04, 0.8, 2.0)))
    assert loss[0] == pytest.approx(50.0)


def test_digitised_charts_span_the_sigmas_a_core_can_have() -> None:
    (sigma,) = columns("kc_ke_reference.csv", "sigma")
    assert sigma.min() < 0.15
    assert sigma.max() > 0.85
