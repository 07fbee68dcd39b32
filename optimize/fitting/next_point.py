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
from optimize.fitting.posterior import errors_of, slopes_at
from optimize.fitting.quantities import FLOW_BENCH, HOT_TEST, OUTPUTS, RIGS, WATER_RIG
from optimize.fitting.rigs import Bench, benches
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
    """Objectives and limited outputs of the core as drawn under its study, and how sure they are after the fit."""
    problem, z = found.problem, found.posterior.mean
    asked = {(o.output, o.at) for o in problem.study.objectives}
    known = np.array([name not in found.scales.shop for name in found.scales.names])  # of the design, not of one core
    steps = _STEP * np.eye(len(z))[known]
    values = _goal_values(problem, found, np.concatenate([z + steps, z - steps]))
    slopes = np.zeros((len(values), len(z)))
    slopes[:, known] = (values[:, : len(steps)] - values[:, len(steps) :]) / (2 * _STEP)
    limits = requirements(problem.study)
    names = [objective_name(o) for o in problem.study.objectives] + [r.name for r in limits]
    fresh = np.array([True] * len(asked) + [(r.output, r.at) not in asked for r in limits])
    moved = np.flatnonzero(np.any(np.abs(slopes) > 0, axis=1) & fresh)
    slopes = slopes[moved]
    return Goals(tuple(names[i] for i in moved), _deviations(slopes, found.posterior.covariance), slopes)


def _goal_values(problem: CoreProblem, found: Fit, scores: Array) -> Array:
    """(goals, n) at scores (n, p)."""
    rating = problem.rate(found.batch, found.scales.factors(scores))
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
    made = []
    for rig in (FLOW_BENCH, WATER_RIG, HOT_TEST):
        (part,) = benches(found.problem, core, [_flows(rig, air, liquid, found)], scales)
        part = replace(part, file=_to_measure(part, scales, z, found))
        _, J = slopes_at([part], scales, z)
        V, cross = _errors(part, scales, z, found)
        flows = [part.file.values.get(flow) for flow in ("air_flow", "coolant_flow")]
        for i in range(len(SHARES)):
            row = slice(i, None, len(SHARES))  # each output of it
            set_to = [None if flow is None else float(flow[i]) for flow in flows]
            after = _deviations(goals.slopes, _covariance_with(found, J[row], V[row, row], cross[row], is_same))
            gain = float(np.mean(1 - (after / goals.deviations) ** 2))
            made.append(Candidate(name, rig, set_to[0], set_to[1], gain, after))
    return made


def _carried(found: Fit, scales: Scales) -> Array:
    """Scores for another core: the multipliers of the fit, its own dimensions at their nominal."""
    known = dict(zip(found.scales.names, found.posterior.mean, strict=True))
    own = {name: known[name] for name in scales.names if name not in scales.shop}
    return np.array([own.get(name, 0.0) for name in scales.names])


def _errors(part: Bench, scales: Scales, z: Array, found: Fit) -> tuple[Array, Array]:
    """Covariance of rows to be measured (n, n), and with those measured (n, N): what a rig gets wrong it gets again."""
    rows = found.posterior.measured
    errors = errors_of(part, scales, z)
    cross, like = np.zeros((len(errors.own), len(rows))), _like(found, part.file.said.rig)
    if like is not None:
        shared = errors_of(like, found.scales, found.posterior.mean).shared
        there = rows.file == next(i for i, other in enumerate(found.parts) if other is like)
        for name in sorted(shared.keys() & errors.shared.keys()):
            cross[:, there] += np.outer(errors.shared[name], shared[name])
    return found.scatter**2 * errors.covariance, found.scatter**2 * cross


def _covariance_with(found: Fit, J: Array, V: Array, cross: Array, is_same: bool) -> Array:
    """Covariance of the scores (p, p) after one more row: slopes J, covariance V, and that with the others, cross."""
    post, names = found.posterior, found.scales.names
    # Another core's dimensions are a doubt of its own: it adds to what its row is uncertain by.
    shared = [i for i, n in enumerate(names) if is_same or n not in found.scales.shop]
    known = np.zeros((len(J), len(names)))
    known[:, shared] = J[:, shared]
    rest = np.delete(J, shared, axis=1)
    told = np.linalg.solve(post.V, cross.T).T  # how the row's errors follow from those of the rows measured
    known -= told @ post.slopes
    noise = V + rest @ rest.T - told @ cross.T
    information = np.linalg.inv(post.covariance) + known.T @ np.linalg.solve(noise, known)
    return np.asarray(np.linalg.inv(information), dtype=np.float64)


def _like(found: Fit, rig: str) -> Bench | None:
    """The first file of a rig: what is measured next is taken to be measured there."""
    return next((part for part in found.parts if part.file.said.rig == rig), None)


def _flows(rig: str, air: Array, liquid: Array, found: Fit) -> BenchFile:
    """Rows to be measured, a flow each: what is set, nothing read yet."""
    hot, n = rig == HOT_TEST, len(air)
    values = {
        "air_flow": air, "air_inlet_temperature": np.full(n, _HOT if hot else _COLD),
        "air_inlet_pressure": np.full(n, _CHARGE if hot else _BENCH),
        "coolant_flow": liquid, "coolant_inlet_temperature": np.full(n, _WARM if hot else _COLD),
    }
    inputs = {name: values[name] for name in RIGS[rig].inputs}
    by_volume = frozenset({"coolant_flow"} & set(inputs))
    like = _like(found, rig)
    said = Declared(rig) if like is None else like.file.said
    none = {name: np.zeros(n) for name in RIGS[rig].columns}
    return BenchFile("rows to measure", said, inputs, by_volume, none, none, np.arange(1, n + 1))


def _to_measure(part: Bench, scales: Scales, z: Array, found: Fit) -> BenchFile:
    """Its rows with what they will read, as uncertain as the rig's own file states, else as others do, or as usual."""
    rating, file = part.rated(scales, z[None]), part.file
    values = file.values | {name: rating[OUTPUTS[name]][0] for name in file.rig.outputs}
    like = _like(found, file.said.rig)
    random, common = {}, {}
    for name, read in values.items():
        size = np.ones_like(read) if "temperature" in name else read
        if like is not None and name in like.file.random:
            stated = like.file.random, like.file.common
            random[name], common[name] = (size * _middle(like.file, name, u[name]) for u in stated)
        else:
            random[name], common[name] = size * _usual(name, found), np.zeros_like(read)
    return replace(file, values=values, random=random, common=common)


def _usual(name: str, found: Fit) -> float:
    """Standard uncertainty, a share or kelvin: the middle one of the files that state it, else what is usual."""
    stated = [
        _middle(part.file, name, np.hypot(part.file.random[name], part.file.common[name]))
        for part in found.parts if name in part.file.random
    ]
    if stated:
        return float(np.median(stated))
    usual = _USUAL_PRESSURE if name == "air_inlet_pressure" else _USUAL_SHARE
    return (_USUAL_KELVIN if "temperature" in name else usual) / INNER_95


def _middle(file: BenchFile, name: str, u: Array) -> float:
    return float(np.median(u if "temperature" in name else u / file.values[name]))
