"""Settling of the temperatures, and means and friction against a field solved by finite differences."""

from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from cores import AIR_FIN, DUTIES, PLAIN_TURBULATOR, TURBULATOR, core, duty, one
from crossflow_field import field, means

from physics.columns import column, upright
from physics.core import geometry
from physics.duty import ModelFactors
from physics.fins import OFFSET_STRIP, OPEN, PLAIN, FinFamily, Flow
from physics.properties import ConstantFluid
from physics.rating import Rating, rate
from physics.thermal import settle


@pytest.mark.parametrize(
    ("family", "cut"), [(OFFSET_STRIP, TURBULATOR), (PLAIN, PLAIN_TURBULATOR), (OPEN, TURBULATOR)]
)
def test_each_pass_shrinks_the_error_of_the_outlets_at_least_fifteenfold(family: FinFamily, cut: Any) -> None:
    d = upright(core(coolant_family=family, coolant_fin=cut))
    g, k = geometry(d), upright(ModelFactors())
    out = [settle(d, g, duty(), k, passes)[1].air_out[0, 0] for passes in (1, 2, 3, 4, 12)]
    errors = [abs(T - out[-1]) for T in out[:-1]]
    for before, after in pairwise(errors):
        assert before / after > 15


def constant_core(NTU: float, C_ratio: float, air_is_min: bool) -> tuple[Rating, float, float]:
    """A rating with constant properties near the wanted NTU and C*, and its NTU on either stream."""
    cp, T_hot, T_cold = 1000.0, 400.0 - 273.15, 300.0 - 273.15
    air = ConstantFluid("hot", cp, 2e-5, 0.03, gas_constant=287.0)
    cold = ConstantFluid("cold", cp, 2e-4, 0.3, density=1000.0)
    air_flow = 0.5
    coolant_flow = air_flow / C_ratio if air_is_min else air_flow * C_ratio
    point = duty(air_flow, T_hot, 3e5, coolant_flow, T_cold, air=air, coolant=cold)
    r = rate(core(coolant_fouling=0, tank_length=10.0), point)
    # Conductance to order: scale both films alike until NTU is met
    low, high = 1e-2, 1e2
    for _ in range(14):
        factor = np.sqrt(low * high)
        r = rate(
            core(coolant_fouling=0, tank_length=10.0),
            point,
            ModelFactors(column(factor), coolant_j=column(factor)),
        )
        low, high = (factor, high) if one(r, "NTU") < NTU else (low, factor)
    UA = one(r, "UA")
    return r, UA / (air_flow * cp), UA / (coolant_flow * cp)


@pytest.mark.parametrize("air_is_min", [True, False])
@pytest.mark.parametrize("C_ratio", [0.05, 0.25, 0.5, 0.86, 1.0])
# Of the span between the inlets: the split of what arithmetic means miss is a rule, exact at C* = 0 and 1
@pytest.mark.parametrize(("NTU", "tolerance"), [(0.5, 0.002), (1.0, 0.004), (2.0, 0.011)])
def test_mean_temperatures_meet_the_field(
    NTU: float, tolerance: float, C_ratio: float, air_is_min: bool
) -> None:
    r, NTU_air, NTU_coolant = constant_core(NTU, C_ratio, air_is_min)
    eps, hot, cold = means(NTU_air, NTU_coolant)
    assert (400 - one(r, "air_outlet_temperature")) / 100 == pytest.approx(eps, abs=2e-4)
    assert (one(r, "air_mean_temperature") - 300) / 100 == pytest.approx(hot, abs=tolerance)
    assert (one(r, "coolant_mean_temperature") - 300) / 100 == pytest.approx(cold, abs=tolerance)
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
    turbulent = np.clip((shape.Re - 2300) / 7700, 0, 1)
    f = f * (T_wall / T) ** ((1 - turbulent) * 0.81 - 0.1 * turbulent)
    local = 4 * f / Dh * G**2 / (2 * p / (287.05 * T))
    # 1 %: one temperature stands for the field
    assert one(r, "air_friction_loss") == pytest.approx(float(local.mean()) * 0.07, rel=0.01)
