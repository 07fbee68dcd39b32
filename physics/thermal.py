"""The thermal half of the sheet: films, resistances, effectiveness, heat, repeated until everything settles."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from physics.arrays import Array, BoolArray
from physics.core import Designs, Geometry
from physics.duty import Duty, ModelFactors
from physics.film import Film, efficiencies, film
from physics.fins import Flow
from physics.heat_transfer import core_effectiveness

SETTLED = 0.01  # [K] change of either outlet temperature in the last pass
# Relative change of coolant flow, charge flow and charge pressure in the last step. Steps shrink three- to tenfold, so
# about a third of it at most is left; 1e-4 of coolant flow is worth 1e-5 of heat.
SETTLED_FLOW = 3e-4
_NODES = (-0.5 / np.sqrt(3), 0.5 / np.sqrt(3))  # two-point Gauss nodes of a linear spread of width one
_MOVED = ("coolant_flow", "air_flow", "air_inlet_pressure")
LARGEST_SPREAD = 1.6  # beyond it a passage at a node would nearly stand still


@dataclass(frozen=True)
class State:
    """Temperatures of a core at its duty points [K], and the heat that goes with them [W]; (m, n)."""

    heat: Array
    air: Array  # mean over the core
    coolant: Array
    air_wall: Array
    coolant_wall: Array
    air_out: Array
    coolant_out: Array


@dataclass(frozen=True)
class Thermal:
    """One pass through the thermal sheet; (m, n), W, K."""

    air: Film
    coolant: Film
    resistances: tuple[Array, Array, Array, Array, Array]
    UA: Array
    effectiveness: Array


Meet = Callable[[Duty, Thermal, State], Duty]


@dataclass(frozen=True)
class Settled:
    """The last pass of the sheet, the duty it was made at, the temperatures that follow, and where they stood still."""

    thermal: Thermal
    duty: Duty
    state: State
    still: BoolArray


def settle(d: Designs, g: Geometry, duty: Duty, k: ModelFactors, passes: int, meet: Meet | None = None) -> Settled:
    """Repeat the sheet until the temperatures stand still, and with `meet` the flows around the core too.

    Each pass shrinks the error of the outlet temperatures some twenty- to sixtyfold for liquid-cooled charge air.
    """
    state, asked = first_guess(duty), duty
    for _ in range(passes - 1):
        thermal = sheet(d, g, duty, k, state)
        state = temperatures(duty, thermal)
        if meet is not None:
            asked, duty = duty, meet(duty, thermal, state)
    thermal = sheet(d, g, duty, k, state)
    before, state = state, temperatures(duty, thermal)
    change = np.maximum(np.abs(state.air_out - before.air_out), np.abs(state.coolant_out - before.coolant_out))
    return Settled(thermal, duty, state, _flows_still(asked, duty) & (change < SETTLED))


def _flows_still(before: Duty, after: Duty) -> BoolArray:
    """Where coolant flow, charge flow and charge pressure no longer change."""
    still: BoolArray = np.ones((1, 1), dtype=bool)
    for name in _MOVED:
        old, new = getattr(before, name), getattr(after, name)
        if new is not old:
            still = still & (np.abs(new - old) <= SETTLED_FLOW * old)
    return still


def first_guess(duty: Duty) -> State:
    """Temperatures at an effectiveness of 0.7."""
    Ta, Tc = duty.air_inlet_temperature, duty.coolant_inlet_temperature
    C_air = duty.air_flow * duty.air.specific_heat(Ta, duty.air_inlet_pressure)
    C_coolant = duty.coolant_flow * duty.coolant.specific_heat(Tc, duty.coolant_inlet_pressure)
    heat = 0.7 * np.minimum(C_air, C_coolant) * (Ta - Tc)
    air_out, coolant_out = Ta - heat / C_air, Tc + heat / C_coolant
    air, coolant = (Ta + air_out) / 2, (Tc + coolant_out) / 2
    wall = coolant + 0.3 * (air - coolant)
    return State(*(np.atleast_2d(T) for T in (heat, air, coolant, wall, wall, air_out, coolant_out)))


def sheet(d: Designs, g: Geometry, duty: Duty, k: ModelFactors, at: State) -> Thermal:
    """Films at the given temperatures, the five resistances in series, UA, effectiveness, heat."""
    air = film(
        g.air, duty.air, duty.air_flow, at.air, at.air_wall, duty.air_inlet_pressure, d.fin_conductivity, k.on("air_j"),
    )
    coolant = film(
        g.coolant, duty.coolant, duty.coolant_flow, at.coolant, at.coolant_wall, duty.coolant_inlet_pressure,
        d.fin_conductivity, k.on("coolant_j"),
    )
    resistances = (
        1 / air.conductance,
        d.air_fouling / (air.eta_surface * g.air.area),
        d.plate_thickness / (d.plate_conductivity * g.plate_area),
        d.coolant_fouling / (coolant.eta_surface * g.coolant.area),
        1 / coolant.conductance,
    )
    UA = 1 / sum(resistances[1:], resistances[0])
    mixed = g.coolant.family.mixed
    effectiveness = core_effectiveness(UA, air.capacity, coolant.capacity, d.passes, d.side_by_side, mixed)
    return Thermal(air, coolant, resistances, UA, effectiveness)


def conductance(thermal: Thermal) -> Array:
    """eps C_min [W/K]: heat over the difference of the inlet temperatures."""
    return thermal.effectiveness * np.minimum(thermal.air.capacity, thermal.coolant.capacity)


def temperatures(duty: Duty, thermal: Thermal) -> State:
    """Outlet, mean and wall temperatures of a pass through the sheet.

    The means over the core's area differ by exactly Q/UA. What the arithmetic means miss of that goes to the side
    of smaller capacity, less C*^2/2 of it to the other: right for C* = 0 and 1, within 0.2 % of the inlet
    difference of a finite-difference field between (Shah & Sekulic 2003 section 9.1 takes the log-mean for
    C* < 0.5 instead; both agree in the limit).
    """
    C_air, C_coolant = thermal.air.capacity, thermal.coolant.capacity
    air_in, coolant_in = duty.air_inlet_temperature, duty.coolant_inlet_temperature
    heat = conductance(thermal) * (air_in - coolant_in)
    air_out, coolant_out = air_in - heat / C_air, coolant_in + heat / C_coolant
    air, coolant = (air_in + air_out) / 2, (coolant_in + coolant_out) / 2
    missed = air - coolant - heat / thermal.UA
    C_ratio = np.minimum(C_air, C_coolant) / np.maximum(C_air, C_coolant)
    larger = C_ratio * C_ratio / 2
    of_air = np.where(C_air <= C_coolant, 1 - larger, larger) * missed
    air, coolant = air - of_air, coolant + (missed - of_air)
    air_wall, coolant_wall = air - heat * thermal.resistances[0], coolant + heat * thermal.resistances[4]
    return State(heat, air, coolant, air_wall, coolant_wall, air_out, coolant_out)


def over_spread(d: Designs, g: Geometry, at: Thermal, spread: Array, k: ModelFactors) -> Thermal:
    """The pass `at` with its effectiveness averaged over unequally fed coolant passages.

    A linear spread of width (max - min)/mean, rated at its two Gauss nodes: film, conductance and capacity of the
    coolant at each node's flow; the air is shared evenly. Where the films rise steeply with flow (transition) the
    mean over the nodes would exceed the even core: the spread is never let add cooling.
    """
    width = np.clip(spread, 0.0, LARGEST_SPREAD)
    C_min = np.minimum(at.air.capacity, at.coolant.capacity)
    rate = np.zeros_like(at.effectiveness)
    for node in _NODES:
        share = 1 + node * width
        UA = _conductance_at(d, g, at, share, k)
        C_node = at.coolant.capacity * share
        eps = core_effectiveness(UA, at.air.capacity, C_node, d.passes, d.side_by_side, g.coolant.family.mixed)
        rate = rate + 0.5 * eps * np.minimum(at.air.capacity, C_node)
    return replace(at, effectiveness=np.minimum(rate, at.effectiveness * C_min) / C_min)


def _conductance_at(d: Designs, g: Geometry, at: Thermal, share: Array, k: ModelFactors) -> Array:
    """UA with every coolant passage at `share` of the mean flow."""
    side, flow = g.coolant, at.coolant.flow
    there = Flow(flow.Re * share, flow.Pr, flow.length, flow.width, flow.stack_pitch, flow.obstruction)
    h = at.coolant.h * share * side.family.j(side.fin, side.surface, there) / at.coolant.published_j
    if np.any(k.coolant_j_exponent):
        h = h * share**k.coolant_j_exponent
    _, eta_surface = efficiencies(side, h, d.fin_conductivity)
    film_resistance = 1 / (eta_surface * h * side.area)
    fouling = d.coolant_fouling / (eta_surface * side.area)
    return 1 / (at.resistances[0] + at.resistances[1] + at.resistances[2] + fouling + film_resistance)
