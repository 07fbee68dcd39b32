"""Settling of the temperatures, and means and friction against a field solved by finite differences."""

from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from comparisons import FIELD_C_RATIO, FIELD_NTU, field_differences
from CoolProp.CoolProp import PropsSI
from cores import AIR_FIN, DUTIES, PLAIN_TURBULATOR, TURBULATOR, constant_core, core, duty, one
from crossflow_field import field

from physics.columns import column
from physics.core import geometry
from physics.duty import ModelFactors
from physics.fins import OFFSET_STRIP, OPEN, PLAIN, FinFamily, Flow
from physics.rating import rate
from physics.thermal import settle


@pytest.mark.parametrize(
    ("family", "cut"), [(OFFSET_STRIP, TURBULATOR), (PLAIN, PLAIN_TURBULATOR), (OPEN, TURBULATOR)]
)
def test_each_pass_shrinks_the_error_of_the_outlets_at_least_fifteenfold(family: FinFamily, cut: Any) -> None:
    d = core(coolant_family=family, coolant_fin=cut)
    g, k = geometry(d), ModelFactors()
    out = [settle(d, g, duty(), k, passes).state.air_out[0, 0] for passes in (1, 2, 3, 4, 12)]
    errors = [abs(T - out[-1]) for T in out[:-1]]
    for before, after in pairwise(errors):
        assert before / after > 15


@pytest.mark.parametrize("air_is_min", [True, False])
@pytest.mark.parametrize("C_ratio", FIELD_C_RATIO)
# Of the span between the inlets: the split of what arithmetic means miss is a rule, exact at C* = 0 and 1
@pytest.mark.parametrize(("NTU", "tolerance"), list(zip(FIELD_NTU, [0.002, 0.004, 0.011], strict=True)))
def test_mean_temperatures_meet_the_field(
    NTU: float, tolerance: float, C_ratio: float, air_is_min: bool
) -> None:
    eps, hot, cold = field_differences(NTU, C_ratio, air_is_min)
    assert eps == pytest.approx(0, abs=2e-4)
    assert hot == pytest.approx(0, abs=tolerance)
    assert cold == pytest.approx(0, abs=tolerance)
    r, _, _ = constant_core(NTU, C_ratio, air_is_min)
    difference = one(r, "air_mean_temperature") - one(r, "coolant_mean_temperature")
    assert difference == pytest.approx(one(r, "heat_rejected") / one(r, "UA"), rel=1e-9)


@pytest.mark.parametrize("name", ["full power", "climb"])
def test_friction_at_the_mean_temperature_is_the_integral_over_the_field(name: str) -> None:
    point = DUTIES[name]
    r = rate(core(lid_loss=0), point)
    C_min = one(r, "UA") / one(r, "NTU")
    _, hot, cold = field(one(r, "UA") / C_min, one(r, "UA") / C_min * one(r, "C_ratio"), 30)
    T_cold, T_hot = float(point.coolant_inlet_temperature[0]), float(point.air_inlet_temperature[0])
    T, T_coolant = T_cold + (T_hot - T_cold) * hot, T_cold + (T_hot - T_cold) * cold
    T_wall = T - (T - T_coolant) * one(r, "air_resistance") * one(r, "UA")
    along = (np.arange(30) + 0.5)[:, None] / 30  # the air enters at the first row
    p = float(point.air_inlet_pressure[0]) - along * one(r, "air_core_loss")
    G, Dh = one(r, "air_mass_velocity"), one(r, "air_hydraulic_diameter")
    mu = np.array([[PropsSI("V", "T", t, "P", 2e5, "Air") for t in row] for row in T[::5]]).repeat(5, axis=0)
    mu = mu * (T / T[::5].repeat(5, axis=0)) ** 0.7  # viscosity between the sampled rows
    shape = Flow(G * Dh / mu, column(0.7), column(0.07), column(0.27), column(0.0094), column(0.003))
    f = OFFSET_STRIP.f(AIR_FIN, OFFSET_STRIP.surface(AIR_FIN), shape)
    turbulent = np.clip((shape.Re - 1000) / 1000, 0, 1)  # strip fins leave laminar flow early
    f = f * (T_wall / T) ** ((1 - turbulent) * 0.81 - 0.1 * turbulent)
    local = 4 * f / Dh * G**2 / (2 * p / (287.05 * T))
    # 1 %: one temperature stands for the field
    assert one(r, "air_friction_loss") == pytest.approx(float(local.mean()) * 0.07, rel=0.01)
