"""The calculation sheet of a core, top to bottom, for any number of designs and duty points in one call.

Geometry -> films at the mean temperatures -> resistances, UA, NTU, effectiveness -> heat and outlet temperatures, and
what loop and blower then give, repeated until all settle -> coolant loss and the flow spread over the passages -> heat
over that spread -> air loss -> loop, blower, moisture, net gain.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from physics.arrays import Array, BoolArray, IntArray, Range, out_of_range
from physics.columns import batch_size, take
from physics.core import Designs, Geometry, geometry, impossible
from physics.core_outputs import core_columns, flow_values, loss_values, state_values, thermal_values
from physics.duty import Duty, ModelFactors
from physics.envelope import Envelope, clearances
from physics.film import Friction, friction, friction_slope
from physics.flags import Flag, joined
from physics.fluid import densities
from physics.installation import BREATHING, Installation
from physics.losses import FAST_LOSS, LARGEST_LOSS, AirLoss, CoolantLoss, air_loss, coolant_loss, header_ratio
from physics.memory import keep_freed
from physics.net_gain import Reference, Worth, net_gain
from physics.outputs import OUTPUTS
from physics.ports import SPREAD_LIMIT, header_spread
from physics.system_outputs import (
    Walls,
    beyond_tables,
    blower_values,
    coolant_margins,
    loop_values,
    moisture_values,
    stalls,
    walls,
)
from physics.thermal import Settled, State, Thermal, over_spread, settle, temperatures

_PASSES = 4  # with everything given
_PASSES_AROUND = 7  # with flows or temperatures left to loop and blower
_PASSES_BREATHING = 8  # with an engine that breathes
_MORE_PASSES = 40  # for the rare design that has not settled
keep_freed()


@dataclass(frozen=True)
class Rating:
    """Outputs by name: (n, m) per duty point, (n,) per core, see `physics.outputs`; flags (n, m) of `Flag` bits."""

    duty_names: tuple[str, ...]
    values: Mapping[str, Array]
    flags: IntArray

    def __getitem__(self, name: str) -> Array:
        shape = self.flags.shape if OUTPUTS[name].per == "duty" else self.flags.shape[:1]
        return np.broadcast_to(self.values[name], shape)


def rate(
    designs: Designs,
    duty: Duty,
    factors: ModelFactors | None = None,
    envelope: Envelope | None = None,
    around: Installation | None = None,
) -> Rating:
    """Rate n designs at m duty points; a single core is a batch of one.

    Nothing is raised for a design that cannot be: its values are NaN and its flag says why. Without an envelope
    the clearances are left out, without an installation all that lies outside the core.
    """
    factors = factors or ModelFactors()
    passes = _passes(around)
    n = max(batch_size(designs), batch_size(factors), duty.size, *_sizes(around))
    with np.errstate(all="ignore"):
        rating = _rate(designs, *_begun(duty, around), factors, envelope, passes)
        rating = replace(rating, flags=np.broadcast_to(rating.flags, (n, len(duty.names))))
        slow = np.flatnonzero(np.any(rating.flags & Flag.NOT_SETTLED, axis=1))
        if slow.size:
            start, beside = _begun(duty.take(slow), around.take(slow) if around is not None else None)
            closes = beside is not None and beside.closes
            start, more = (_met(rating, start, slow), 2 * passes) if closes else (start, _MORE_PASSES)
            again = _rate(take(designs, slow), start, beside, take(factors, slow), envelope, more)
            rating = _patched(rating, slow, again)
    return rating


def _begun(duty: Duty, around: Installation | None) -> tuple[Duty, Installation | None]:
    """Duty and installation with duty points first, a first guess in place of what the duty leaves open."""
    duty, around = duty.points_first(), around.points_first() if around is not None else None
    return (around.first(duty) if around is not None and around.closes else duty), around


def _met(rating: Rating, first: Duty, index: IntArray) -> Duty:
    """The duty some designs had come to, to go on from; the first guess where there is no value."""
    def now(name: str, guess: Array) -> Array:
        value = rating[name][index].T
        return np.where(np.isnan(value), guess, value)

    T, p = now("coolant_inlet_temperature", first.coolant_inlet_temperature), first.coolant_inlet_pressure
    guess = first.coolant_flow / first.coolant.density(first.coolant_inlet_temperature, p)
    return replace(
        first, air_flow=now("charge_flow", first.air_flow), coolant_inlet_temperature=T,
        air_inlet_temperature=now("air_inlet_temperature", first.air_inlet_temperature),
        air_inlet_pressure=now("air_inlet_pressure", first.air_inlet_pressure),
        coolant_flow=now("coolant_volume_flow", guess) * first.coolant.density(T, p),
    )


def _passes(around: Installation | None) -> int:
    """Passes after which all but some three designs in a hundred stand still."""
    if around is None or not around.closes:
        return _PASSES
    return _PASSES_BREATHING if np.any(around.asked.way(BREATHING)) else _PASSES_AROUND


def _rate(
    d: Designs,
    start: Duty,
    around: Installation | None,
    k: ModelFactors,
    envelope: Envelope | None,
    passes: int,
) -> Rating:
    """The sheet once, in arrays of (duty point, design): columns of designs (n,), those of duty points (m, 1)."""
    g = geometry(d)
    around = around.fitted(d, start.air) if around is not None else None
    settled = _settled(d, g, start, k, around, passes)
    even, duty = settled.thermal, settled.duty
    air_f = friction(g.air, duty.air, even.air, k.on("air_f"))
    coolant_f = friction(g.coolant, duty.coolant, even.coolant, k.on("coolant_f"))
    coolant, ratio, spread = _coolant_half(d, g, duty, k, even, settled.state, coolant_f)
    thermal = over_spread(d, g, even, spread, k)
    duty = around.coupled(duty, thermal) if around is not None else duty
    state = temperatures(duty, thermal)
    air = air_loss(
        d, g, duty.air, duty.air_flow, duty.air_inlet_temperature, state.air, state.air_out, duty.air_inlet_pressure,
        air_f.f,
    )
    metal = walls(d, duty, thermal, state, spread)
    values = {
        **core_columns(d, g, duty.coolant), **state_values(duty, state, air), **thermal_values(thermal, state),
        **flow_values(g, duty, thermal, state, air), **loss_values(air, coolant),
        "air_f": air_f.f, "coolant_f": coolant_f.f, "header_ratio": ratio, "passage_flow_spread": spread,
        "spread_heat_penalty": 1 - thermal.effectiveness / even.effectiveness,
        **(clearances(d, g, envelope) if envelope is not None else {}),
        **(_system_values(duty, around, thermal, state, metal, air, coolant) if around is not None else {}),
    }
    no_core = impossible(d, g)
    void = _void(no_core, state, air, coolant, stalls(duty, around, state))
    flags = _flags(g, duty, thermal, state, metal, ratio, air) | _system_flags(values, duty, around) | void
    flags = flags | np.where(settled.still | no_core, 0, int(Flag.NOT_SETTLED))
    values = _blanked(values, no_core, void > 0)
    return Rating(duty.names, _designs_first(values), flags.T)


def _designs_first(values: Mapping[str, Array]) -> dict[str, Array]:
    """Values of duty points as (n, m), those of the core as they are (n,)."""
    def turned(value: Array) -> Array:
        return value.T if value.ndim == 2 else value[:, None]

    return {name: turned(value) if OUTPUTS[name].per == "duty" else value for name, value in values.items()}


def _settled(
    d: Designs, g: Geometry, start: Duty, k: ModelFactors, around: Installation | None, passes: int
) -> Settled:
    if around is None or not around.closes:
        return settle(d, g, start, k, passes)
    return settle(d, g, start, k, passes, lambda duty, thermal, state: around.meet(d, g, duty, k, thermal, state))


def _sizes(around: Installation | None) -> list[int]:
    """Numbers of designs the installation is given for."""
    if around is None:
        return []
    return [around.asked.size, *([batch_size(around.loop.line)] if around.loop is not None else [])]


def _system_values(
    duty: Duty, around: Installation, thermal: Thermal, state: State, metal: Walls, air: AirLoss,
    coolant: CoolantLoss,
) -> dict[str, Array]:
    return {
        **loop_values(duty, around, thermal, state, coolant),
        **blower_values(duty, around, air),
        **moisture_values(duty, around, metal, air),
        **coolant_margins(duty, around, metal, state),
    }


def _system_flags(values: Mapping[str, Array], duty: Duty, around: Installation | None) -> IntArray:
    """Cautions from outside the core, where the study has what they ask for."""
    raised: list[tuple[Flag, BoolArray]] = []
    if around is not None:
        raised.append((Flag.TABLE_RANGE, beyond_tables(duty, around)))
    if "freezing_margin" in values:
        raised.append((Flag.FREEZING, values["freezing_margin"] < 0))
    if around is not None and around.blower is not None:
        raised.append((Flag.BLOWER_RANGE, around.blower.outside(values["pressure_ratio"])))
    if "condensate_rate" in values:
        raised.append((Flag.CONDENSATION, values["condensate_rate"] > 0))
    if "boiling_margin" in values:
        raised.append((Flag.BOILING, values["boiling_margin"] < 0))
    return joined(raised)


def with_net_gain(rating: Rating, reference: Reference, worth: Worth, around: Installation) -> Rating:
    """The rating with what it gains over a reference core."""
    gains = net_gain(rating.values, reference, worth, around.asked.way(BREATHING))
    return Rating(rating.duty_names, {**rating.values, **gains}, rating.flags)


def _coolant_half(
    d: Designs, g: Geometry, duty: Duty, k: ModelFactors, thermal: Thermal, state: State, f: Friction
) -> tuple[CoolantLoss, Array, Array]:
    """Coolant loss, header ratio and the flow spread it leaves over the passages."""
    T = duty.coolant_inlet_temperature, state.coolant, state.coolant_out
    rho = densities(duty.coolant, duty.coolant_inlet_pressure, *T)
    loss = coolant_loss(d, g, duty.coolant_flow, thermal.coolant.G, f.f, rho, k.tank_loss)
    ratio = header_ratio(d, g, duty.coolant_flow, rho[0], loss.one_pass)
    # n of passage loss ~ flow^n: 2 + d ln f/d ln Re on the friction, 2 on the ends.
    slope = friction_slope(g.coolant, thermal.coolant, f.published) + k.coolant_f_exponent
    exponent = 2 + loss.friction_share * slope
    return loss, ratio, header_spread(ratio, exponent, d.header_factor)


def _void(no_core: BoolArray, state: State, air: AirLoss, coolant: CoolantLoss, stalls: BoolArray) -> IntArray:
    """The reason why a duty cannot be computed, 0 where it can."""
    finite = np.isfinite(state.heat) & np.isfinite(air.total) & np.isfinite(coolant.total)
    choked = air.relative >= LARGEST_LOSS
    reason = np.where(~finite, int(Flag.NO_VALUE), np.where(choked, int(Flag.AIR_CANNOT_PASS), 0))
    reason = np.where(stalls, int(Flag.PUMP_STALLS), reason)
    return np.where(no_core, int(Flag.NO_CORE), reason)


def _flags(
    g: Geometry, duty: Duty, thermal: Thermal, state: State, metal: Walls, ratio: Array, air: AirLoss
) -> IntArray:
    p_in = duty.air_inlet_pressure
    raised: list[tuple[Flag, BoolArray]] = [
        (Flag.AIR_FIN_RANGE, g.air.family.outside(g.air.fin, g.air.surface, thermal.air.flow)),
        (Flag.COOLANT_FIN_RANGE, g.coolant.family.outside(g.coolant.fin, g.coolant.surface, thermal.coolant.flow)),
        (Flag.AIR_PROPERTIES, _outside(duty.air.temperature_range, duty.air_inlet_temperature, state.air_out)),
        (Flag.AIR_PROPERTIES, _outside(duty.air.pressure_range, p_in, p_in - air.total)),
        (Flag.COOLANT_TEMPERATURE,
         _outside(duty.coolant.temperature_range, metal.hottest_coolant_side, metal.coldest_coolant_side)),
        (Flag.HEADER, ratio > SPREAD_LIMIT),
        (Flag.AIR_FAST, air.relative > FAST_LOSS),
    ]
    return joined(raised)


def _outside(allowed: Range, one: Array, other: Array) -> BoolArray:
    return out_of_range(one, allowed) | out_of_range(other, allowed)


def _blanked(values: dict[str, Array], no_core: BoolArray, void: BoolArray) -> dict[str, Array]:
    """NaN where a core cannot be or its duty not computed; outputs of the core stay where there is a core."""
    blank = {"duty": void, "core": no_core}
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
