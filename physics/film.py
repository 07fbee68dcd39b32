"""One side of the core at its mean temperature: Reynolds number, j, film coefficient, efficiencies, conductance."""

from dataclasses import dataclass

import numpy as np

from physics.arrays import Array
from physics.core import Side
from physics.fins import Flow
from physics.heat_transfer import fin_efficiency, surface_efficiency
from physics.properties import Fluid

# Property-ratio exponents, Shah & Sekulic 2003 tables 7.12 and 7.13 (from memory): gas f ~ (T_w/T_m)^m,
# liquid j ~ (mu_w/mu)^-0.14 and f ~ (mu_w/mu)^m, both for laminar flow.
_GAS_COOLED, _GAS_HEATED, _GAS_TURBULENT = 0.81, 1.0, -0.1
_LIQUID_J, _LIQUID_HEATED, _LIQUID_COOLED = -0.14, 0.58, 0.54


@dataclass(frozen=True)
class Film:
    """What one side does at its mean temperature; arrays (n, m)."""

    flow: Flow
    G: Array
    capacity: Array  # C = m cp [W/K]
    j: Array
    f_correction: Array  # property ratio on friction
    h: Array
    eta_fin: Array
    eta_surface: Array
    conductance: Array  # eta_o h A [W/K]


def film(
    side: Side, fluid: Fluid, mass_flow: Array, T: Array, T_wall: Array, p: Array, conductivity: Array, j_factor: Array
) -> Film:
    """Film of one side at mean temperature T and wall temperature T_wall [K].

    h = j G cp Pr^(-2/3). `j_factor` multiplies the correlation (model uncertainty).
    """
    G = mass_flow / side.free_area
    cp, mu = fluid.specific_heat(T, p), fluid.viscosity(T, p)
    Pr = cp * mu / fluid.conductivity(T, p)
    Re = G * side.surface.hydraulic_diameter / mu
    flow = Flow(Re, Pr, side.flow_length, side.width, side.stack_pitch, side.obstruction)
    for_j, for_f = property_ratio(fluid, turbulence(side, Re), T, T_wall, p, mu)
    j = side.family.j(side.fin, side.surface, flow) * for_j * j_factor
    h = film_coefficient(j, G, cp, Pr)
    eta_fin, eta_surface = efficiencies(side, h, conductivity)
    return Film(flow, G, mass_flow * cp, j, for_f, h, eta_fin, eta_surface, eta_surface * h * side.area)


def film_coefficient(j: Array, G: Array, cp: Array, Pr: Array) -> Array:
    """h = j G cp Pr^(-2/3) [W/m2K].

    >>> values = [np.array([x]) for x in (0.0036, 25.339, 1005.7, 0.708)]  # Holman, example 10-16
    >>> round(float(film_coefficient(*values)[0]), 1)
    115.5
    """
    return j * G * cp * np.exp(-2 / 3 * np.log(Pr))


def turbulence(side: Side, Re: Array) -> Array:
    """0 below the family's transition, 1 above it, linear between."""
    low, high = side.family.transition
    return np.clip((Re - low) / (high - low), 0.0, 1.0)


def property_ratio(
    fluid: Fluid, turbulent: Array, T: Array, T_wall: Array, p: Array, mu: Array
) -> tuple[Array, Array]:
    """Corrections (on j, on f) for properties that change between the wall and the mean temperature.

    `turbulent`: 0 for laminar flow, 1 for turbulent; turbulent liquids are left uncorrected.
    """
    if fluid.is_gas:
        laminar = np.where(T_wall < T, _GAS_COOLED, _GAS_HEATED)
        exponent = (1 - turbulent) * laminar + turbulent * _GAS_TURBULENT
        return np.ones((1, 1)), np.exp(exponent * np.log(T_wall / T))
    log_ratio = np.log(fluid.viscosity(T_wall, p) / mu) * (1 - turbulent)
    laminar = np.where(T_wall > T, _LIQUID_HEATED, _LIQUID_COOLED)
    return np.exp(_LIQUID_J * log_ratio), np.exp(laminar * log_ratio)


def efficiencies(side: Side, h: Array, conductivity: Array) -> tuple[Array, Array]:
    """Fin and surface efficiency, averaged over inner and outermost passages.

    Inner fins conduct from both plates, l = b/2 - t. Outermost ones from one, and the side plate at their far end is
    reached only through them: fin and plate as one fin of the same area, l = (b - t)(1 + r)/(2 r) with r = A_f/A
    (within 0.02 % of the exact fin with a loaded tip; Shah & Sekulic 2003, section 4.3 has b - t + s/2, from memory).
    """
    if side.family.mixed:
        return np.ones_like(h), np.ones_like(h)
    fin, ratio, edge = side.fin, side.surface.fin_area_ratio, side.surface.edge_ratio
    eta = fin_efficiency(h, conductivity, fin.thickness, fin.spacing / 2 - fin.thickness, edge)
    eta_surface = surface_efficiency(ratio, eta)
    if not np.any(side.outer_share):
        return eta, eta_surface
    reach = (fin.spacing - fin.thickness) * (1 + ratio) / (2 * ratio)
    outer = fin_efficiency(h, conductivity, fin.thickness, reach, edge)
    outer_surface = surface_efficiency((1 + ratio) / 2, outer)
    share = side.outer_share
    return (1 - share) * eta + share * outer, (1 - share) * eta_surface + share * outer_surface


def friction(side: Side, at: Film, f_factor: Array) -> Array:
    """Fanning f of a side, property ratio and model factor included [-]."""
    return side.family.f(side.fin, side.surface, at.flow) * at.f_correction * f_factor
