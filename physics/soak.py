"""Heat soak: pulls and rests of a core on a reservoir, for any number of cores at once.

Classical Runge-Kutta with a fixed step: of order 4 but where the last ice goes and where a coupling's temperatures end.
What a core gets does not depend on the batch it is in; one for which the step is too long gets NaN and is told.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from math import ceil
from typing import Any

import numpy as np

from physics.arrays import Array, BoolArray
from physics.columns import batch_size
from physics.coupling import Coupling, Exchange, Work, advance, charge_temperature, exchange_of, split
from physics.reservoir import MELTING, Circuit, Stores, rows, stores_of

__all__ = ["Circuit", "Coupling", "Phase", "Soaked", "Traces", "simulate", "split"]

_BLOCK = 8192  # cores stepped together: larger ones leave the processor's cache, smaller ones cost calls
_LONGEST_STEP = 2.0  # times the fastest rate; the scheme itself holds to 2.785 (Hairer & Wanner, from memory)
_TINY = 1e-300  # so that nothing is divided by zero
_LEEWAY = 0.5  # of the span of all temperatures about, that a store may lie beyond them before it is called unstable


@dataclass(frozen=True)
class Phase:
    """A pull (heated) or a rest, with one coupling throughout."""

    coupling: Coupling
    lasts: float  # [s]
    heated: bool


@dataclass(frozen=True)
class Traces:
    """Courses (n, t) over time (t,) [s]; where one phase ends and the next begins the time stands twice."""

    time: Array
    charge_temperature: Array  # [K] out of the core, NaN at rest
    inlet_temperature: Array  # [K] coolant into the core
    metal_temperature: Array  # [K] core
    reservoir_temperature: Array  # [K]
    ice: Array  # [kg]
    heat_from_charge: Array  # [J] since the start
    heat_to_ambient: Array  # [J] since the start
    stored_energy: Array  # [J] above all of it at 0 degC without ice


@dataclass(frozen=True)
class Soaked:
    """What came of a schedule, (n,) each; NaN where a core is `unstable` or its inputs are not numbers."""

    time_under_limit: Array  # [s] of all pulls, charge below the limit
    time_to_limit: Array  # [s] of pulling (rests not counted) until the limit is first reached; all of it if never
    hottest_charge: Array  # [K]; minus infinity without a pull
    coldest_inlet: Array  # [K] coolant into the core in the pulls; plus infinity without one
    hottest_inlet: Array  # [K], minus infinity
    last_reservoir_temperature: Array  # [K]
    ice_left: Array  # [kg]
    recovery_time: Array  # [s] after the last pull, from which on the reservoir stays near its start; or infinity
    heat_from_charge: Array  # [J]
    heat_to_ambient: Array  # [J]
    energy_error: Array  # share of all heat that moved
    unstable: BoolArray  # step too long for the core
    traces: Traces | None


def simulate(
    circuit: Circuit, phases: Sequence[Phase], step: float, limit: float, recovered_within: float, keep: bool = False
) -> Soaked:
    """Run a schedule from the start of the circuit.

    Each phase is cut into equal steps, none longer than `step` [s]. `limit` [K] is the charge temperature that counts,
    its crossing interpolated within a step; `recovered_within` [K] how much warmer than at its start (ice and coolant
    in equilibrium) the reservoir may be to count as recovered. Without `keep` there are no traces, and little memory.
    """
    if not phases or step <= 0 or any(phase.lasts <= 0 for phase in phases):
        raise ValueError("a schedule has phases, and steps and phases last longer than 0 s")
    n = max([batch_size(circuit), *(_size(phase.coupling) for phase in phases)])
    blocks = [slice(first, min(first + _BLOCK, n)) for first in range(0, n, _BLOCK)]
    with np.errstate(all="ignore"):
        return _joined([_run(circuit, phases, step, limit, recovered_within, keep, block) for block in blocks])


def _size(coupling: Coupling) -> int:
    values = (getattr(coupling, field.name) for field in fields(coupling) if field.name != "temperature")
    return max(len(value) for value in values if isinstance(value, np.ndarray))


class _Walk:
    """A block on its way: state, stage, slopes, and what has been seen of it."""

    def __init__(self, stores: Stores, limit: float, recovered_within: float) -> None:
        n = stores.start.shape[1]
        self.stores, self.limit = stores, limit - MELTING
        self.state = rows(stores.start.copy(), stores.cells)
        self.work = Work(stores)
        T = self._temperatures()
        self.coldest, self.hottest = np.min(T, axis=0), np.max(T, axis=0)
        self.warm = T[0] + recovered_within
        self.excess, self.excess_before = np.full((2, n), -recovered_within)
        self.outside = np.zeros(n, dtype=bool)
        self.known = np.all(np.isfinite(stores.start) & np.isfinite(stores.capacity), axis=0)
        self.charge, self.before, self.low, self.high = np.empty((4, n))
        self.under, self.to_limit, self.recovery = np.zeros((3, n))
        self.hottest_charge, self.open = np.full(n, -np.inf), np.ones(n)
        self.coldest_inlet, self.hottest_inlet = np.full(n, np.inf), np.full(n, -np.inf)

    def _temperatures(self) -> Array:
        """Of the stores (rows, n), the reservoir first [K above melting]."""
        T = self.state.stores.copy()
        T[0] = self.stores.reservoir_temperature(T[0])
        return T

    def begin(self, exchange: Exchange, h: float) -> None:
        """Drop the cores for which the step is too long."""
        self.known &= exchange.known
        self.coldest = np.minimum(self.coldest, exchange.extremes[0])
        self.hottest = np.maximum(self.hottest, exchange.extremes[1])
        rate = exchange.fastest / np.min(self.stores.capacity[: 2 * self.stores.cells + 1], axis=0)
        rate = np.maximum(rate, exchange.metal / rows(self.stores.capacity, self.stores.cells).metal)
        self._drop(~(h * rate <= _LONGEST_STEP))
        self.work.fill(exchange)

    def end(self) -> None:
        """Drop the cores of which a store has left all temperatures there are."""
        leeway = _LEEWAY * (self.hottest - self.coldest) + 1.0
        T = self._temperatures()
        low, high = self.coldest - leeway, self.hottest + leeway
        self._drop(~np.all((low <= T) & (high >= T), axis=0))

    def _drop(self, where: BoolArray) -> None:
        self.state.all[:, where] = np.nan

    def look(self, exchange: Exchange) -> None:
        """The charge at the start of a pull."""
        self._charge(exchange)
        self.open *= self.charge < self.limit

    def watch(self, exchange: Exchange, h: float) -> None:
        """The charge after a step of a pull; where it crosses the limit it is taken as straight in between."""
        self.before, self.charge = self.charge, self.before
        self._charge(exchange)
        below = self.low
        np.minimum(self.before, self.charge, out=below)
        np.maximum(self.before, self.charge, out=self.high)
        np.subtract(self.high, below, self.high)
        np.maximum(self.high, _TINY, out=self.high)
        np.subtract(self.limit, below, below)
        np.divide(below, self.high, below)
        np.maximum(below, 0.0, out=below)
        np.minimum(below, 1.0, out=below)
        np.multiply(below, h, below)
        np.add(self.under, below, self.under)
        np.multiply(below, self.open, below)
        np.add(self.to_limit, below, self.to_limit)
        np.multiply(self.open, self.charge < self.limit, self.open)

    def _charge(self, exchange: Exchange) -> None:
        inlet = charge_temperature(self.state, self.stores, exchange, self.charge, self.work)
        np.maximum(self.hottest_charge, self.charge, out=self.hottest_charge)
        np.minimum(self.coldest_inlet, inlet, out=self.coldest_inlet)
        np.maximum(self.hottest_inlet, inlet, out=self.hottest_inlet)

    def last_pull_ends(self) -> None:
        """Where the reservoir is when recovery begins to count."""
        self._exceed()
        self.outside = self.excess > 0

    def recover(self, since: float, h: float) -> None:
        """The reservoir after a step of rest that began `since` [s] the last pull."""
        self.excess, self.excess_before = self.excess_before, self.excess
        self._exceed()
        outside = self.excess > 0
        back = self.outside & ~outside
        if np.any(back):
            old, new = self.excess_before[back], self.excess[back]
            self.recovery[back] = since + h * old / (old - new)
        self.outside = outside

    def _exceed(self) -> None:
        np.maximum(self.state.reservoir, self.stores.coldest, out=self.excess)
        np.subtract(self.excess, self.warm, self.excess)


def _run(
    circuit: Circuit, phases: Sequence[Phase], step: float, limit: float, recovered_within: float, keep: bool,
    block: slice,
) -> Soaked:
    """The schedule of one block."""
    walk = _Walk(stores_of(circuit, block), limit, recovered_within)
    kept = _Kept([], [], []) if keep else None
    last_pull = max((i for i, phase in enumerate(phases) if phase.heated), default=-1)
    clock = rested = 0.0
    for i, phase in enumerate(phases):
        exchange = exchange_of(phase.coupling, phase.heated, walk.stores, block)
        _phase(walk, phase, exchange, step, rested if i > last_pull else None, clock, kept)
        clock += phase.lasts
        rested += phase.lasts if i > last_pull else 0.0
        if i == last_pull:
            walk.last_pull_ends()
    return _summed(walk, kept)


def _phase(
    walk: _Walk, phase: Phase, exchange: Exchange, step: float, rested: float | None, clock: float, kept: "_Kept | None"
) -> None:
    """One phase; `rested` [s] since the last pull of the schedule, None before its end."""
    count = max(1, ceil(phase.lasts / step - 1e-9))
    h = phase.lasts / count
    half, whole = 0.5 * h / walk.stores.capacity, h / walk.stores.capacity
    walk.begin(exchange, h)
    if phase.heated:
        walk.look(exchange)
    if kept is not None:
        kept.keep(clock, walk, phase.heated)
    for i in range(count):
        advance(walk.state, walk.stores, exchange, half, whole, walk.work)
        if phase.heated:
            walk.watch(exchange, h)
        if rested is not None:
            walk.recover(rested + i * h, h)
        if kept is not None:
            kept.keep(clock + (i + 1) * h, walk, phase.heated)
    walk.end()


@dataclass(frozen=True)
class _Kept:
    """States and charges of a block, one after another."""

    time: list[float]
    states: list[Array]
    charges: list[Array]

    def keep(self, time: float, walk: _Walk, heated: bool) -> None:
        """Copy what is there now."""
        self.time.append(time)
        self.states.append(walk.state.all.copy())
        self.charges.append(walk.charge.copy() if heated else np.full(walk.charge.shape, np.nan))


def _summed(walk: _Walk, kept: _Kept | None) -> Soaked:
    state, stores = walk.state, walk.stores
    lost = np.asarray(np.any(np.isnan(state.all), axis=0))
    gained = stores.energy(state.stores) - stores.energy(stores.start)
    values = {
        "time_under_limit": walk.under, "time_to_limit": walk.to_limit, "hottest_charge": walk.hottest_charge + MELTING,
        "coldest_inlet": walk.coldest_inlet + MELTING, "hottest_inlet": walk.hottest_inlet + MELTING,
        "last_reservoir_temperature": stores.reservoir_temperature(state.reservoir) + MELTING,
        "ice_left": stores.ice(state.reservoir), "recovery_time": np.where(walk.outside, np.inf, walk.recovery),
        "heat_from_charge": state.charge_heat, "heat_to_ambient": state.ambient_heat,
        "energy_error": _error(gained, state.charge_heat, state.ambient_heat),
    }
    blanked = {name: np.where(lost, np.nan, value) for name, value in values.items()}
    return Soaked(**blanked, unstable=lost & walk.known, traces=_traces(stores, kept, lost) if kept else None)


def _error(gained: Array, taken: Array, given: Array) -> Array:
    moved = np.abs(taken) + np.abs(given) + np.abs(gained)
    return np.asarray(np.abs(gained - taken + given) / np.maximum(moved, _TINY))


def _traces(stores: Stores, kept: _Kept, lost: BoolArray) -> Traces:
    """States and charges kept (rows, t, n) as courses (n, t)."""
    states = np.stack(kept.states, axis=1)
    states[:, :, lost] = np.nan
    charge = np.where(lost, np.nan, np.stack(kept.charges))
    row = rows(states, stores.cells)
    reservoir = stores.reservoir_temperature(row.reservoir)
    inlet = row.inlet if stores.cells else reservoir
    courses = {
        "charge_temperature": charge + MELTING, "inlet_temperature": inlet + MELTING,
        "metal_temperature": row.metal + MELTING, "reservoir_temperature": reservoir + MELTING,
        "ice": stores.ice(row.reservoir), "heat_from_charge": row.charge_heat, "heat_to_ambient": row.ambient_heat,
        "stored_energy": stores.energy(row.stores),
    }
    return Traces(np.array(kept.time), **{name: np.ascontiguousarray(course.T) for name, course in courses.items()})


def _joined(parts: list[Soaked]) -> Soaked:
    """The blocks one behind another."""
    if len(parts) == 1:
        return parts[0]
    kept = [part.traces for part in parts if part.traces is not None]
    traces = Traces(kept[0].time, **_stacked(kept, "time")) if kept else None
    return Soaked(**_stacked(parts, "traces"), traces=traces)


def _stacked(parts: Sequence[Soaked | Traces], left_out: str) -> dict[str, Any]:
    names = [field.name for field in fields(parts[0]) if field.name != left_out]
    return {name: np.concatenate([getattr(part, name) for part in parts]) for name in names}
