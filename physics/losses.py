"""The two losses of a core as installed: air from lid to plenum, coolant from line to line."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from physics.arrays import Array
from physics.core import Designs, Geometry
from physics.fluid import Fluid, densities
from physics.ports import port_loss
from physics.pressure_drop import CoreLoss, core_loss, duct_loss

_PASSES = 6  # of the outlet pressure: 0.1 % of the loss left at LARGEST_LOSS, 0.003 % below a tenth of the pressure
LARGEST_LOSS = 0.3  # of the inlet pressure; beyond it the air is near choking and the loss formula void
FAST_LOSS = 0.15  # of the inlet pressure; beyond it a compressible march gives 2 to 10 % more than the loss formula


@dataclass(frozen=True)
class AirLoss:
    """Air loss term by term [Pa]; (m, n)."""

    lid: Array
    core_total: Array
    plenum: Array
    total: Array
    rho_in: Array
    relative: Array  # total over the inlet pressure
    conditions: tuple[Array, ...]  # of the core, as `core_loss` takes them

    @cached_property
    def core(self) -> CoreLoss:
        """The core's loss term by term."""
        return core_loss(*self.conditions)


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
    side, G = g.air, mass_flow / g.air.free_area
    lid = duct_loss(d.lid_loss, d.lid_area, mass_flow, fluid.density(T_in, p_in))
    p_face = np.maximum(p_in - lid, LARGEST_LOSS * p_in)
    rho_in, rho_mean, rho_out = densities(fluid, p_face, T_in, T_mean, T_out)
    inlet, outlet, mean = side.loss_factors
    q = 0.5 * G * G / p_face
    r, fall = _pressure_ratio(fluid.is_gas, q * inlet / rho_in, q * outlet / rho_out, 2 * q * mean * f / rho_mean)
    core = fall * p_face
    left = 1 - np.minimum(fall, LARGEST_LOSS) if fluid.is_gas else r
    plenum = duct_loss(d.plenum_loss, d.plenum_area, mass_flow, left * rho_out)
    total = lid + core + plenum
    slenderness = side.flow_length / side.surface.hydraulic_diameter
    conditions = G, side.sigma, side.Kc, side.Ke, f, slenderness, rho_in, r * rho_out, (1 + r) / 2 * rho_mean
    return AirLoss(lid, core, plenum, total, rho_in, total / p_in, conditions)


def _pressure_ratio(is_gas: bool, A: Array, B: Array, C: Array) -> tuple[Array, Array]:
    """Outlet over inlet pressure r of a core, and its loss dp over the inlet pressure p.

    With densities taken at the inlet pressure the outlet density of a gas is r rho_out, the mean one
    (1 + r)/2 rho_mean; so dp/p = A + B/r + C/(1 + r).
    """
    r, fall = np.ones(1), A + B + 0.5 * C
    for _ in range(_PASSES - 1 if is_gas else 0):
        r = 1 - np.minimum(fall, LARGEST_LOSS)
        fall = A + B / r + C / (1 + r)
    return r, fall


@dataclass(frozen=True)
class CoolantLoss:
    """Coolant loss by place [Pa]; (m, n)."""

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
    rho_in, rho_mean, rho_out = rho
    inlet, outlet, mean = side.loss_factors
    q = 0.5 * G * G
    friction, ends = q * mean * f / rho_mean, q * (inlet / rho_in + outlet / rho_out)
    one_pass = friction + ends
    half_square = 0.5 * mass_flow * mass_flow  # over density, times a resistance: a loss
    turns, tank = factor * g.turn_resistance, factor * g.tank_resistance
    return CoolantLoss(
        core=d.passes * friction,
        ends=d.passes * ends + turns * half_square / rho_mean,
        tanks=tank * (half_square / rho_in + half_square / rho_out),
        ports=factor * port_loss(g.port_resistance, mass_flow, rho_mean),
        one_pass=one_pass,
        friction_share=friction / one_pass,
    )


def header_ratio(d: Designs, g: Geometry, mass_flow: Array, rho: Array, passage_loss: Array) -> Array:
    """Dynamic pressure at the header's mouth over the loss of the passages it feeds [-]."""
    return duct_loss(np.ones((1, 1)), g.header_area, mass_flow * d.header_mouth, rho) / passage_loss
