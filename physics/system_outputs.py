"""What the parts around the core do once everything has settled: outputs of loop, blower, moisture and boiling."""

import numpy as np

from physics.arrays import Array, BoolArray
from physics.blower import Blower, compress, shaft_power, speed_for
from physics.core import Designs
from physics.duty import Duty
from physics.humid_air import condensate, dew_point, latent_heat, vapour_pressure
from physics.installation import BREATHING, Installation
from physics.loop import GRAVITY, loop_loss
from physics.losses import AirLoss, CoolantLoss
from physics.thermal import State, Thermal


def loop_values(
    d: Designs, duty: Duty, around: Installation, thermal: Thermal, state: State, core: CoolantLoss
) -> dict[str, Array]:
    """Where the pump's head goes [Pa], and what the front exchanger does; core loss aside."""
    loop = around.loop
    if loop is None:
        return {}
    p, m = duty.coolant_inlet_pressure, duty.coolant_flow
    rho, mu = duty.coolant.density(state.coolant, p), duty.coolant.viscosity(state.coolant, p)
    outside = loop_loss(loop, d.port.line_area, m, rho, mu)
    total = core.total + outside.total + loop.opening_pressure
    values = {
        "pump_pressure_rise": total, "loop_line_loss": outside.lines, "loop_fitting_loss": outside.fittings,
        "loop_step_loss": outside.step, "loop_front_loss": outside.front, "pumping_power": total * m / rho,
    }
    if around.front is not None:
        values["front_effectiveness"] = around.front_conductance(duty, thermal.coolant.capacity)[1]
    return values


def stalls(duty: Duty, around: Installation | None) -> BoolArray:
    """Duty points at which the pumps cannot open the loop (m,)."""
    if around is None or around.loop is None:
        return np.zeros(1, dtype=bool)
    head = sum(pump.shutoff(around.asked.pump_speed) for pump in around.loop.pumps)
    rho = duty.coolant.density(duty.coolant_inlet_temperature, duty.coolant_inlet_pressure)
    return np.asarray(around.asked.flow_open & (rho * GRAVITY * head <= around.loop.opening_pressure))


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
        _shaft_power(blower, duty, T1, p1, r) for r in (ratio, (duty.air_inlet_pressure - air.core.total) / p1)
    )
    return {
        "pressure_ratio": ratio, "blower_speed": speed, "volumetric_efficiency": blower.volumetric.at(ratio),
        "isentropic_efficiency": blower.isentropic.at(ratio), "shaft_power": power, "core_shaft_power": power - without,
    }


def _shaft_power(blower: Blower, duty: Duty, T1: Array, p1: Array, ratio: Array) -> Array:
    work = compress(duty.air, T1, p1, ratio, blower.isentropic.at(ratio)).work
    return shaft_power(blower, duty.air_flow, work)


def wall_extremes(duty: Duty, thermal: Thermal, state: State) -> tuple[Array, Array]:
    """Hottest and coldest coolant-side wall [K]: most extreme where the air enters over the leaving coolant, and
    where the coolant enters."""
    film_share = thermal.resistances[4] * thermal.UA
    corner = state.coolant_out + (duty.air_inlet_temperature - state.coolant_out) * film_share
    ends = state.coolant_out, corner, duty.coolant_inlet_temperature
    return np.maximum(np.maximum(*ends[:2]), ends[2]), np.minimum(np.minimum(*ends[:2]), ends[2])


def coldest_air_wall(duty: Duty, thermal: Thermal) -> Array:
    """Coldest air-side metal [K]: where the air leaves over the entering coolant.

    Along that edge the coolant still has its inlet temperature, so the air there has fallen by exp(-UA/C_air): exact
    for one crossflow pass, on the cold side for more.
    """
    span = duty.air_inlet_temperature - duty.coolant_inlet_temperature
    left = np.exp(-thermal.UA / thermal.air.capacity) * (1 - thermal.resistances[0] * thermal.UA)
    return duty.coolant_inlet_temperature + span * left


def moisture_values(duty: Duty, around: Installation, thermal: Thermal, air: AirLoss) -> dict[str, Array]:
    """Dew point of the charge in the core, and what condenses if all of it meets the coldest metal: an upper bound."""
    W = around.humidity_ratio
    if W is None:
        return {}
    p = duty.air_inlet_pressure - air.total
    cold = coldest_air_wall(duty, thermal)
    rate = condensate(W, cold, p, duty.air_flow / (1 + W))
    return {
        "dew_point": dew_point(vapour_pressure(W, p)), "coldest_metal_temperature": cold,
        "condensate_rate": rate, "condensation_heat": rate * latent_heat(cold),
    }


def coolant_margins(duty: Duty, around: Installation, thermal: Thermal, state: State) -> dict[str, Array]:
    """How far the coolant stays from boiling at its hottest wall and from freezing where it is coldest [K]."""
    hottest, _ = wall_extremes(duty, thermal, state)
    coldest = np.minimum(duty.coolant_inlet_temperature, state.coolant_out)
    values = {"freezing_margin": coldest - around.freezing_temperature}
    if around.boiling_temperature is not None:
        values["boiling_margin"] = around.boiling_temperature - hottest
    return values
