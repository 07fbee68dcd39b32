"""Rows of a bench file on the core that was measured: what the sheet predicts of them, at any scores."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.fitting.bench_file import BenchFile, Values
from optimize.fitting.quantities import FLOW_BENCH, OUTPUTS, WATER_RIG
from optimize.fitting.scales import Scales
from optimize.handover.bench import DUCTS, largest_flows
from optimize.space import Batch, Parameters
from physics.arrays import Array
from physics.duty import Duty
from physics.flags import FLAG_TEXTS, VOID, Flag
from physics.fluid import Fluid
from physics.properties import AIR, coolant
from physics.rating import Rating, rate

_COOLANT_PRESSURE = 2.0e5  # liquids ignore it
_BENCH_PRESSURE = 101_325.0  # of the air beside a water rig
_SLOW = 0.1  # share of the largest air flow, beside a water rig


@dataclass(frozen=True)
class Bench:
    """A file's rows and the core they were measured on.

    beside : flows of the side that a rig leaves idle (air [kg/s], coolant [kg/s]); no heat flows to it.
    """

    file: BenchFile
    batch: Batch
    coolant: Fluid
    beside: tuple[float, float]

    def predicted(self, scales: Scales, scores: Array, values: Values | None = None) -> Array:
        """Outputs of the file (n, N, k) at scores (n, p), at the rows' own values or others (N,) each."""
        rating = self.rated(scales, scores, values)
        return np.stack([rating[OUTPUTS[name]] for name in self.file.outputs], axis=2)

    def rated(self, scales: Scales, scores: Array, values: Values | None = None) -> Rating:
        """The sheet of the core at every row."""
        duty = self.duty(values)
        made = replace(self.batch, parameters=scales.made(self.batch.parameters, scores))
        return rate(made.designs, duty, scales.factors(scores))

    def duty(self, values: Values | None = None) -> Duty:
        """Duty points of the rows; a flow by volume is one at the state it enters with."""
        values = values or self.file.values
        rig, n = self.file.said.rig, len(self.file)
        if rig == FLOW_BENCH:
            T = values["air_inlet_temperature"]
            return self._points(self._air(values), np.full(n, self.beside[1]), (T, T), values["air_inlet_pressure"])
        if rig == WATER_RIG:
            T = values["coolant_inlet_temperature"]
            p = np.full(n, _BENCH_PRESSURE)
            return self._points(np.full(n, self.beside[0]), self._coolant(values), (T, T), p)
        ends = values["air_inlet_temperature"], values["coolant_inlet_temperature"]
        return self._points(self._air(values), self._coolant(values), ends, values["air_inlet_pressure"])

    def _points(self, air: Array, liquid: Array, T: tuple[Array, Array], p: Array) -> Duty:
        names = tuple(str(line) for line in self.file.lines)
        return Duty(names, AIR, self.coolant, air, T[0], p, liquid, T[1], np.full(len(air), _COOLANT_PRESSURE))

    def _air(self, values: Values) -> Array:
        flow = values["air_flow"]
        if "air_flow" not in self.file.by_volume:
            return flow
        return flow * AIR.density(values["air_inlet_temperature"], values["air_inlet_pressure"])

    def _coolant(self, values: Values) -> Array:
        flow = values["coolant_flow"]
        if "coolant_flow" not in self.file.by_volume:
            return flow
        return flow * self.coolant.density(values["coolant_inlet_temperature"], np.full(len(flow), _COOLANT_PRESSURE))


def benches(problem: CoreProblem, core: Parameters, files: Sequence[BenchFile], scales: Scales) -> list[Bench]:
    """Files on the core they were measured on; raises FinfrontError for rows that cannot be rated."""
    flows = largest_flows(problem, core)
    found = [_bench(problem, core, file, flows) for file in files]
    for bench in found:
        _refuse_void(bench, scales)
    return found


def _bench(problem: CoreProblem, core: Parameters, file: BenchFile, flows: tuple[float, float]) -> Bench:
    said = file.said
    own = problem.study.coolant
    name, strength, basis = said.fluid or (own.fluid, own.strength, own.basis)
    try:
        fluid = coolant(name, strength, basis)
    except ValueError as error:
        raise FinfrontError(f"'fluid': {error}", file.name, "say 'water', or the glycol and its strength") from None
    alone = core if said.ducts else core | {duct: np.zeros(1) for duct in DUCTS}
    batch = problem.space.batch(alone, np.zeros(1, dtype=np.int64))
    liquid = flows[1] * float(fluid.density(np.array(293.15), np.array(_COOLANT_PRESSURE)))
    return Bench(file, batch, fluid, (_SLOW * flows[0], liquid))


def _refuse_void(bench: Bench, scales: Scales) -> None:
    """Rows that the sheet has no numbers for, with the reasons of the first."""
    flags = bench.rated(scales, np.zeros((1, len(scales.names)))).flags[0]
    bad = np.flatnonzero(flags & (VOID | Flag.NOT_SETTLED))
    if not bad.size:
        return
    lines = ", ".join(str(bench.file.lines[i]) for i in bad[:8])
    why = [text for flag, text in FLAG_TEXTS.items() if flags[bad[0]] & flag & (VOID | Flag.NOT_SETTLED)]
    do = "check units and columns, or leave rows out with --leave-out FILE:LINE"
    raise FinfrontError(f"rows that no core of this kind can do: {why[0]}", f"{bench.file.name}, lines {lines}", do)
