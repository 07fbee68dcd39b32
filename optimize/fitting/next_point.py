"""Where to measure next: which single row, on which rig and core, would shrink the doubt about the goals most.

A row that is not yet measured adds J' V^-1 J to what is known of the scores, wherever its value falls (linear about
the fit): the variance of each goal after it follows without knowing it. Ranked by the mean share of variance taken.

Source: D-optimal and related designs, A. C. Atkinson, A. N. Donev, Optimum Experimental Designs, 1992 (from memory).
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from optimize.evaluate import CoreProblem, objective_name
from optimize.feasibility import objective_value, requirement_values, requirements
from optimize.fitting.bench_file import BenchFile
from optimize.fitting.declared import Declared
from optimize.fitting.fit import Fit
from optimize.fitting.posterior import row_covariance, slopes_at
from optimize.fitting.quantities import FLOW_BENCH, HOT_TEST, OUTPUTS, RIGS, WATER_RIG
from optimize.fitting.rigs import benches
from optimize.fitting.scales import Scales, scales_of
from optimize.handover.bench import largest_flows
from optimize.space import Parameters
from optimize.tolerance.laws import INNER_95
from physics.arrays import Array

SHARES = (0.25, 0.5, 0.75, 1.0, 1.25)  # of the largest flow of the duty points
_COLD, _HOT, _WARM = 293.15, 420.0, 320.0  # [K] of a bench; of charge and coolant in a hot test
_BENCH, _CHARGE = 101_325.0, 2.0e5  # [Pa]
# Half widths (95 %) where no file states any of its own: common practice, no source. Shares of the value, or kelvin.
_USUAL_SHARE, _USUAL_KELVIN, _USUAL_PRESSURE = 0.01, 0.5, 0.002
_STEP = 0.1  # of a score
MOST_SHOWN = 12


@dataclass(frozen=True)
class Candidate:
    """A row to measure: on which core, rig, flows [kg/s]; `gain`: mean share of the goals' variance it takes away.

    goals : the standard deviation of each goal after it (q,).
    """

    core: str
    rig: str
    air_flow: float | None
    coolant_flow: float | None
    gain: float
    goals: Array


@dataclass(frozen=True)
class Goals:
    """What the decision rests on: names and standard deviations now (q,), slopes over the scores (q, p)."""

    names: tuple[str, ...]
    deviations: Array
    slopes: Array


def goals_of(found: Fit) -> Goals:
    """Objectives and limited outputs of the core under its study, and how sure they are after the fit."""
    problem, z, p = found.problem, found.posterior.mean, len(found.scales.names)
    asked = {(o.output, o.at) for o in problem.study.objectives}
    scores = np.concatenate([z + _STEP * np.eye(p), z - _STEP * np.eye(p)])
    values = _goal_values(problem, found, scores)
    slopes = (values[:, :p] - values[:, p:]) / (2 * _STEP)
    limits = requirements(problem.study)
    names = [objective_name(o) for o in problem.study.objectives] + [r.name for r in limits]
    fresh = np.array([True] * len(asked) + [(r.output, r.at) not in asked for r in limits])
    moved = np.flatnonzero(np.any(np.abs(slopes) > 0, axis=1) & fresh)
    slopes = slopes[moved]
    return Goals(tuple(names[i] for i in moved), _deviations(slopes, found.posterior.covariance), slopes)


def _goal_values(problem: CoreProblem, found: Fit, scores: Array) -> Array:
    """(goals, n) at scores (n, p)."""
    d = found.batch.designs
    parameters = found.batch.parameters | found.scales.blocked(d, scores)
    rating = problem.rate(replace(found.batch, parameters=parameters), found.scales.factors(scores))
    own = [objective_value(problem.study, rating, o) for o in problem.study.objectives]
    return np.stack([np.broadcast_to(v, (len(scores),)) for v in [*own, *requirement_values(problem.study, rating)]])


def _deviations(slopes: Array, covariance: Array) -> Array:
    return np.asarray(np.sqrt(np.einsum("ij,jk,ik->i", slopes, covariance, slopes)))


def next_points(found: Fit, others: Mapping[str, Parameters] | None = None) -> tuple[Goals, list[Candidate]]:
    """Candidates on the core fitted, and on other cores by name, the best first."""
    goals = goals_of(found)
    cores = {"the core measured": found.core} | dict(others or {})
    made = [c for name, core in cores.items() for c in _on_core(found, goals, name, core)]
    return goals, sorted(made, key=lambda c: -c.gain)


def _on_core(found: Fit, goals: Goals, name: str, core: Parameters) -> list[Candidate]:
    batch = found.problem.space.batch(core, np.zeros(1, dtype=np.int64))
    own = found.batch
    if (batch.air_family, batch.coolant_family) != (own.air_family, own.coolant_family):
        return []
    is_same = core is found.core
    own_scales = replace(scales_of(found.problem, core, batch), reference=found.scales.reference)
    scales = found.scales if is_same else own_scales
    z = found.posterior.mean if is_same else _carried(found, scales)
    air, liquid = (flow * np.array(SHARES) for flow in largest_flows(found.problem, core))
    files = [_rows(rig, air, liquid, found) for rig in (FLOW_BENCH, WATER_RIG, HOT_TEST)]
    made = []
    for part in benches(found.problem, core, files, scales):
        _, J = slopes_at([part], scales, z)
        V = row_covariance([part], scales, z)
        flows = [part.file.values.get(flow) for flow in ("air_flow", "coolant_flow")]
        for i in range(len(SHARES)):
            row = slice(i, None, len(SHARES))  # each output of it
            set_to = [None if flow is None else float(flow[i]) for flow in flows]
            after = _deviations(goals.slopes, _covariance_with(found, J[row], V[row, row], is_same))
            gain = float(np.mean(1 - (after / goals.deviations) ** 2))
            made.append(Candidate(name, part.file.said.rig, set_to[0], set_to[1], gain, after))
    return made


def _carried(found: Fit, scales: Scales) -> Array:
    """Scores for another core: the multipliers of the fit, its own blocked shares at their nominal."""
    known = dict(zip(found.scales.names, found.posterior.mean, strict=True))
    own = {name: known[name] for name in scales.names if name not in scales.blockage}
    return np.array([own.get(name, 0.0) for name in scales.names])


def _covariance_with(found: Fit, J: Array, V: Array, is_same: bool) -> Array:
    """Covariance of the scores (p, p) after one more row of slopes J and covariance V."""
    names = found.scales.names
    # Another core's blocked share is a doubt of its own: it adds to what its row is uncertain by.
    shared = [i for i, n in enumerate(names) if is_same or n not in found.scales.blockage]
    known = np.zeros((len(J), len(names)))
    known[:, shared] = J[:, shared]
    rest = np.delete(J, shared, axis=1)
    noise = V + rest @ rest.T
    information = np.linalg.inv(found.posterior.covariance) + known.T @ np.linalg.solve(noise, known)
    return np.asarray(np.linalg.inv(information), dtype=np.float64)


def _rows(rig: str, air: Array, liquid: Array, found: Fit) -> BenchFile:
    """Rows to be measured, a flow each, with the uncertainties of the files or the usual ones."""
    hot, n = rig == HOT_TEST, len(air)
    values = {
        "air_flow": air, "air_inlet_temperature": np.full(n, _HOT if hot else _COLD),
        "air_inlet_pressure": np.full(n, _CHARGE if hot else _BENCH),
        "coolant_flow": liquid, "coolant_inlet_temperature": np.full(n, _WARM if hot else _COLD),
    }
    inputs = {name: values[name] for name in RIGS[rig].inputs}
    by_volume = frozenset({"coolant_flow"} & set(inputs))
    none = {name: np.zeros(n) for name in RIGS[rig].columns}
    file = BenchFile("rows to measure", Declared(rig), inputs, by_volume, none, none, np.arange(1, n + 1))
    whole = replace(file, values=inputs | _predicted(found, file))
    return replace(whole, random={name: _uncertainty(name, v, found) for name, v in whole.values.items()})


def _predicted(found: Fit, file: BenchFile) -> dict[str, Array]:
    (part,) = benches(found.problem, found.core, [file], found.scales)
    rating = part.rated(found.scales, found.posterior.mean[None])
    return {name: rating[OUTPUTS[name]][0] for name in file.rig.outputs}


def _uncertainty(name: str, values: Array, found: Fit) -> Array:
    """Standard uncertainties: the middle one of the files that state it, else the usual."""
    stated = [_relative(part.file, name) for part in found.parts if name in part.file.random]
    if "temperature" in name:
        return np.full_like(values, np.median(stated) if stated else _USUAL_KELVIN / INNER_95)
    usual = _USUAL_PRESSURE if name == "air_inlet_pressure" else _USUAL_SHARE
    return np.asarray(values * (np.median(stated) if stated else usual / INNER_95))


def _relative(file: BenchFile, name: str) -> float:
    u = np.hypot(file.random[name], file.common[name])
    return float(np.median(u if "temperature" in name else u / file.values[name]))


