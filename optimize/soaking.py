"""A study's schedule of pulls and rests, run with a batch of cores: heat that builds up in reservoir, ice and metal.

A core is rated at a few coolant temperatures for each kind of phase; between them its conductances follow a polynomial.
"""

from dataclasses import fields, replace

import numpy as np

from optimize.space import Batch
from optimize.study.model import Study
from optimize.study.model_system import Reservoir, Soak, SoakPhase, Trace
from optimize.surroundings import with_line
from physics.arrays import Array, BoolArray, IntArray
from physics.coupling import Coupling, split
from physics.duty import Duty, ModelFactors
from physics.installation import Installation
from physics.rating import Rating, rate
from physics.reservoir import MELTING, Circuit
from physics.soak import Phase, Soaked, simulate

_NODES = (0.0, 22.0, 45.0)  # [K] above the coldest coolant of the run, at which the core is rated
_ALUMINIUM = 900.0  # [J/(kg K)] handbook value, from memory
_SPEEDS = 5  # engine speeds at which a trace's cores are rated


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
        time, load = np.array(self.soak.trace.time), np.array(self.soak.trace.load)
        return float(np.sum(np.diff(time)[(load[1:] + load[:-1]) > 0]))

    @property
    def _coldest(self) -> float:
        """Coolant temperature a run begins with, once its ice is in [K]."""
        return MELTING if self.reservoir.ice > 0 else self.reservoir.start_temperature

    def coupling(
        self, batch: Batch, phase: SoakPhase, factors: ModelFactors | None, speed: float | None = None
    ) -> tuple[Coupling, Rating]:
        """How the cores and the circuit behave in one kind of phase (at an engine speed [rev/s]), and its rating."""
        i = self.duty.names.index(phase.duty)
        index = np.full(len(self.nodes), i)
        duty = self.duty.at(index, coolant_inlet_temperature=self.nodes)
        around = with_line(self._held_to(index, phase, speed), batch.line)
        rating = rate(batch.designs, duty, factors, None, around)
        return self._coupling(duty, around, rating), rating

    def _held_to(self, index: IntArray, phase: SoakPhase, speed: float | None) -> Installation:
        changes: dict[str, Array | BoolArray] = {"temperature_open": np.zeros(len(index), dtype=bool)}
        held = {"front_air_flow": phase.front_air_flow, "pump_speed": phase.pump_speed, "engine_speed": speed}
        for name, value in held.items():
            if value is not None:
                changes[name] = np.full(len(index), value)
        return self.around.at(index, **changes)

    def _coupling(self, duty: Duty, around: Installation, rating: Rating) -> Coupling:
        heat = rating["heat_rejected"]
        T_in, T_out, T_coolant = (rating[f"{n}_temperature"] for n in ("air_inlet", "air_outlet", "coolant_inlet"))
        C_air = heat / (T_in - T_out)
        R_air = rating["air_resistance"] + rating["air_fouling_resistance"]
        K_air, K_coolant = split(heat / (T_in - T_coolant), R_air, C_air)
        flow = rating["coolant_volume_flow"]
        front = np.zeros_like(flow)
        if around.front is not None:
            front, _ = around.front_conductance(duty, flow * self.volumetric_heat)
        return Coupling(
            self.nodes, C_air, T_in, K_air, K_coolant, flow, front, float(around.asked.ambient_temperature[0])
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
    ) -> Soaked:
        """The schedule with every core of a batch; with traces if they are to be kept."""
        phases, rating = self._phases(batch, factors)
        circuit = self.circuit(batch, rating, volume, ice)
        return simulate(circuit, phases, self.soak.step, self.soak.limit, self.soak.recovered_within, keep)

    def _phases(self, batch: Batch, factors: ModelFactors | None) -> tuple[list[Phase], Rating]:
        """The phases of the schedule, each kind of coupling made once, and a rating of the cores."""
        if self.soak.trace is not None:
            return self._trace_phases(batch, factors, self.soak.trace)
        made: dict[SoakPhase, tuple[Coupling, Rating]] = {}
        phases = []
        for phase in self.soak.schedule:
            kind = replace(phase, lasts=0.0, pull=True)
            if kind not in made:
                made[kind] = self.coupling(batch, kind, factors)
            phases.append(Phase(made[kind][0], phase.lasts, phase.pull))
        return phases, next(iter(made.values()))[1]

    def _trace_phases(
        self, batch: Batch, factors: ModelFactors | None, trace: Trace
    ) -> tuple[list[Phase], Rating]:
        """A phase for each step of a speed trace, its coupling between those of a few engine speeds."""
        speeds = np.unique(np.linspace(min(trace.engine_speed), max(trace.engine_speed), _SPEEDS))
        kind = SoakPhase(trace.duty, 0.0, True, None, None)
        made = [self.coupling(batch, kind, factors, float(speed)) for speed in speeds]
        phases = []
        for i, lasts in enumerate(np.diff(trace.time)):
            speed, load = (0.5 * (values[i] + values[i + 1]) for values in (trace.engine_speed, trace.load))
            coupling = _between(speeds, [c for c, _ in made], speed, load)
            phases.append(Phase(coupling, float(lasts), load > 0))
        return phases, made[0][1]


def _between(speeds: Array, couplings: list[Coupling], speed: float, load: float) -> Coupling:
    """The coupling at an engine speed, linear between those rated; charge flow and its heat scaled by the load."""
    if len(couplings) == 1:
        low = high = couplings[0]
        share = 0.0
    else:
        i = int(np.clip(np.searchsorted(speeds, speed) - 1, 0, len(speeds) - 2))
        low, high, share = couplings[i], couplings[i + 1], (speed - speeds[i]) / (speeds[i + 1] - speeds[i])
    values = {
        f.name: (1 - share) * getattr(low, f.name) + share * getattr(high, f.name)
        for f in fields(Coupling) if f.name not in ("temperature", "ambient_temperature")
    }
    return replace(low, **values | {name: load * values[name] for name in ("air_conductance", "air_capacity")})


def soak_outputs(soaked: Soaked) -> dict[str, Array]:
    """The outputs of a schedule, (n,) each, by their names in `physics.outputs`."""
    return {
        "soak_time_under_limit": soaked.time_under_limit, "soak_time_to_limit": soaked.time_to_limit,
        "soak_hottest_charge": soaked.hottest_charge,
        "soak_last_coolant_temperature": soaked.last_reservoir_temperature, "soak_ice_left": soaked.ice_left,
    }
