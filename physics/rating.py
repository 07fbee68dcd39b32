"""The calculation sheet of a core, top to bottom, for any number of designs and duty points in one call.

Geometry -> films at the mean temperatures -> resistances, UA, NTU, effectiveness -> heat and outlet temperatures,
repeated until they settle -> coolant loss and the flow spread over the passages -> heat over that spread -> air loss.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntFlag

import numpy as np

from physics.arrays import Array, BoolArray, IntArray
from physics.columns import batch_size, take, upright
from physics.core import Designs, Geometry, geometry, impossible
from physics.duty import Duty, ModelFactors
from physics.envelope import Envelope, clearances
from physics.film import Friction, friction
from physics.fins.family import Flow
from physics.losses import FAST_LOSS, LARGEST_LOSS, AirLoss, CoolantLoss, air_loss, coolant_loss, header_ratio
from physics.outputs import OUTPUTS
from physics.ports import SPREAD_LIMIT, header_spread
from physics.properties import Fluid, out_of_range
from physics.thermal import State, Thermal, over_spread, settle, temperatures

_PASSES = 4
_FILLING_TEMPERATURE, _FILLING_PRESSURE = 293.15, 101325.0  # the filled mass is weighed at
_MORE_PASSES = 40  # for the rare design whose temperatures have not settled


class Flag(IntFlag):
    """Why a rating is to be read with care, or cannot be made (the last three: NaN)."""

    AIR_FIN_RANGE = 1
    COOLANT_FIN_RANGE = 2
    AIR_TEMPERATURE = 4
    COOLANT_TEMPERATURE = 8
    HEADER = 16
    NOT_SETTLED = 32
    AIR_FAST = 64
    AIR_CANNOT_PASS = 128
    NO_CORE = 256
    NO_VALUE = 512


FLAG_TEXTS = {
    Flag.AIR_FIN_RANGE: "air fins outside the range of their correlation",
    Flag.COOLANT_FIN_RANGE: "coolant passages outside the range of their correlation",
    Flag.AIR_TEMPERATURE: "air temperature outside the range of the property data",
    Flag.COOLANT_TEMPERATURE: "coolant or its wall outside the property data (near freezing, or above 100 degC)",
    Flag.HEADER: "tank too tight for the passages: flow spread beyond what its formula was checked for",
    Flag.NOT_SETTLED: "outlet temperatures did not settle to 0.01 K",
    Flag.AIR_FAST: "air loss above 15 % of the inlet pressure: the formula is some per cent low there",
    Flag.AIR_CANNOT_PASS: "not computable: the air loss would exceed 30 % of the inlet pressure",
    Flag.NO_CORE: "not computable: no room left for passages or fin gaps, or a port of no shape",
    Flag.NO_VALUE: "not computable: a correlation has no value here",
}


@dataclass(frozen=True)
class Rating:
    """Outputs by name: (n, m) per duty point, (n,) per core, see `physics.outputs`; flags (n, m) of `Flag` bits."""

    duty_names: tuple[str, ...]
    values: Mapping[str, Array]
    flags: IntArray

    def __getitem__(self, name: str) -> Array:
        shape = self.flags.shape if OUTPUTS[name].per == "duty" else self.flags.shape[:1]
        return np.broadcast_to(self.values[name], shape)


def rate(designs: Designs, duty: Duty, factors: ModelFactors | None = None, envelope: Envelope | None = None) -> Rating:
    """Rate n designs at m duty points; a single core is a batch of one.

    Nothing is raised for a design that cannot be: its values are NaN and its flag says why. Without an envelope
    the clearances are left out.
    """
    factors = factors or ModelFactors()
    with np.errstate(all="ignore"):
        rating = _rate(designs, duty, factors, envelope, _PASSES)
        slow = np.flatnonzero(np.any(rating.flags & Flag.NOT_SETTLED, axis=1))
        if slow.size:
            again = _rate(take(designs, slow), duty.take(slow), take(factors, slow), envelope, _MORE_PASSES)
            rating = _patched(rating, slow, again)
    return rating


def _rate(designs: Designs, duty: Duty, factors: ModelFactors, envelope: Envelope | None, passes: int) -> Rating:
    d, k = upright(designs), upright(factors)
    g = geometry(d)
    even, settled_at, settled = settle(d, g, duty, k, passes)
    air_f = friction(g.air, duty.air, even.air, k.air_f)
    coolant_f = friction(g.coolant, duty.coolant, even.coolant, k.coolant_f)
    coolant, ratio, spread = _coolant_half(d, g, duty, k, even, settled_at, coolant_f)
    thermal = over_spread(d, g, duty, even, spread)
    state = temperatures(duty, thermal)
    air = air_loss(
        d, g, duty.air, duty.air_flow, duty.air_inlet_temperature, state.air, state.air_out, duty.air_inlet_pressure,
        air_f.f,
    )
    values = {
        **_thermal_values(duty, thermal, state),
        **_flow_values(g, duty, thermal, state, air),
        "air_f": air_f.f, "coolant_f": coolant_f.f,
        **_loss_values(duty, air, coolant),
        **_core_values(d, g, float(duty.coolant.density(_FILLING_TEMPERATURE, _FILLING_PRESSURE))),
        "header_ratio": ratio, "passage_flow_spread": spread,
        "spread_heat_penalty": 1 - thermal.effectiveness / even.effectiveness,
    }
    if envelope is not None:
        values.update({name: room[:, 0] for name, room in clearances(d, g, envelope).items()})
    shape = (max(batch_size(designs), batch_size(factors), duty.size), len(duty.names))
    no_core = impossible(d, g)
    void = _void(no_core, thermal, air, coolant)
    flags = _flags(g, duty, thermal, state, ratio, air) | np.where(settled | no_core, 0, int(Flag.NOT_SETTLED)) | void
    return Rating(duty.names, _blanked(values, no_core, void > 0), np.broadcast_to(flags, shape))


def _coolant_half(
    d: Designs, g: Geometry, duty: Duty, k: ModelFactors, thermal: Thermal, state: State, f: Friction
) -> tuple[CoolantLoss, Array, Array]:
    """Coolant loss, header ratio and the flow spread it leaves over the passages."""
    p = duty.coolant_inlet_pressure
    rho_in, rho_mean, rho_out = (
        duty.coolant.density(T, p) for T in (duty.coolant_inlet_temperature, state.coolant, state.coolant_out)
    )
    loss = coolant_loss(d, g, duty.coolant_flow, thermal.coolant.G, f.f, (rho_in, rho_mean, rho_out), k.tank_loss)
    ratio = header_ratio(d, g, duty.coolant_flow, rho_in, loss.one_pass)
    return loss, ratio, header_spread(ratio, _loss_exponent(g, thermal, loss, f), d.header_factor)


def _loss_exponent(g: Geometry, thermal: Thermal, loss: CoolantLoss, f: Friction) -> Array:
    """n of passage loss ~ flow^n: 2 + dln f/dln Re on the friction, 2 on the ends."""
    side, flow, step = g.coolant, thermal.coolant.flow, 0.02
    there = Flow(flow.Re * (1 + step), flow.Pr, flow.length, flow.width, flow.stack_pitch, flow.obstruction)
    ratio = side.family.f(side.fin, side.surface, there) / f.published
    return np.asarray(2 + loss.friction_share * np.log(ratio) / np.log1p(step))


def _thermal_values(duty: Duty, thermal: Thermal, state: State) -> dict[str, Array]:
    air, coolant = thermal.air, thermal.coolant
    C_min, C_max = np.minimum(air.capacity, coolant.capacity), np.maximum(air.capacity, coolant.capacity)
    layers = ("air", "air_fouling", "plate", "coolant_fouling", "coolant")
    return {
        "heat_rejected": thermal.heat,
        "air_outlet_temperature": state.air_out,
        "coolant_outlet_temperature": state.coolant_out,
        "effectiveness": thermal.effectiveness,
        "NTU": thermal.UA / C_min, "C_ratio": C_min / C_max, "UA": thermal.UA,
        **{f"{layer}_resistance": R for layer, R in zip(layers, thermal.resistances, strict=True)},
        "air_heat_transfer_coefficient": air.h, "coolant_heat_transfer_coefficient": coolant.h,
        "air_fin_efficiency": air.eta_fin, "air_surface_efficiency": air.eta_surface,
        "coolant_fin_efficiency": coolant.eta_fin, "coolant_surface_efficiency": coolant.eta_surface,
        "air_mean_temperature": state.air, "coolant_mean_temperature": state.coolant,
        "air_wall_temperature": state.air_wall, "coolant_wall_temperature": state.coolant_wall,
    }


def _flow_values(g: Geometry, duty: Duty, thermal: Thermal, state: State, air: AirLoss) -> dict[str, Array]:
    a, c = thermal.air, thermal.coolant
    rho_coolant = duty.coolant.density(state.coolant, duty.coolant_inlet_pressure)
    rho_inlet = duty.coolant.density(duty.coolant_inlet_temperature, duty.coolant_inlet_pressure)
    return {
        "air_Re": a.flow.Re, "coolant_Re": c.flow.Re, "air_Pr": a.flow.Pr, "coolant_Pr": c.flow.Pr,
        "air_j": a.j, "coolant_j": c.j,
        "air_mass_velocity": a.G, "coolant_mass_velocity": c.G,
        "air_face_velocity": duty.air_flow / (air.rho_in * g.frontal_area),
        "air_core_velocity": a.G / air.rho_in,
        "coolant_core_velocity": c.G / rho_coolant,
        "coolant_volume_flow": duty.coolant_flow / rho_inlet,
    }


def _loss_values(duty: Duty, air: AirLoss, coolant: CoolantLoss) -> dict[str, Array]:
    return {
        "air_lid_loss": air.lid, "air_entry_loss": air.core.entry, "air_acceleration_loss": air.core.acceleration,
        "air_friction_loss": air.core.friction, "air_exit_loss": air.core.exit, "air_core_loss": air.core.total,
        "air_plenum_loss": air.plenum, "air_pressure_drop": air.total,
        "air_outlet_pressure": duty.air_inlet_pressure - air.total,
        "coolant_core_loss": coolant.core, "coolant_end_loss": coolant.ends,
        "coolant_tank_loss": coolant.tanks, "coolant_port_loss": coolant.ports,
        "coolant_pressure_drop": coolant.total,
    }


def _core_values(d: Designs, g: Geometry, rho: float) -> dict[str, Array]:
    values = {
        "stack_height": g.stack_height, "core_thickness": d.thickness, "core_length": d.length,
        "overall_length": g.overall_length, "dry_mass": g.dry_mass, "filled_mass": g.dry_mass + rho * g.coolant_volume,
        "coolant_volume": g.coolant_volume, "air_area": g.air.area, "coolant_area": g.coolant.area,
        "air_free_flow_area": g.air.free_area, "coolant_free_flow_area": g.coolant.free_area,
        "air_hydraulic_diameter": g.air.surface.hydraulic_diameter,
        "coolant_hydraulic_diameter": g.coolant.surface.hydraulic_diameter,
        "air_sigma": g.air.sigma, "coolant_sigma": g.coolant.sigma,
        "air_fin_area_ratio": g.air.surface.fin_area_ratio,
        "port_area": d.port.area, "port_open_share": d.port.area / g.port_face,
    }
    return {name: value[:, 0] for name, value in values.items()}


def _void(no_core: BoolArray, thermal: Thermal, air: AirLoss, coolant: CoolantLoss) -> IntArray:
    """The reason why a duty cannot be computed, 0 where it can."""
    finite = np.isfinite(thermal.heat) & np.isfinite(air.total) & np.isfinite(coolant.total)
    choked = air.relative >= LARGEST_LOSS
    reason = np.where(~finite, int(Flag.NO_VALUE), np.where(choked, int(Flag.AIR_CANNOT_PASS), 0))
    return np.where(no_core, int(Flag.NO_CORE), reason)


def _flags(g: Geometry, duty: Duty, thermal: Thermal, state: State, ratio: Array, air: AirLoss) -> IntArray:
    # The wall is most extreme where the air enters over the leaving coolant.
    film_share = thermal.resistances[4] * thermal.UA
    corner = state.coolant_out + (duty.air_inlet_temperature - state.coolant_out) * film_share
    hottest = np.maximum(np.maximum(state.coolant_out, corner), duty.coolant_inlet_temperature)
    cold = np.minimum(np.minimum(state.coolant_out, corner), duty.coolant_inlet_temperature)
    raised: list[tuple[Flag, BoolArray]] = [
        (Flag.AIR_FIN_RANGE, g.air.family.outside(g.air.fin, g.air.surface, thermal.air.flow)),
        (Flag.COOLANT_FIN_RANGE, g.coolant.family.outside(g.coolant.fin, g.coolant.surface, thermal.coolant.flow)),
        (Flag.AIR_TEMPERATURE, _outside(duty.air, duty.air_inlet_temperature, state.air_out)),
        (Flag.COOLANT_TEMPERATURE, _outside(duty.coolant, hottest, cold)),
        (Flag.HEADER, ratio > SPREAD_LIMIT),
        (Flag.AIR_FAST, air.relative > FAST_LOSS),
    ]
    flags = np.zeros((1, 1), dtype=np.int64)
    for flag, where in raised:
        flags = flags | np.where(where, int(flag), 0)
    return flags


def _outside(fluid: Fluid, one: Array, other: Array) -> BoolArray:
    return out_of_range(fluid, one) | out_of_range(fluid, other)


def _blanked(values: dict[str, Array], no_core: BoolArray, void: BoolArray) -> dict[str, Array]:
    """NaN where a core cannot be or its duty not computed; outputs of the core stay where there is a core."""
    blank = {"duty": void, "core": no_core[:, 0]}
    if not np.any(blank["duty"]):
        return values
    return {name: np.where(blank[OUTPUTS[name].per], np.nan, value) for name, value in values.items()}


def _patched(rating: Rating, index: IntArray, part: Rating) -> Rating:
    """The rating with the rows at `index` replaced."""
    values = {}
    for name, value in rating.values.items():
        shape = rating.flags.shape if OUTPUTS[name].per == "duty" else rating.flags.shape[:1]
        full = np.array(np.broadcast_to(value, shape))
        full[index] = part.values[name]
        values[name] = full
    flags = np.array(rating.flags)
    flags[index] = part.flags
    return Rating(rating.duty_names, values, flags)
