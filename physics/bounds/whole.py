"""What no core of a box can be better than, at one duty point: air outlet temperature, losses, heat."""

from dataclasses import dataclass, replace

import numpy as np

from physics.arrays import Array
from physics.blower import compress
from physics.bounds.boxes import Boxes
from physics.bounds.coolant_side import ROUNDED, CoolantReach
from physics.core import Side
from physics.duty import Duty, Factor
from physics.film import Film, f_ratio, film, turbulence
from physics.fins import Flow
from physics.heat_transfer import core_effectiveness
from physics.installation import HELD, Installation
from physics.losses import air_loss
from physics.pressure_drop import duct_loss

# What a rated core may be away from standing still, see thermal.SETTLED and SETTLED_FLOW.
UNSETTLED = 0.03  # [K]
UNSETTLED_SHARE = 1e-3  # of losses and heat
_MEAN_ABOVE = 0.5  # [K] the mean of the air may lie above the mean of its ends: what the formula for passes misses
_PRESSURES, _LOOKED = 257, 2049  # at which the heat of compression is looked at


@dataclass(frozen=True)
class Better:
    """What every core of a box is worse than, or as good as, (n,) each."""

    air_outlet_temperature: Array
    air_pressure_drop: Array
    coolant_pressure_drop: Array
    heat_rejected: Array


@dataclass(frozen=True)
class Charge:
    """Charge before the core: flow [kg/s], pressure [Pa] and temperature [K] between (least, most)."""

    flow: Array
    pressure: tuple[Array, Array]
    temperature: tuple[Array, Array]


def charge_of(duty: Duty, around: Installation, loss: tuple[Array, Array], rises: bool) -> Charge:
    """The charge at one duty point, given or held behind the core, whose loss [Pa] lies between two bounds.

    Where its temperature does not rise with pressure throughout, only bounds that are one for all boxes will do.
    """
    flow, p, T = duty.air_flow, duty.air_inlet_pressure, duty.air_inlet_temperature
    if around.blower is None or around.asked.air[0] != HELD:
        return Charge(flow, (p, p), (T, T))
    low, high = (around.asked.manifold_pressure + at for at in loss)
    if rises:
        return Charge(flow, (low, high), (_heated(duty, around, low), _heated(duty, around, high)))
    at = _heated(duty, around, low + (high - low) * np.linspace(0.0, 1.0, _PRESSURES))
    return Charge(flow, (low, high), (np.min(at, keepdims=True), np.max(at, keepdims=True)))


def _heated(duty: Duty, around: Installation, p: Array) -> Array:
    """Charge temperature behind the blower at a charge pressure [K]."""
    assert around.blower is not None
    ratio = p / around.blower_inlet_pressure
    efficiency = around.blower.isentropic.at(ratio)
    return compress(duty.air, around.asked.ambient_temperature, around.blower_inlet_pressure, ratio, efficiency).T2


def heat_rises(duty: Duty, around: Installation, most_loss: Array) -> bool:
    """Whether the charge gets hotter with every pascal from no loss to the most: its bounds are then at the ends."""
    if around.blower is None or around.asked.air[0] != HELD:
        return True
    p = around.asked.manifold_pressure + most_loss * np.linspace(0.0, 1.0, _LOOKED)
    return bool(np.all(np.diff(_heated(duty, around, p)) > 0))


def better(
    box: Boxes, reach: CoolantReach, duty: Duty, around: Installation, hottest: Array, most_loss: Array, rises: bool
) -> Better:
    """Bounds of n boxes at one duty point, for the cores among them whose air leaves at `hottest` [K] or below and
    loses `most_loss` [Pa] or less; what is wrong for the others does not matter, they are not asked for.

    The charge is given, or held behind the core. Below -> what rests on it:
    air film at the hottest air, coolant film at the largest flow -> UA -> effectiveness with the most coolant -> share
    of the temperature difference -> outlet temperature -> coldest air -> loss.
    """
    charge = charge_of(duty, around, (np.zeros(1), most_loss), rises)
    sink = around.asked.ambient_temperature if reach.rejection is not None else duty.coolant_inlet_temperature
    T_in, T_mean = charge.temperature, (charge.temperature[1] + hottest) / 2 + _MEAN_ABOVE
    hot = _air_film(box, duty, charge, T_mean, most=True)
    C_air, C_most = capacities(duty, charge, sink)
    UA = _most_UA(box, hot.conductance * ROUNDED, reach)
    share = _most_share(box, reach, UA, C_air)
    T_out = T_in[0] - share * (T_in[0] - sink)
    heat = share * C_most * (T_in[1] - sink)
    least_heat = C_air * np.maximum(T_in[0] - hottest, 0.0)
    T_cold = np.minimum(np.maximum(T_out, sink + least_heat / UA), T_mean)
    loss = _least_air_loss(box, duty, charge, T_cold, T_out, heat)
    if around.blower is not None and around.asked.air[0] == HELD and rises:
        T_least = charge_of(duty, around, (loss, np.maximum(most_loss, loss)), rises).temperature[0]
        T_out = T_least - share * (T_least - sink)
    sound = (T_in[0] > sink) & np.isfinite(T_out) & np.isfinite(loss)
    return Better(
        np.where(sound, T_out - UNSETTLED, -np.inf), np.where(sound, loss, -np.inf), reach.loss,
        np.where(sound, heat * (1 + UNSETTLED_SHARE), np.inf),
    )


def capacities(duty: Duty, charge: Charge, coldest: Array) -> tuple[Array, Array]:
    """Capacity of the charge (least, most) [W/K] between a temperature [K] and its hottest, at either pressure."""
    ends = [(T, p) for T in (coldest, charge.temperature[1]) for p in charge.pressure]
    cp = np.broadcast_arrays(*(duty.air.specific_heat(T, p) for T, p in ends))
    return charge.flow * np.minimum.reduce(cp), charge.flow * np.maximum.reduce(cp)


def _air_film(box: Boxes, duty: Duty, charge: Charge, T: Array, most: bool) -> Film:
    """Film of the air at a mean temperature with the larger core's area and the shorter one's entry, or the reverse."""
    area, length = (box.large_g, box.small_g) if most else (box.small_g, box.large_g)
    side = replace(area.air, flow_length=length.air.flow_length)
    p = charge.pressure[0 if most else 1]
    return film(side, duty.air, charge.flow, T, T, p, box.small.fin_conductivity, Factor())


def _most_UA(box: Boxes, air: Array, reach: CoolantReach) -> Array:
    """With the best films; fouling as if the surface efficiency were 1, where it weighs least."""
    d, g = box.large, box.large_g
    rest = (
        d.air_fouling / g.air.area + d.coolant_fouling / g.coolant.area
        + d.plate_thickness / (d.plate_conductivity * g.plate_area)
    )
    return np.asarray(1 / (1 / air + rest + 1 / reach.conductance))


def _most_share(box: Boxes, reach: CoolantReach, UA: Array, C_air: Array) -> Array:
    """Largest (T_in - T_out)/(T_in - T_sink); from the most coolant in the core and the least beyond it."""
    d, C = box.large, reach.capacity
    mixed = box.large_g.coolant.family.mixed
    K = core_effectiveness(UA, C_air, C, d.passes, d.side_by_side, mixed) * np.minimum(C_air, C)
    if reach.rejection is None:
        return np.minimum(K / C_air, 1.0)
    return 1 / (C_air / K + C_air * np.maximum(reach.rejection, 0.0))


def _least_air_loss(
    box: Boxes, duty: Duty, charge: Charge, T_mean: Array, T_out: Array, heat: Array
) -> Array:
    """Loss of the thinner core with the coldest air at the highest pressure, entering hot: that lowers it too."""
    cold = _air_film(box, duty, charge, T_mean, most=False)
    # T_wall/T_air = 1 - Q R_air/T_air: the wall is coldest with all the heat over the poorest film.
    wall = np.clip(1 - heat / (cold.conductance / ROUNDED * T_mean), 0.5, 1.0)
    f = _least_friction(box, cold, duty, charge, wall)
    T_in, p = charge.temperature, charge.pressure[1]
    loss = air_loss(box.small, box.small_g, duty.air, charge.flow, T_in[1], T_mean, T_out, p, f).total
    lids = [duct_loss(box.small.lid_loss, box.small.lid_area, charge.flow, duty.air.density(T, p)) for T in T_in]
    return np.maximum(loss - (lids[1] - lids[0]), 0.0) * (1 - UNSETTLED_SHARE)


def _least_friction(box: Boxes, cold: Film, duty: Duty, charge: Charge, wall: Array) -> Array:
    """Fanning f of the longer core at the coldest air, at the hottest, and where the family's curve may turn."""
    side: Side = box.large_g.air
    hot = charge.flow / side.free_area * side.surface.hydraulic_diameter / duty.air.viscosity(
        charge.temperature[1], charge.pressure[1]
    )
    Re = [cold.flow.Re, hot, *(np.clip(turn, hot, cold.flow.Re) for turn in side.family.turns(side.fin, side.surface))]
    values = []
    for at in Re:
        flow = Flow(at, cold.flow.Pr, side.flow_length, side.width, side.stack_pitch, side.obstruction)
        ratio = np.minimum(f_ratio(True, wall, turbulence(side, at)), 1.0)
        values.append(side.family.f(side.fin, side.surface, flow) * ratio)
    return np.asarray(np.minimum.reduce(values))
