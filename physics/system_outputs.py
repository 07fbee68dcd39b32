"""What the parts around the core do once everything has settled: outputs of loop, blower, moisture and boiling."""

from dataclasses import dataclass

import numpy as np

from physics.arrays import Array, BoolArray
from physics.blower import Blower, compress, shaft_power, speed_for
from physics.core import Designs
from physics.duty import Duty
from physics.heat_transfer import pass_effectiveness
from physics.humid_air import condensate, dew_point, latent_heat, vapour_pressure
from physics.installation import BREATHING, Installation
from physics.loop import GRAVITY, first_flow, loop_loss
from physics.losses import AirLoss, CoolantLoss
from physics.thermal import LARGEST_SPREAD, State, Thermal

_NEXT_TO_NOTHING = 1e-6  # of a usual flow


def loop_values(
    duty: Duty, around: Installation, thermal: Thermal, state: State, core: CoolantLoss
) -> dict[str, Array]:
    """Where the pump's head goes [Pa], and what the front exchanger does; core loss aside."""
    loop = around.loop
    if loop is None:
        return {}
    p, m = duty.coolant_inlet_pressure, duty.coolant_flow
    rho, mu = duty.coolant.density(state.coolant, p), duty.coolant.viscosity(state.coolant, p)
    outside = loop_loss(loop, m, rho, mu)
    total = core.total + outside.total + loop.opening_pressure
    values = {
        "pump_pressure_rise": total, "loop_line_loss": outside.lines, "loop_fitting_loss": outside.fittings,
        "loop_step_loss": outside.step, "loop_front_loss": outside.front, "pumping_power": total * m / rho,
    }
    if around.front is not None:
        values["front_effectiveness"] = around.front_conductance(duty, thermal.coolant.capacity)[1]
    return values


def stalls(duty: Duty, around: Installation | None, state: State) -> BoolArray:
    """Where the pumps cannot open the loop, or next to nothing flows (m, n)."""
    if around is None or around.loop is None:
        return np.zeros(1, dtype=bool)
    head = sum(pump.shutoff(around.asked.pump_speed) for pump in around.loop.pumps)
    rho = duty.coolant.density(state.coolant, duty.coolant_inlet_pressure)
    shut = rho * GRAVITY * head <= around.loop.opening_pressure
    least = _NEXT_TO_NOTHING * first_flow(around.loop, rho, around.asked.pump_speed)
    return np.asarray(around.asked.flow_open & (shut | (duty.coolant_flow <= least)))


def beyond_tables(duty: Duty, around: Installation) -> BoolArray:
    """Where pump, front exchanger or engine are asked for more, or less, than was measured of them (m, n)."""
    asked, loop = around.asked, around.loop
    beyond = np.zeros((1, 1), dtype=bool)
    if loop is not None:
        V = duty.coolant_flow / duty.coolant.density(duty.coolant_inlet_temperature, duty.coolant_inlet_pressure)
        measured = np.min([pump.flow[-1] * asked.pump_speed for pump in loop.pumps], axis=0)
        beyond = beyond | (asked.flow_open & (measured < V))
        beyond = beyond | (loop.front_loss.outside(V) if loop.front_loss is not None else False)
    if around.engine is not None:
        beyond = beyond | (asked.way(BREATHING) & around.engine.volumetric.outside(asked.engine_speed))
    return beyond


def blower_values(duty: Duty, around: Installation, air: AirLoss) -> dict[str, Array]:
    """Speed, efficiencies and shaft power of the blower, and the part of that power the core's loss asks for."""
    blower = around.blower
    if blower is None:
        return {}
    T1, p1 = around.asked.ambient_temperature, around.blower_inlet_pressure
    ratio, rho1 = duty.air_inlet_pressure / p1, duty.air.density(T1, p1)
    speed = speed_for(blower, duty.air_flow, ratio, rho1)
    if np.any(breathing := around.asked.way(BREATHING)):
        speed = np.where(breathing, around.asked.engine_speed * (blower.drive_ratio or 0.0), speed)
    power, without = (
        _shaft_power(blower, duty, T1, p1, r) for r in (ratio, (duty.air_inlet_pressure - air.core_total) / p1)
    )
    return {
        "pressure_ratio": ratio, "blower_speed": speed, "volumetric_efficiency": blower.volumetric.at(ratio),
        "isentropic_efficiency": blower.isentropic.at(ratio), "shaft_power": power, "core_shaft_power": power - without,
    }


def _shaft_power(blower: Blower, duty: Duty, T1: Array, p1: Array, ratio: Array) -> Array:
    work = compress(duty.air, T1, p1, ratio, blower.isentropic.at(ratio)).work
    return shaft_power(blower, duty.air_flow, work)


@dataclass(frozen=True)
class Walls:
    """The most extreme temperatures of a core's metal [K], (m, n)."""

    coldest_air_side: Array
    coldest_coolant_side: Array
    hottest_coolant_side: Array


def walls(d: Designs, duty: Duty, thermal: Thermal, state: State, spread: Array) -> Walls:
    """The metal at its two extreme corners: air entering over leaving coolant, air leaving over entering coolant.

    Along the edge where the air enters it has its inlet temperature, so over one of N passes the coolant there nears
    it by exp(-UA/(N C_coolant)), from the mixture of the pass before: far hotter than the mean of what leaves. Along
    the edge where the coolant enters, the air nears that by exp(-UA/C_air). Both are exact for unmixed streams; with
    several passes the second errs to the cold side. The first corner is taken in the least fed passage.
    """
    T_air, T_coolant = duty.air_inlet_temperature, duty.coolant_inlet_temperature
    edge, UA, R_film = _hottest_coolant(d, duty, thermal, state, spread)
    left = T_coolant + (T_air - T_coolant) * np.exp(-thermal.UA / thermal.air.capacity)
    R_air = thermal.resistances[0] + thermal.resistances[1]
    entry, leaving = T_air - (T_air - edge) * R_air * UA, left - (left - T_coolant) * R_air * thermal.UA
    coolant_side = edge, edge + (T_air - edge) * R_film * UA, T_coolant
    return Walls(np.minimum(entry, leaving), _least(*coolant_side), -_least(*(-T for T in coolant_side)))


def _hottest_coolant(
    d: Designs, duty: Duty, thermal: Thermal, state: State, spread: Array
) -> tuple[Array, Array, Array]:
    """Coolant [K] at the end of the edge where the air enters, in the least fed passage; its UA and film resistance.

    The film is taken as proportional to the flow, which makes the wall rather too hot.
    """
    share = 1 - np.clip(spread, 0.0, LARGEST_SPREAD) / 2
    R_film = thermal.resistances[4] / share
    UA = 1 / (1 / thermal.UA + R_film - thermal.resistances[4])
    C = thermal.coolant.capacity
    kept = 1 - pass_effectiveness(thermal.effectiveness, thermal.air.capacity, C, d.passes, d.side_by_side)
    T_air = duty.air_inlet_temperature
    return T_air - (T_air - state.coolant_out) / kept * np.exp(-UA / (d.passes * C * share)), UA, R_film


def _least(one: Array, *others: Array) -> Array:
    for other in others:
        one = np.minimum(one, other)
    return one


def moisture_values(duty: Duty, around: Installation, metal: Walls, air: AirLoss) -> dict[str, Array]:
    """Dew point of the charge in the core, and what condenses if all of it meets the coldest metal: an upper bound."""
    W = around.humidity_ratio
    if W is None:
        return {}
    p = duty.air_inlet_pressure - air.total
    cold = metal.coldest_air_side
    rate = condensate(W, cold, p, duty.air_flow / (1 + W))
    return {
        "dew_point": dew_point(vapour_pressure(W, p)), "coldest_metal_temperature": cold,
        "condensate_rate": rate, "condensation_heat": rate * latent_heat(cold),
    }


def coolant_margins(duty: Duty, around: Installation, metal: Walls, state: State) -> dict[str, Array]:
    """How far the coolant stays from boiling at its hottest wall and from freezing where it is coldest [K]."""
    coldest = np.minimum(duty.coolant_inlet_temperature, state.coolant_out)
    values = {"freezing_margin": coldest - around.freezing_temperature}
    if around.boiling_temperature is not None:
        values["boiling_margin"] = around.boiling_temperature - metal.hottest_coolant_side
    return values
