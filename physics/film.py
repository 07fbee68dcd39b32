"""One side of the core at its mean temperature: Reynolds number, j, film coefficient, efficiencies, conductance."""

from dataclasses import dataclass

import numpy as np

from physics.arrays import Array
from physics.core import Side
from physics.duty import Factor
from physics.fins import Flow
from physics.fluid import Fluid
from physics.heat_transfer import fin_efficiency, surface_efficiency

# Property-ratio exponents, Shah & Sekulic 2003 tables 7.12 and 7.13 (from memory): gas f ~ (T_w/T_m)^m,
# liquid j ~ (mu_w/mu)^-0.14 and f ~ (mu_w/mu)^m, both for laminar flow.
_GAS_COOLED, _GAS_HEATED, _GAS_TURBULENT = 0.81, 1.0, -0.1
_LIQUID_J, _LIQUID_HEATED, _LIQUID_COOLED = -0.14, 0.58, 0.54


@dataclass(frozen=True)
class Film:
    """What one side does at its mean temperature; arrays (m, n)."""

    flow: Flow
    G: Array
    capacity: Array  # C = m cp [W/K]
    published_j: Array  # of the correlation alone
    j: Array
    turbulent: Array  # 0 below the family's transition, 1 above
    wall_ratio: Array  # T_wall/T of a gas, mu_wall/mu of a liquid
    h: Array
    eta_fin: Array
    eta_surface: Array
    conductance: Array  # eta_o h A [W/K]


def film(
    side: Side, fluid: Fluid, mass_flow: Array, T: Array, T_wall: Array, p: Array, conductivity: Array, j_factor: Factor
) -> Film:
    """Film of one side at mean temperature T and wall temperature T_wall [K].

    h = j G cp Pr^(-2/3). `j_factor` multiplies the correlation (model uncertainty).
    """
    G = mass_flow / side.free_area
    cp, mu, k = fluid.transport(T, p)
    Pr = cp * mu / k
    Re = G * side.surface.hydraulic_diameter / mu
    flow = Flow(Re, Pr, side.flow_length, side.width, side.stack_pitch, side.obstruction)
    turbulent = turbulence(side, Re)
    wall_ratio = T_wall / T if fluid.is_gas else fluid.viscosity(T_wall, p) / mu
    published_j = side.family.j(side.fin, side.surface, flow)
    j = published_j * j_factor.at(flow.log_Re)
    if not fluid.is_gas:
        j = j * liquid_j_ratio(wall_ratio, turbulent)
    h = film_coefficient(j, G, cp, Pr)
    eta_fin, eta_surface = efficiencies(side, h, conductivity)
    conductance = eta_surface * h * side.area
    return Film(
        flow, G, mass_flow * cp, published_j, j, turbulent, wall_ratio, h, eta_fin, eta_surface, conductance
    )


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


def liquid_j_ratio(mu_ratio: Array, turbulent: Array) -> Array:
    """Correction on j for a liquid whose viscosity at the wall is mu_ratio times that of its bulk [-].

    A gas being cooled needs none, and a turbulent liquid is left uncorrected.
    """
    return np.asarray(np.exp(_LIQUID_J * (1 - turbulent) * np.log(mu_ratio)))


def f_ratio(is_gas: bool, wall_ratio: Array, turbulent: Array) -> Array:
    """Correction on f for properties that change between the wall and the bulk [-].

    wall_ratio: T_wall/T of a gas (below 1 where it is cooled), mu_wall/mu of a liquid (below 1 where it is heated).
    """
    below, above = (_GAS_COOLED, _GAS_HEATED) if is_gas else (_LIQUID_HEATED, _LIQUID_COOLED)
    at_wall = np.where(wall_ratio < 1, below, above)
    exponent = (1 - turbulent) * at_wall + (turbulent * _GAS_TURBULENT if is_gas else 0.0)
    return np.asarray(np.exp(exponent * np.log(wall_ratio)))


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
    return eta + share * (outer - eta), eta_surface + share * (outer_surface - eta_surface)


@dataclass(frozen=True)
class Friction:
    """Fanning f of a side: of the correlation alone, and with property ratio and model factor; (m, n)."""

    published: Array
    f: Array


def friction(side: Side, fluid: Fluid, at: Film, f_factor: Factor) -> Friction:
    """Fanning f of a side at a film's conditions."""
    published = side.family.f(side.fin, side.surface, at.flow)
    ratio = f_ratio(fluid.is_gas, at.wall_ratio, at.turbulent)
    return Friction(published, published * ratio * f_factor.at(at.flow.log_Re))


def friction_slope(side: Side, at: Film, published: Array) -> Array:
    """d ln f/d ln Re of the correlation at a film's conditions [-]."""
    flow, step = at.flow, 0.02
    there = Flow(flow.Re * (1 + step), flow.Pr, flow.length, flow.width, flow.stack_pitch, flow.obstruction)
    return np.asarray(np.log(side.family.f(side.fin, side.surface, there) / published) / np.log1p(step))
