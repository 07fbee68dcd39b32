"""The rating of one core at one duty point with the math module, as the usual script writes it.

The physics of `physics.rating` with everything given at the duty point: films repeated until they settle, flow spread
over the passages, both losses term by term. Left out, in the script's favour: flags, clearances, what is only told.
"""

import math
from types import SimpleNamespace as Record

from optimize.benchmark.scalar_core import geometry
from optimize.benchmark.scalar_fins import (
    PLAIN,
    STRIP,
    TRANSITION,
    colburn,
    core_effectiveness,
    fanning,
    surface_efficiency,
)
from optimize.benchmark.scalar_fluids import ScalarFluid

AIR_FAMILIES, COOLANT_FAMILIES = (STRIP,), (STRIP, PLAIN)
OUTPUTS = (
    "heat_rejected", "air_outlet_temperature", "coolant_outlet_temperature", "effectiveness", "UA",
    "air_pressure_drop", "coolant_pressure_drop", "passage_flow_spread", "stack_height", "dry_mass", "filled_mass",
)  # fmt: skip
_PASSES, _MORE_PASSES, _SETTLED = 4, 40, 0.01
_NODES = (-0.5 / math.sqrt(3), 0.5 / math.sqrt(3))


def rate_core(d: Record, points: list[Record], air: ScalarFluid, coolant: ScalarFluid) -> list[Record]:
    """One core (`scalar_core.floats` of its design) at each duty point: `OUTPUTS` in SI.

    Raises ValueError for a fin family the script does not know, and where a core cannot be.
    """
    if d.air_family not in AIR_FAMILIES or d.coolant_family not in COOLANT_FAMILIES:
        raise ValueError(f"no scalar correlations for {d.air_family} with {d.coolant_family}")
    g = geometry(d)
    rated = [_rate_point(d, g, point, air, coolant) for point in points]
    filled = g.dry_mass + coolant.density(293.15, 101325.0) * g.coolant_volume
    for one in rated:
        one.stack_height, one.dry_mass, one.filled_mass = g.stack_height, g.dry_mass, filled
    return rated


def _rate_point(d: Record, g: Record, q: Record, air: ScalarFluid, coolant: ScalarFluid) -> Record:
    s = _settled(d, g, q, air, coolant, _PASSES)
    if s.change > _SETTLED:
        s = _settled(d, g, q, air, coolant, _MORE_PASSES)
    rho = [coolant.density(T, q.coolant_pressure) for T in (q.coolant_temperature, s.coolant_mean, s.coolant_out)]
    total, spread = _coolant_loss(d, g, q, s, (rho[0], rho[1], rho[2]))
    eps = _over_spread(d, g, s, spread)
    _state(s, q, eps)
    return Record(
        heat_rejected=s.heat, air_outlet_temperature=s.air_out, coolant_outlet_temperature=s.coolant_out,
        effectiveness=eps, UA=s.UA, air_pressure_drop=_air_loss(d, g, q, s, air), coolant_pressure_drop=total,
        passage_flow_spread=spread,
    )


def _settled(d: Record, g: Record, q: Record, air: ScalarFluid, coolant: ScalarFluid, passes: int) -> Record:
    s = _first_guess(q, air, coolant)
    for _ in range(passes):
        a = _film(g.air, air, q.air_flow, s.air_mean, s.air_wall, q.air_pressure, d.fin_conductivity, True)
        c = _film(
            g.coolant, coolant, q.coolant_flow, s.coolant_mean, s.coolant_wall, q.coolant_pressure, d.fin_conductivity,
            False,
        )
        R_fouling = d.air_fouling / (a.eta * g.air.area)
        R_plate = d.plate_thickness / (d.plate_conductivity * g.plate_area)
        R_air, R_coolant = 1 / (a.eta * a.h * g.air.area), 1 / (c.eta * c.h * g.coolant.area)
        UA = 1 / (R_air + R_fouling + R_plate + d.coolant_fouling / (c.eta * g.coolant.area) + R_coolant)
        before = s.air_out, s.coolant_out
        s = Record(air=a, coolant=c, UA=UA, R_air=R_air, R_coolant=R_coolant, R_before=R_air + R_fouling + R_plate)
        s.eps = core_effectiveness(UA, a.C, c.C, d.passes, d.side_by_side)
        _state(s, q, s.eps)
        s.change = max(abs(s.air_out - before[0]), abs(s.coolant_out - before[1]))
    return s


def _first_guess(q: Record, air: ScalarFluid, coolant: ScalarFluid) -> Record:
    C_air = q.air_flow * air.specific_heat(q.air_temperature, q.air_pressure)
    C_coolant = q.coolant_flow * coolant.specific_heat(q.coolant_temperature, q.coolant_pressure)
    heat = 0.7 * min(C_air, C_coolant) * (q.air_temperature - q.coolant_temperature)
    air_out, coolant_out = q.air_temperature - heat / C_air, q.coolant_temperature + heat / C_coolant
    mean_a, mean_c = (q.air_temperature + air_out) / 2, (q.coolant_temperature + coolant_out) / 2
    wall = mean_c + 0.3 * (mean_a - mean_c)
    return Record(
        air_out=air_out, coolant_out=coolant_out, air_mean=mean_a, coolant_mean=mean_c, air_wall=wall,
        coolant_wall=wall,
    )


def _film(
    side: Record, fluid: ScalarFluid, flow: float, T: float, T_wall: float, p: float, k: float, is_gas: bool
) -> Record:
    G = flow / side.free_area
    cp, mu = fluid.specific_heat(T, p), fluid.viscosity(T, p)
    Pr, Re = cp * mu / fluid.conductivity(T, p), G * side.surface.Dh / mu
    low, high = TRANSITION[side.family]
    turbulent = min(max((Re - low) / (high - low), 0.0), 1.0)
    ratio = T_wall / T if is_gas else fluid.viscosity(T_wall, p) / mu
    published = colburn(side, Re, Pr)
    j = published if is_gas else published * ratio ** (-0.14 * (1 - turbulent))
    h = j * G * cp * Pr ** (-2 / 3)
    return Record(
        G=G, C=flow * cp, Re=Re, Pr=Pr, turbulent=turbulent, ratio=ratio, published=published, h=h,
        eta=surface_efficiency(side, h, k),
    )


def _state(s: Record, q: Record, eps: float) -> None:
    """Outlet, mean and wall temperatures that follow from an effectiveness."""
    C_air, C_coolant = s.air.C, s.coolant.C
    s.heat = eps * min(C_air, C_coolant) * (q.air_temperature - q.coolant_temperature)
    s.air_out, s.coolant_out = q.air_temperature - s.heat / C_air, q.coolant_temperature + s.heat / C_coolant
    a, c = (q.air_temperature + s.air_out) / 2, (q.coolant_temperature + s.coolant_out) / 2
    missed = a - c - s.heat / s.UA
    half = (min(C_air, C_coolant) / max(C_air, C_coolant)) ** 2 / 2
    share = 1 - half if C_air <= C_coolant else half
    s.air_mean, s.coolant_mean = a - share * missed, c + (1 - share) * missed
    s.air_wall, s.coolant_wall = s.air_mean - s.heat * s.R_air, s.coolant_mean + s.heat * s.R_coolant


def _friction(side: Record, film: Record, is_gas: bool) -> float:
    below, above = (0.81, 1.0) if is_gas else (0.58, 0.54)
    exponent = (1 - film.turbulent) * (below if film.ratio < 1 else above) + (film.turbulent * -0.1 if is_gas else 0.0)
    return float(fanning(side, film.Re) * film.ratio**exponent)


def _core_loss(side: Record, G: float, f: float, rho: tuple[float, float, float]) -> tuple[float, float]:
    """Total and friction part [Pa]; rho at inlet, mean, outlet."""
    q, face = 0.5 * G * G, 1 - side.sigma**2
    friction = q * 4 * f * side.flow_length / side.surface.Dh / rho[1]
    ends = q * ((side.Kc + face) / rho[0] + 2 * (1 / rho[2] - 1 / rho[0]) - (face - side.Ke) / rho[2])
    return friction + ends, friction


def _coolant_loss(
    d: Record, g: Record, q: Record, s: Record, rho: tuple[float, float, float]
) -> tuple[float, float]:
    """Loss from line to line [Pa], and the flow spread over the passages it leaves."""
    side, m = g.coolant, q.coolant_flow
    one, friction = _core_loss(side, s.coolant.G, _friction(side, s.coolant, False), rho)
    turns = (d.passes - 1) * 2 * d.turn_loss * (m / g.turn_area) ** 2 / (2 * rho[1])
    mouth = (m * d.header_mouth / g.header_area) ** 2 / 2
    ports = g.port_resistance * m * m / (2 * rho[1])
    total = d.passes * one + turns + d.turn_loss * mouth * (1 / rho[0] + 1 / rho[2]) + ports
    slope = math.log(fanning(side, s.coolant.Re * 1.02) / fanning(side, s.coolant.Re)) / math.log(1.02)
    return total, d.header_factor * (mouth / rho[0] / one) / (2 + friction / one * slope)


def _over_spread(d: Record, g: Record, s: Record, spread: float) -> float:
    width, side = min(max(spread, 0.0), 1.6), g.coolant
    C_min, rate = min(s.air.C, s.coolant.C), 0.0
    for node in _NODES:
        share = 1 + node * width
        h = s.coolant.h * share * colburn(side, s.coolant.Re * share, s.coolant.Pr) / s.coolant.published
        eta = surface_efficiency(side, h, d.fin_conductivity)
        UA = 1 / (s.R_before + d.coolant_fouling / (eta * side.area) + 1 / (eta * h * side.area))
        C = s.coolant.C * share
        rate += 0.5 * core_effectiveness(UA, s.air.C, C, d.passes, d.side_by_side) * min(s.air.C, C)
    return float(min(rate, s.eps * C_min) / C_min)


def _air_loss(d: Record, g: Record, q: Record, s: Record, air: ScalarFluid) -> float:
    """Lid, core, plenum [Pa]; the outlet density follows the outlet pressure."""
    f, G = _friction(g.air, s.air, True), q.air_flow / g.air.free_area
    lid = d.lid_loss * (q.air_flow / d.lid_area) ** 2 / (2 * air.density(q.air_temperature, q.air_pressure))
    p = max(q.air_pressure - lid, 0.3 * q.air_pressure)
    rho_in, rho_mean, rho_out = (air.density(T, p) for T in (q.air_temperature, s.air_mean, s.air_out))
    fall = core = 0.0
    for _ in range(6):
        kept = 1 - fall / p
        core, _friction_part = _core_loss(g.air, G, f, (rho_in, rho_mean * (1 + kept) / 2, rho_out * kept))
        fall = min(core, 0.3 * p)
    plenum = d.plenum_loss * (q.air_flow / d.plenum_area) ** 2 / (2 * rho_out * (1 - fall / p))
    return float(lid + core + plenum)
