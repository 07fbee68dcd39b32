"""Worked examples of the texts, solved from their own inputs by the product's functions."""

from collections.abc import Callable
from typing import Any

import numpy as np
from published import example
from scipy.optimize import brentq

from physics.columns import column
from physics.film import film_coefficient
from physics.heat_transfer import core_effectiveness, crossflow_coolant_mixed, fin_efficiency, surface_efficiency
from physics.pressure_drop import CoreLoss, core_loss

Answers = dict[str, float]


def whole_core(
    UA: float, C_air: float, C_coolant: float, passes: int = 1, banks: bool = False, mixed: bool = False
) -> float:
    """Effectiveness of one core."""
    values = (column(UA), column(C_air), column(C_coolant), column(passes), column(float(banks)))
    return float(core_effectiveness(*values, mixed)[0])


def root(residual: Callable[[float], float], low: float, high: float) -> float:
    return float(brentq(residual, low, high, xtol=1e-10))


def colburn_film(Nu: float, Re: float, fluid: dict[str, Any], G: float) -> float:
    """h by way of j = Nu/(Re Pr^(1/3)); Pr from the example's cp, mu and k, as its printed one is rounded."""
    Pr = fluid["cp"] * fluid["mu"] / fluid["k"]
    j = Nu / (Re * Pr ** (1 / 3))
    return float(film_coefficient(*(column(v) for v in (j, G, fluid["cp"], Pr)))[0])


def flat_passages() -> Answers:
    """Kreith's exchanger of flat passages, gas on the air side."""
    case = example("flat_passages")
    h, C = {}, {}
    for name in ("air", "gas"):
        fluid = case[name]
        G = fluid["mass_flow"] / (fluid["passages"] * fluid["passage_area"])
        Re = G * 4 * fluid["passage_area"] / fluid["perimeter"] / fluid["mu"]
        Nu = 0.023 * Re**0.8 * fluid["Pr"] ** 0.4 * fluid["entrance_factor"]
        h[name] = colburn_film(Nu, Re, fluid, G)
        C[name] = fluid["mass_flow"] * fluid["cp"]
    UA = case["area"] / (1 / h["air"] + 1 / h["gas"])
    eps = whole_core(UA, C["gas"], C["air"])
    heat = eps * C["gas"] * (case["gas"]["T_in_K"] - case["air"]["T_in_K"])
    return {
        "h_air": h["air"],
        "h_gas": h["gas"],
        "UA": UA,
        "effectiveness": eps,
        "T_gas_out_K": case["gas"]["T_in_K"] - heat / C["gas"],
        "T_air_out_K": case["air"]["T_in_K"] + heat / C["air"],
    }


def gas_to_water_design() -> Answers:
    """Incropera's design: the area from the outlets."""
    case = example("gas_to_water_design")
    heat = case["water_flow"] * case["cp_water"] * (case["T_water"][1] - case["T_water"][0])
    C_water, C_gas = case["water_flow"] * case["cp_water"], heat / (case["T_gas"][0] - case["T_gas"][1])
    target = heat / (C_gas * (case["T_gas"][0] - case["T_water"][0]))
    NTU = root(lambda n: whole_core(n * C_gas, C_gas, C_water) - target, 0.1, 10)
    return {"effectiveness": target, "NTU": NTU, "area": NTU * C_gas / case["U"]}


def outlets(air: dict[str, float], water: dict[str, float], UA: float) -> Answers:
    """Effectiveness, heat and outlets of an unmixed crossflow core; the air, or gas, is hot and C_min."""
    C_air, C_water = air["mass_flow"] * air["cp"], water["mass_flow"] * water["cp"]
    eps = whole_core(UA, C_air, C_water)
    heat = eps * C_air * (air["T_in"] - water["T_in"])
    hot, cold = air["T_in"] - heat / C_air, water["T_in"] + heat / C_water
    # Air mixed, water not: the C_min-mixed form
    mixed = crossflow_coolant_mixed(column(UA / C_air), column(C_air / C_water), np.array([False]))
    return {
        "effectiveness": eps,
        "heat": heat,
        "T_air_out": hot,
        "T_water_out": cold,
        "one_mixed_C_min": float(mixed[0]),
    }


def gas_to_water_rating() -> Answers:
    """Incropera's rating: the outlets from the conductance."""
    case = example("gas_to_water_rating")
    answers = outlets(case["gas"], case["water"], case["UA"])
    return {**answers, "T_gas_out": answers["T_air_out"]}


def cold_water_air_cooler() -> Answers:
    """Sachdeva's air cooler."""
    case = example("cold_water_air_cooler")
    return outlets(case["air"], case["water"], case["UA"])


def air_heater() -> Answers:
    """Holman's heater: the water flow is the unknown."""
    case = example("air_heater")
    cold, hot = case["T_air"]
    rho = case["pressure"] / (case["gas_constant"] * (cold + 273.15))
    C_air = rho * case["air_volume_flow"] * case["cp_air"]
    heat = C_air * (hot - cold)
    span = case["T_water_in"] - cold
    C_water = root(lambda C: whole_core(case["UA"], C_air, C) * min(C, C_air) * span - heat, 100, C_air)
    return {"heat": heat, "C_water": C_water, "T_water_out": case["T_water_in"] - heat / C_water}


def vehicle_core() -> Answers:
    """Cengel's radiator: the conductance from measured temperatures."""
    case = example("vehicle_core")
    C_water = case["water_flow"] * case["cp_water"]
    heat = C_water * (case["T_water"][0] - case["T_water"][1])
    C_air = heat / (case["T_air"][1] - case["T_air"][0])
    span = case["T_water"][0] - case["T_air"][0]
    UA = root(lambda x: whole_core(x, C_air, C_water) * min(C_air, C_water) * span - heat, 100, 1e4)
    tubes = case["tubes"]
    area = tubes["count"] * np.pi * tubes["diameter"] * tubes["length"]
    return {"heat": heat, "UA": UA, "U_inner": UA / area}


def steam_to_oil() -> Answers:
    """Holman's oil heater. The steam is C_max and mixed: it stands on the coolant side, the oil on the unmixed one."""
    case = example("steam_to_oil")
    steam, oil = case["steam"], case["oil"]
    C_steam, C_oil = steam["mass_flow"] * steam["cp"], oil["mass_flow"] * oil["cp"]
    span = steam["T_in"] - oil["T_in"]
    heat = C_oil * (oil["T_out"] - oil["T_in"])
    UA = root(lambda x: whole_core(x, C_oil, C_steam, mixed=True) * C_oil * span - heat, 100, 1e5)
    C_half = case["off_design"]["oil_flow"] * oil["cp"]
    eps = whole_core(case["off_design"]["UA"], C_half, C_steam, mixed=True)
    return {
        "UA": UA,
        "T_steam_out": steam["T_in"] - heat / C_steam,
        "effectiveness": eps,
        "heat": eps * C_half * span,
    }


def compact_surface() -> Answers:
    """Holman's film coefficient of a compact surface."""
    x = example("compact_surface")["inputs"]
    G = x["rho"] * x["face_velocity"] / x["sigma"]
    h = film_coefficient(*(column(v) for v in (x["j"], G, x["cp"], x["Pr"])))
    return {"G": G, "h": float(h[0])}


def gas_over_water() -> Answers:
    """The thermal steps of a graded core design, from its readings of j."""
    case = example("gas_over_water")
    gas, water, core, fins, wet = (case[k] for k in ("gas", "water", "core", "gas_surface", "water_surface"))
    volume = core["flow_length"] * core["width"] * core["height"]
    G = gas["mass_flow"] / (fins["sigma"] * core["width"] * core["height"])
    h_gas = film_coefficient(*(column(v) for v in (case["recomputed"]["j"], G, gas["cp"], gas["Pr"])))
    k, t, length = (column(fins[name]) for name in ("conductivity", "fin_thickness", "fin_length"))
    eta = fin_efficiency(h_gas, k, t, length, column(0.0))
    eta_o = surface_efficiency(column(fins["fin_area_ratio"]), eta)
    Re = water["rho"] * water["velocity"] * wet["hydraulic_diameter"] / water["mu"]
    Nu = 0.023 * Re**0.8 * water["Pr"] ** 0.333
    h_water = colburn_film(Nu, Re, water, water["rho"] * water["velocity"])
    gas_film = eta_o * h_gas * fins["area_per_volume"] * volume
    UA = float((1 / (1 / gas_film + 1 / (h_water * wet["area_per_volume"] * volume)))[0])
    eps = whole_core(UA, gas["mass_flow"] * gas["cp"], water["mass_flow"] * water["cp"])
    return {
        "G": G,
        "h_gas": float(h_gas[0]),
        "eta_f": float(eta[0]),
        "eta_o": float(eta_o[0]),
        "h_water": h_water,
        "UA": UA,
        "effectiveness": eps,
    }


def gas_over_water_loss() -> tuple[CoreLoss, float]:
    """The gas-side loss of the same design, and its unit G^2/(2 rho_in) [Pa]."""
    case = example("gas_over_water")
    gas, surface, given = case["gas"], case["gas_surface"], case["recomputed"]
    # The design takes A/A_c from the surface's area per volume: 2 % below 4 L/D_h of the quoted diameter.
    slenderness = surface["area_per_volume"] * case["core"]["flow_length"] / surface["sigma"] / 4
    ends = (given["G"], surface["sigma"], case["Kc"], case["Ke"])
    values = (*ends, given["f"], slenderness, gas["rho_in"], gas["rho_out"], gas["rho_mean"])
    return core_loss(*(column(v) for v in values)), given["G"] ** 2 / (2 * gas["rho_in"])
