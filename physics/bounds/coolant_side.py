"""The most the coolant side of a box can carry, and the flow it can have, at one duty point."""

from dataclasses import dataclass, fields, replace

import numpy as np

from physics.arrays import Array, IntArray
from physics.bounds.boxes import Boxes
from physics.columns import take
from physics.core import Designs, Geometry, Side
from physics.duty import Duty, Factor
from physics.film import f_ratio, film, turbulence
from physics.fins import Flow
from physics.fluid import Fluid
from physics.installation import Installation
from physics.loop import Loop, first_flow, loop_loss, next_flow, pump_pressure
from physics.losses import coolant_loss
from physics.pipes import RE_LAMINAR, RE_TURBULENT, Line

_STEPS = 4  # towards the operating point
_BEYOND = 1.002  # how far past the point found the bound lies; checked, not believed
_POWER = 1.8  # of the flow that the loss grows with, near enough to step by
ROUNDED = 1.003  # on a film between the ends of its temperatures: what it may rise between them
_FACTOR = np.ones(1)


@dataclass(frozen=True)
class CoolantReach:
    """Per box (n,) or (1,): the most that capacity of the coolant, and film with fins, can be [W/K], the least loss of
    the core [Pa], and the least from the coolant before it to the ambient [K/W], None where its temperature is given.
    """

    capacity: Array
    conductance: Array
    loss: Array
    rejection: Array | None

    def take(self, index: IntArray) -> "CoolantReach":
        """That of the boxes at `index`."""
        return take(self, index)


def joined(parts: list[tuple[IntArray, CoolantReach]], n: int) -> CoolantReach:
    """One of n boxes from those of parts of them, each with its positions."""

    def whole(name: str) -> Array | None:
        full = np.empty(n)
        for index, part in parts:
            if (value := getattr(part, name)) is None:
                return None
            full[index] = value
        return full

    return CoolantReach(**{field.name: whole(field.name) for field in fields(CoolantReach)})  # type: ignore[arg-type]


def coolant_reach(
    box: Boxes, duty: Duty, around: Installation, sink: Array, hottest: Array, heat: Array, C_air: Array
) -> CoolantReach:
    """What the coolant side of each box can reach at one duty point.

    sink: the coldest it can be, ambient or what is given [K]; hottest: the mean of the air at most [K]; heat: what it
    takes up at most [W]; C_air: of the charge at most [W/K].
    The film rises with flow and with area, and falls with the free area; over temperature its ends are looked at, as
    properties pull both ways.
    """
    wide = (sink, hottest)
    least = _flow(box, duty, around, wide, most=False)
    C_least = least * np.minimum(*_heats(duty.coolant, wide))
    rejected = _rejection(around, duty, (C_least, np.full_like(C_least, np.inf)))
    mean = _hottest(sink, hottest, heat, C_air, C_least, rejected[1] if rejected is not None else 0.0)
    T = (sink, np.minimum(mean, hottest))
    most = _flow(box, duty, around, T, most=True)
    C_most = most * np.maximum(*_heats(duty.coolant, wide))
    side = replace(box.large_g.coolant, free_area=box.small_g.coolant.free_area)
    p = duty.coolant_inlet_pressure
    films = [
        film(side, duty.coolant, most, at, hottest, p, box.large.fin_conductivity, Factor()).conductance for at in T
    ]
    loss = _core_loss(box.large, box.large_g, duty.coolant, least, (sink, hottest), least=True)
    rejection = _rejection(around, duty, (C_least, C_most))
    return CoolantReach(C_most, ROUNDED * np.maximum(*films), loss, rejection and rejection[0])


def _rejection(
    around: Installation, duty: Duty, capacity: tuple[Array, Array]
) -> tuple[Array, Array] | None:
    """From the coolant before the core to the ambient (least, most) [K/W], None where its temperature is given."""
    if around.front is None or not np.any(around.asked.temperature_open):
        return None
    ends = [1 / around.front_conductance(duty, C)[0] - 1 / C for C in capacity]
    return np.minimum(*ends), np.maximum(*ends)


def _hottest(sink: Array, air: Array, heat: Array, C_air: Array, C: Array, rejection: Array | float) -> Array:
    """Bound on the coolant's mean temperature [K]: its inlet and half its rise, and what the mean of the sheet adds.

    The sheet adds C*^2/2 of what the arithmetic means miss, which is less than the air's mean above the inlet.
    """
    inlet = sink + heat * rejection
    added = np.where(C_air < C, (C_air / C) ** 2 / 2, 1.0) * np.maximum(air - inlet, 0.0)
    return np.asarray(inlet + heat / (2 * C) + added)


def _heats(coolant: Fluid, T: tuple[Array, Array]) -> list[Array]:
    return [coolant.specific_heat(at, np.ones(1)) for at in T]


def _flow(box: Boxes, duty: Duty, around: Installation, T: tuple[Array, Array], most: bool) -> Array:
    """Most coolant flow of each box [kg/s]: the widest way, the hottest coolant; or the least: narrowest, coldest."""
    if around.loop is None or not np.any(around.asked.flow_open):
        return np.broadcast_to(duty.coolant_flow, (1,))
    d, g, line = (box.large, box.large_g, box.wide) if most else (box.small, box.small_g, box.narrow)
    assert line is not None
    assert box.step is not None
    return _operating_point(d, g, line, box.step[0 if most else 1], duty.coolant, around, T, least=most)


def _operating_point(
    d: Designs, g: Geometry, line: Line, step: Array, coolant: Fluid, around: Installation, T: tuple[Array, Array],
    least: bool,
) -> Array:
    """A flow [kg/s] at which the least loss exceeds the pumps' rise (`least`), or the largest loss falls short of it.

    Where Newton has not come that far the bound is the pumps' reach, or nothing.
    """
    assert around.loop is not None
    loop, speed = replace(around.loop, line=line), around.asked.pump_speed
    densest, thinnest = (coolant.density(at, np.ones(1)) for at in T)

    def loss(m: Array) -> Array:
        return _core_loss(d, g, coolant, m, T, least) + _outside(loop, step, m, coolant, T, least)

    def rise(m: Array) -> tuple[Array, Array]:
        # The rise on the mass flow grows with the density: head times density at a smaller volume flow.
        return pump_pressure(loop, m, densest if least else thinnest, speed)

    m = first_flow(loop, thinnest, speed) * np.ones(np.broadcast_shapes(d.thickness.shape, line.bore.shape))
    for _ in range(_STEPS):
        pressure, slope = rise(m)
        here = loss(m)
        m = next_flow(m, pressure, slope, here, _POWER * here / m)
    bound = m * _BEYOND if least else m / _BEYOND
    beyond = loss(bound) - rise(bound)[0]
    reach = densest * np.max([pump.reach(speed) for pump in loop.pumps])
    return np.where(beyond >= 0, bound, reach) if least else np.where(beyond <= 0, bound, 1e-9)


def _outside(
    loop: Loop, step: Array, m: Array, coolant: Fluid, T: tuple[Array, Array], least: bool
) -> Array:
    """Least or largest loss of the circuit beside the core [Pa]; pipe friction may turn at Re 2300 and 4000."""
    one = np.ones(1)
    rho = coolant.density(T[0] if least else T[1], one)
    mu = [coolant.viscosity(at, one) for at in T]
    bores = [(run.line or loop.line).bore for run in loop.runs]
    mus = [mu[1] if least else mu[0]]
    if not all(np.all(4 * m / (np.pi * bore * RE_TURBULENT) > mu[0]) for bore in bores):
        turning = [4 * m / (np.pi * bore * Re) for bore in bores for Re in (RE_LAMINAR, RE_TURBULENT)]
        mus = [*mu, *(np.clip(at, mu[1], mu[0]) for at in turning)]
    # Where every line is turbulent the loss rises with the viscosity throughout.
    losses = [loop_loss(loop, m, rho, at).total for at in mus]
    best = np.minimum.reduce(losses) if least else np.maximum.reduce(losses)
    return np.asarray(best + step * (m * m / rho))


def _core_loss(
    d: Designs, g: Geometry, coolant: Fluid, m: Array, T: tuple[Array, Array], least: bool
) -> Array:
    """Least or largest coolant loss of the core at a flow [Pa]."""
    one = np.ones(1)
    low, high = (coolant.density(at, one) for at in T)
    rho = (low, low, low) if least else (low, high, high)
    f = _friction(g.coolant, coolant, m, T, least)
    return coolant_loss(d, g, m, m / g.coolant.free_area, f, rho, _FACTOR).total


def _friction(side: Side, coolant: Fluid, m: Array, T: tuple[Array, Array], least: bool) -> Array:
    """Least or largest Fanning f between two temperatures, its property ratio too."""
    one = np.ones(1)
    mu = [coolant.viscosity(at, one) for at in T]
    G = m / side.free_area
    Re = [G * side.surface.hydraulic_diameter / at for at in mu]
    turns = side.family.turns(side.fin, side.surface)
    looked = [*Re, *(np.clip(turn, *Re) for turn in turns)] if len(turns) else [Re[1] if least else Re[0]]
    cp, k = coolant.specific_heat(T[0], one), coolant.conductivity(T[0], one)
    values = []
    for at in looked:
        flow = Flow(at, cp * mu[0] / k, side.flow_length, side.width, side.stack_pitch, side.obstruction)
        ratio = f_ratio(False, mu[1] / mu[0], turbulence(side, at)) if least else 1.0
        values.append(side.family.f(side.fin, side.surface, flow) * ratio)
    return np.asarray(np.minimum.reduce(values) if least else np.maximum.reduce(values))
