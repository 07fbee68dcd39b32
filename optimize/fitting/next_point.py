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
from optimize.fitting.bench_file import COVERAGE, BenchFile
from optimize.fitting.declared import Declared
from optimize.fitting.fit import Fit
from optimize.fitting.posterior import row_covariance, slopes_at
from optimize.fitting.quantities import FLOW_BENCH, HOT_TEST, OUTPUTS, RIGS, WATER_RIG
from optimize.fitting.rigs import benches
from optimize.fitting.scales import Scales, scales_of
from optimize.handover.bench import largest_flows
from optimize.space import Parameters
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
    air, liquid = largest_flows(found.problem, core)
    made = []
    for rig in (FLOW_BENCH, WATER_RIG, HOT_TEST):
        for share in SHARES:
            file = _row(rig, share * air, share * liquid, found)
            (part,) = benches(found.problem, core, [file], scales)
            z = found.posterior.mean if is_same else _carried(found, scales)
            _, J = slopes_at([part], scales, z)
            V = row_covariance([part], scales, z)
            flows = (share * air if "air_flow" in file.values else None,
                     share * liquid if "coolant_flow" in file.values else None)
            made.append(_candidate(found, goals, name, rig, flows, (J, V), is_same))
    return made


def _carried(found: Fit, scales: Scales) -> Array:
    """Scores for another core: the multipliers of the fit, its own blocked shares at their nominal."""
    known = dict(zip(found.scales.names, found.posterior.mean, strict=True))
    own = {name: known[name] for name in scales.names if name not in scales.blockage}
    return np.array([own.get(name, 0.0) for name in scales.names])


def _candidate(
    found: Fit, goals: Goals, name: str, rig: str, flows: tuple[float | None, float | None], row: tuple[Array, Array],
    is_same: bool,
) -> Candidate:
    """What a row of slopes J and covariance V would leave of the goals' variance."""
    J, V = row
    names, p = found.scales.names, len(found.scales.names)
    # Another core's blocked share is a doubt of its own: it adds to what its row is uncertain by.
    shared = [i for i, n in enumerate(names) if is_same or n not in found.scales.blockage]
    known = np.zeros((len(J), p))
    known[:, shared] = J[:, shared]
    rest = np.delete(J, shared, axis=1)
    noise = V + rest @ rest.T
    information = np.linalg.inv(found.posterior.covariance) + known.T @ np.linalg.solve(noise, known)
    after = _deviations(goals.slopes, np.linalg.inv(information))
    gain = float(np.mean(1 - (after / goals.deviations) ** 2))
    return Candidate(name, rig, flows[0], flows[1], gain, after)


def _row(rig: str, air: float, liquid: float, found: Fit) -> BenchFile:
    """A row to be measured, with the uncertainties of the files or the usual ones."""
    hot = rig == HOT_TEST
    values = {
        "air_flow": air, "air_inlet_temperature": _HOT if hot else _COLD,
        "air_inlet_pressure": _CHARGE if hot else _BENCH,
        "coolant_flow": liquid, "coolant_inlet_temperature": _WARM if hot else _COLD,
    }
    inputs = {name: np.array([values[name]]) for name in RIGS[rig].inputs}
    file = BenchFile("a row to measure", Declared(rig), inputs, frozenset(), {}, {}, np.array([1]))
    outputs = {name: np.ones(1) for name in RIGS[rig].outputs}
    by_volume = frozenset({"coolant_flow"} & set(inputs))
    whole = replace(file, values=inputs | outputs, by_volume=by_volume)
    predicted = _predicted(found, whole)
    whole = replace(whole, values=inputs | predicted)
    random = {name: np.array([_uncertainty(name, float(v[0]), found)]) for name, v in whole.values.items()}
    return replace(whole, random=random, common={name: np.zeros(1) for name in whole.values})


def _predicted(found: Fit, file: BenchFile) -> dict[str, Array]:
    (part,) = benches(found.problem, found.core, [file], found.scales)
    rating = part.rated(found.scales, found.posterior.mean[None])
    return {name: rating[OUTPUTS[name]][0] for name in file.rig.outputs}


def _uncertainty(name: str, value: float, found: Fit) -> float:
    """Standard uncertainty: the middle one of the files that state it, else the usual."""
    stated = [_relative(part.file, name) for part in found.parts if name in part.file.random]
    if "temperature" in name:
        return float(np.median(stated)) if stated else _USUAL_KELVIN / COVERAGE
    usual = _USUAL_PRESSURE if name == "air_inlet_pressure" else _USUAL_SHARE
    return value * (float(np.median(stated)) if stated else usual / COVERAGE)


def _relative(file: BenchFile, name: str) -> float:
    u = np.hypot(file.random[name], file.common[name])
    return float(np.median(u if "temperature" in name else u / file.values[name]))


