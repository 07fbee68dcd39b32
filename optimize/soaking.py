"""A study's schedule of pulls and rests, run with a batch of cores: heat that builds up in reservoir, ice and metal.

A core is rated at a few coolant temperatures for each kind of phase; between them its conductances follow a polynomial.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, fields, replace

import numpy as np

from optimize.space import Batch
from optimize.study.model import Study
from optimize.study.model_system import Reservoir, Soak, Trace
from optimize.surroundings import with_line
from physics.arrays import Array, BoolArray, IntArray
from physics.coupling import Coupling, split
from physics.duty import Duty, ModelFactors
from physics.flags import VOID, Flag
from physics.installation import Installation
from physics.rating import Rating, rate
from physics.reservoir import MELTING, Circuit
from physics.soak import Phase, Soaked, simulate

_NODES = (0.0, 22.0, 45.0)  # [K] above the coldest coolant of the run, at which the core is rated
_ALUMINIUM = 900.0  # [J/(kg K)] handbook value, from memory
_SPEEDS = 5  # engine speeds at which a trace's cores are rated


@dataclass(frozen=True)
class _Kind:
    """What the couplings of one phase share with another; flows [kg/s], speeds as shares or [rev/s]."""

    duty: str
    front_air_flow: float | None
    pump_speed: float | None
    engine_speed: float | None = None
    pull: bool = field(default=True, compare=False)  # whether any phase of it does


_Made = Callable[[dict[_Kind, Coupling]], Phase]


@dataclass(frozen=True)
class SoakRating:
    """A schedule run with n cores: its course, flags (n, m) of its duty points, and condensate.

    Flags are those of the cores at the coldest and the hottest coolant of the pulls. `condensate` (n,) [kg/s]: most
    that the pulls can leave in the core; 0 where the study knows no humidity.
    """

    soaked: Soaked
    flags: IntArray
    condensate: Array


class SoakRun:
    """The schedule of a study, ready to be run with batches of cores."""

    def __init__(self, study: Study, duty: Duty, around: Installation) -> None:
        assert study.soak is not None
        assert study.loop is not None
        assert study.loop.reservoir is not None
        self.soak: Soak = study.soak
        self.reservoir: Reservoir = study.loop.reservoir
        self.study, self.duty, self.around = study, duty, around
        self.nodes = self._coldest + np.array(_NODES)

    @property
    def pulling(self) -> float:
        """Time with the charge on [s]."""
        if self.soak.trace is None:
            return sum(phase.lasts for phase in self.soak.schedule if phase.pull)
        lasts, _, load = _steps(self.soak.trace)
        return float(np.sum(lasts[load > 0]))

    @property
    def _coldest(self) -> float:
        """Coolant temperature a run begins with, once its ice is in [K]."""
        return MELTING if self.reservoir.ice > 0 else self.reservoir.start_temperature

    def _rated(self, batch: Batch, kind: _Kind, factors: ModelFactors | None, T: Array) -> Rating:
        """The cores in one kind of phase with coolant at T (k,) or (n, k) [K]."""
        index = np.full(T.shape[-1], self.duty.names.index(kind.duty))
        duty = self.duty.at(index, coolant_inlet_temperature=T)
        return rate(batch.designs, duty, factors, None, self._held_to(batch, kind, index))

    def _held_to(self, batch: Batch, kind: _Kind, index: IntArray) -> Installation:
        changes: dict[str, Array | BoolArray] = {"temperature_open": np.zeros(len(index), dtype=bool)}
        held = {
            "front_air_flow": kind.front_air_flow, "pump_speed": kind.pump_speed or None,
            "engine_speed": kind.engine_speed,
        }
        for name, value in held.items():
            if value is not None:
                changes[name] = np.full(len(index), value)
        return with_line(self.around.at(index, **changes), batch.line)

    def coupling(self, batch: Batch, kind: _Kind, rating: Rating) -> Coupling:
        """How the cores and the circuit behave in one kind of phase, from their rating at the nodes."""
        around = self._held_to(batch, kind, np.array([self.duty.names.index(kind.duty)]))
        C_air, R_air = rating["air_capacity_rate"], rating["air_resistance"] + rating["air_fouling_resistance"]
        C_min = np.minimum(C_air, rating["coolant_capacity_rate"])
        K_air, K_coolant = split(rating["effectiveness"] * C_min, R_air, C_air)
        flow = rating["coolant_volume_flow"]
        front = np.zeros_like(flow)
        if around.front is not None:
            front, _ = around.front_conductance(self.duty, flow * self.volumetric_heat)
        if kind.pump_speed == 0:
            K_coolant, flow, front = np.zeros((3, *flow.shape))
        return Coupling(
            self.nodes, C_air, rating["air_inlet_temperature"], K_air, K_coolant, flow, front,
            float(around.asked.ambient_temperature[0]),
        )

    @property
    def volumetric_heat(self) -> float:
        """rho cp of the coolant at the start [J/(m3 K)], held throughout."""
        T, fluid = self._coldest, self.duty.coolant
        return float(fluid.density(T, 2e5) * fluid.specific_heat(T, 2e5))

    def circuit(self, batch: Batch, rating: Rating, volume: Array | None = None, ice: Array | None = None) -> Circuit:
        """What stores heat around each core; other reservoir volumes [m3] and ice masses [kg] on request."""
        assert self.study.loop is not None
        front = self.study.loop.front_exchanger
        half = (self._line_volume(batch) + rating["coolant_volume"]) / 2
        return Circuit(
            reservoir_volume=np.array([self.reservoir.volume]) if volume is None else volume,
            ice_mass=np.array([self.reservoir.ice]) if ice is None else ice,
            ice_temperature=np.array([self.reservoir.ice_temperature]),
            start_temperature=np.array([self.reservoir.start_temperature]),
            supply_volume=half,
            return_volume=half + (front.volume if front is not None else 0.0),
            core_metal=rating["dry_mass"] * _ALUMINIUM,
            front_metal=np.array([_ALUMINIUM * front.metal if front is not None else 0.0]),
            volumetric_heat=np.array([self.volumetric_heat]),
        )

    def _line_volume(self, batch: Batch) -> Array:
        """Coolant in all sections of line (n,) or (1,) [m3]."""
        assert self.study.loop is not None
        assert batch.line is not None
        areas = {name: np.array([np.pi / 4 * line.bore**2]) for name, line in self.study.lines.items()}
        parts = [s.length * (batch.line.area if s.line is None else areas[s.line]) for s in self.study.loop.sections]
        return sum(parts, np.zeros(1))

    def run(
        self, batch: Batch, factors: ModelFactors | None = None, keep: bool = False, volume: Array | None = None,
        ice: Array | None = None,
    ) -> SoakRating:
        """The schedule with every core of a batch; with traces if they are to be kept."""
        kinds, phases = self._kinds()
        nodes = {kind: self._rated(batch, kind, factors, self.nodes) for kind in kinds}
        couplings = {kind: self.coupling(batch, kind, rating) for kind, rating in nodes.items()}
        circuit = self.circuit(batch, next(iter(nodes.values())), volume, ice)
        soaked = simulate(
            circuit, [phase(couplings) for phase in phases], self.soak.step, self.soak.limit,
            self.soak.recovered_within, keep,
        )
        return self._judged(batch, factors, soaked, nodes)

    def _judged(
        self, batch: Batch, factors: ModelFactors | None, soaked: Soaked, nodes: dict[_Kind, Rating]
    ) -> SoakRating:
        """What the cores do at the coldest and the hottest coolant that their pulls saw."""
        size = soaked.hottest_charge.shape[0]
        seen = np.stack([soaked.coldest_inlet, soaked.hottest_inlet], axis=1)
        T = np.where(np.isfinite(seen), seen, self._coldest)
        flags = np.zeros((size, len(self.duty.names)), dtype=np.int64)
        condensate = np.zeros(size)
        for kind, rating in nodes.items():
            i = self.duty.names.index(kind.duty)
            flags[:, i] |= _void(rating.flags)
            if kind.pull:
                ends = self._rated(batch, kind, factors, T)
                flags[:, i] |= np.bitwise_or.reduce(ends.flags, axis=1)
                if "condensate_rate" in ends.values:
                    condensate = np.maximum(condensate, np.max(ends["condensate_rate"], axis=1))
        flags |= np.where(soaked.unstable, int(Flag.SOAK_STEP), 0)[:, None]
        return SoakRating(soaked, flags, condensate)

    def _kinds(self) -> tuple[list[_Kind], list[_Made]]:
        """The kinds of phase there are, and the phases, still to be given the couplings of their kinds."""
        if self.soak.trace is not None:
            return self._trace_kinds(self.soak.trace)
        kinds = [_Kind(p.duty, p.front_air_flow, p.pump_speed) for p in self.soak.schedule]
        pulled = {kind for kind, phase in zip(kinds, self.soak.schedule, strict=True) if phase.pull}
        phases = [_of_kind(kind, p.lasts, p.pull) for kind, p in zip(kinds, self.soak.schedule, strict=True)]
        return [replace(kind, pull=kind in pulled) for kind in dict.fromkeys(kinds)], phases

    def _trace_kinds(self, trace: Trace) -> tuple[list[_Kind], list[_Made]]:
        """A phase for each step of a speed trace, its coupling between those of a few engine speeds that pull."""
        lasts, speed, load = _steps(trace)
        pulls = speed[load > 0]
        speeds = np.unique(np.linspace(np.min(pulls), np.max(pulls), _SPEEDS))
        kinds = [_Kind(trace.duty, None, None, float(n)) for n in speeds]
        phases = [_between(kinds, *step) for step in zip(lasts, speed, load, strict=True)]
        return kinds, phases


def _of_kind(kind: _Kind, lasts: float, pull: bool) -> _Made:
    return lambda couplings: Phase(couplings[kind], lasts, pull)


def _void(flags: IntArray) -> IntArray:
    """Of the ratings a soak rests on (n, k): what leaves it without numbers, or with doubtful ones."""
    bits = np.bitwise_or.reduce(flags, axis=1) & int(VOID | Flag.NOT_SETTLED)
    return np.asarray(bits | np.where(bits & int(VOID), int(Flag.SOAK_NO_VALUE), 0))


def _steps(trace: Trace) -> tuple[Array, Array, Array]:
    """Length [s], engine speed [rev/s] and load of the steps of a trace; an engine at rest has no load."""
    time, speed, load = (np.array(values) for values in (trace.time, trace.engine_speed, trace.load))
    speed, load = (speed[1:] + speed[:-1]) / 2, (load[1:] + load[:-1]) / 2
    return np.diff(time), speed, np.where(speed > 0, load, 0.0)


def _between(kinds: list[_Kind], lasts: float, speed: float, load: float) -> _Made:
    """A phase at an engine speed, linear between those rated; charge flow and its heat scaled by the load."""
    speeds = np.array([kind.engine_speed for kind in kinds])
    i = int(np.clip(np.searchsorted(speeds, speed) - 1, 0, max(len(speeds) - 2, 0)))
    j = min(i + 1, len(speeds) - 1)
    share = float(np.clip((speed - speeds[i]) / (speeds[j] - speeds[i]), 0.0, 1.0)) if j > i else 0.0

    def made(couplings: dict[_Kind, Coupling]) -> Phase:
        low, high = couplings[kinds[i]], couplings[kinds[j]]
        values = {
            f.name: (1 - share) * getattr(low, f.name) + share * getattr(high, f.name)
            for f in fields(Coupling) if f.name not in ("temperature", "ambient_temperature")
        }
        loaded = {name: max(load, 0.0) * values[name] for name in ("air_conductance", "air_capacity")}
        return Phase(replace(low, **values | (loaded if load > 0 else {})), float(lasts), load > 0)

    return made


def soak_outputs(soaked: Soaked) -> dict[str, Array]:
    """The outputs of a schedule, (n,) each, by their names in `physics.outputs`."""
    return {
        "soak_time_under_limit": soaked.time_under_limit, "soak_time_to_limit": soaked.time_to_limit,
        "soak_hottest_charge": soaked.hottest_charge,
        "soak_last_coolant_temperature": soaked.last_reservoir_temperature, "soak_ice_left": soaked.ice_left,
    }
