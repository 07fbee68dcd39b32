"""The two losses of a core as installed: air from lid to plenum, coolant from line to line."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from physics.arrays import Array
from physics.core import Designs, Geometry
from physics.fluid import Fluid, densities
from physics.ports import port_loss
from physics.pressure_drop import CoreFactors, CoreLoss, core_factors, core_loss, duct_loss

_PASSES = 6  # of the outlet pressure: 0.1 % of the loss left at LARGEST_LOSS, 0.003 % below a tenth of the pressure
LARGEST_LOSS = 0.3  # of the inlet pressure; beyond it the air is near choking and the loss formula void
FAST_LOSS = 0.15  # of the inlet pressure; beyond it a compressible march gives 2 to 10 % more than the loss formula


@dataclass(frozen=True)
class AirLoss:
    """Air loss term by term [Pa]; (n, m)."""

    lid: Array
    core: CoreLoss
    plenum: Array
    total: Array
    rho_in: Array
    relative: Array  # total over the inlet pressure


def air_loss(
    d: Designs,
    g: Geometry,
    fluid: Fluid,
    mass_flow: Array,
    T_in: Array,
    T_mean: Array,
    T_out: Array,
    p_in: Array,
    f: Array,
) -> AirLoss:
    """Lid, core (entry, acceleration, friction, exit) and plenum; capped and void from LARGEST_LOSS on.

    The outlet density follows the outlet pressure, found by repeated substitution.
    """
    sigma, Kc, Ke = g.air.sigma, g.air.Kc, g.air.Ke
    G = mass_flow / g.air.free_area
    slenderness = d.thickness / g.air.surface.hydraulic_diameter
    lid = duct_loss(d.lid_loss, d.lid_area, mass_flow, fluid.density(T_in, p_in))
    p_face = np.maximum(p_in - lid, LARGEST_LOSS * p_in)
    rho_in, rho_mean, rho_out = densities(fluid, p_face, T_in, T_mean, T_out)
    r = np.ones(1)
    if fluid.is_gas:
        r = _pressure_ratio(core_factors(G, sigma, Kc, Ke, f, slenderness), p_face, rho_in, rho_out, rho_mean)
    core = core_loss(G, sigma, Kc, Ke, f, slenderness, rho_in, r * rho_out, (1 + r) / 2 * rho_mean)
    left = 1 - np.minimum(core.total / p_face, LARGEST_LOSS) if fluid.is_gas else r
    plenum = duct_loss(d.plenum_loss, d.plenum_area, mass_flow, left * rho_out)
    total = lid + core.total + plenum
    return AirLoss(lid, core, plenum, total, rho_in, total / p_in)


def _pressure_ratio(factors: CoreFactors, p_face: Array, rho_in: Array, rho_out: Array, rho_mean: Array) -> Array:
    """Outlet over inlet pressure r of a gas whose densities are given at the inlet pressure: one substitution to go.

    The outlet density is r rho_out, the mean one (1 + r)/2 rho_mean; so dp/p = A + B/r + C/(1 + r).
    """
    A, B = factors.inlet / (rho_in * p_face), factors.outlet / (rho_out * p_face)
    C = factors.mean / (0.5 * rho_mean * p_face)
    r = 1 - np.minimum(A + B + 0.5 * C, LARGEST_LOSS)
    for _ in range(_PASSES - 2):
        r = 1 - np.minimum(A + B / r + C / (1 + r), LARGEST_LOSS)
    return r


@dataclass(frozen=True)
class CoolantLoss:
    """Coolant loss by place [Pa]; (n, m)."""

    core: Array
    ends: Array  # entry and exit of each pass, and the turns between passes
    tanks: Array
    ports: Array
    one_pass: Array  # of the passages of one pass, what a header sees
    friction_share: Array

    @cached_property
    def total(self) -> Array:
        return self.core + self.ends + self.tanks + self.ports


def coolant_loss(
    d: Designs, g: Geometry, mass_flow: Array, G: Array, f: Array, rho: tuple[Array, ...], factor: Array
) -> CoolantLoss:
    """Passages, their ends, 180 degree turns as two of 90, inlet and outlet tank as one of 90 each, ports.

    rho: (inlet, mean, outlet) [kg/m3]; `factor` multiplies turns, tanks and ports (model uncertainty).
    """
    side = g.coolant
    slenderness = side.flow_length / side.surface.hydraulic_diameter
    one = core_loss(G, side.sigma, side.Kc, side.Ke, f, slenderness, rho[0], rho[2], rho[1])
    turns = (d.passes - 1) * duct_loss(2 * d.turn_loss, g.turn_area, mass_flow, rho[1]) * factor
    inlet, outlet = (duct_loss(d.turn_loss, g.header_area, mass_flow * d.header_mouth, r) for r in (rho[0], rho[2]))
    return CoolantLoss(
        core=d.passes * one.friction,
        ends=d.passes * (one.total - one.friction) + turns,
        tanks=(inlet + outlet) * factor,
        ports=port_loss(g.port_resistance, mass_flow, rho[1]) * factor,
        one_pass=one.total,
        friction_share=one.friction / one.total,
    )


def header_ratio(d: Designs, g: Geometry, mass_flow: Array, rho: Array, passage_loss: Array) -> Array:
    """Dynamic pressure at the header's mouth over the loss of the passages it feeds [-]."""
    return duct_loss(np.ones((1, 1)), g.header_area, mass_flow * d.header_mouth, rho) / passage_loss
