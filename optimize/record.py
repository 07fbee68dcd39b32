"""The record of a run: what was asked, what was found, with what, as `run.json` keeps it."""

import hashlib
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from optimize import runs, soak_tables, tables, units, water
from optimize.evaluate import CoreProblem, objective_name
from optimize.feasibility import requirements
from optimize.pareto import normalised_hypervolume
from optimize.search.archive import Archive
from optimize.tolerance.model_draws import Band, bands, fitted_bands
from physics.arrays import Array
from physics.flags import FLAG_TEXTS
from physics.outputs import OUTPUTS

_REFERENCE_MARGIN = 0.1  # of the front's span, beyond its worst ends


def record_of(
    problem: CoreProblem, archive: Archive, method: str, workers: int, now: datetime, named: dict[str, int]
) -> dict[str, Any]:
    """Everything but the tables."""
    study, front = problem.study, archive.front
    return {
        "title": study.title, "about": study.about, "study": Path(study.path).name,
        "study_sha256": hashlib.sha256(study.text.encode()).hexdigest(),
        "made": runs.stamp(now), "versions": runs.versions(), "seed": study.seed, "units": study.units,
        "workers": workers, "method": method, "exact": method != "evolve",
        "space": problem.space.size, "rated": archive.ratings, "counted": archive.rated, "feasible": archive.feasible,
        "not_computable": archive.not_computable, "front": len(front),
        "objectives": [objective_record(problem, i) for i in range(len(study.objectives))],
        "limits": limit_records(problem),
        "variables": list(problem.space.names),
        "duty": list(problem.duty.names),
        "out_of_range": study.search.out_of_range,
        "flags": {str(flag.name).lower(): text for flag, text in FLAG_TEXTS.items()},
        "picks": {name: tables.core_name(int(front.ordinals[i])) for name, i in named.items()},
        "bands": {name: _bands(problem, front.points[i])[1] for name, i in named.items()},
        **_fitted_record(problem, front.points, named),
        "hypervolume": _hypervolume(front.objectives),
        "scatter": {"draws": study.scatter.draws if len(front) else 0, "confidence": study.scatter.confidence},
        **_system_record(problem),
    }


def _system_record(problem: CoreProblem) -> dict[str, Any]:
    """What the report must know of loop, net gain and schedule."""
    study = problem.study
    record: dict[str, Any] = {"duty_weights": [point.weight for point in study.duty]}
    if water.has_loop(problem):
        record["water"] = {"pays": water.PAYS}
    if study.net_gain is not None:
        record["net_gain"] = {
            "reference": study.net_gain.reference,
            "power_per_air": units.show(study.net_gain.power_per_air, "specific work", study.units),
            "power_per_kelvin": f"{100 * study.net_gain.power_per_kelvin:g} %/K",
        }
    if problem.soaks is not None:
        record["soak"] = soak_tables.soak_record(problem)
    return record


def _bands(problem: CoreProblem, point: Array) -> tuple[dict[str, Band], dict[str, Band]]:
    """How far each correlation of one core may be off, as fractions: published, and after the test if there was one."""
    batch = problem.space.batch(problem.space.core(point), np.zeros(1, dtype=np.int64))
    own = problem.study, batch.air_family, batch.coolant_family
    return bands(*own), fitted_bands(*own)


def _fitted_record(problem: CoreProblem, points: Array, named: dict[str, int]) -> dict[str, Any]:
    """What a fitted model rests on, and the bands there were before it."""
    if problem.study.fitted is None:
        return {}
    before = {name: _bands(problem, points[i])[0] for name, i in named.items()}
    return {"fitted": {"about": problem.study.fitted.about, "bands_before": before}}


def objective_record(problem: CoreProblem, i: int) -> dict[str, Any]:
    """An objective for the report: its output, where, in which sense, its words and its column."""
    objective = problem.study.objectives[i]
    return {
        "output": objective.output, "at": objective.at, "maximise": objective.maximise,
        "label": objective_name(objective), "column": tables.objective_headers(problem)[i],
    }


def limit_records(problem: CoreProblem) -> list[dict[str, Any]]:
    """The limits for the report, in display units."""
    system = problem.study.units
    return [
        {
            "requirement": r.name, "output": r.output, "at": r.at, "side": "max" if r.sign > 0 else "min", "of": r.of,
            "bound": float(units.to_display(r.bound, OUTPUTS[r.output].kind, system)),
            "unit": units.unit_label(OUTPUTS[r.output].kind, system),
        }
        for r in requirements(problem.study)
    ]


def _hypervolume(front: Array) -> dict[str, Any] | None:
    """Share of the box from the front's best to a tenth beyond its worst in every objective."""
    if len(front) < 2:
        return None
    best, worst = front.min(axis=0), front.max(axis=0)
    if not np.all(worst > best):
        return None
    reference = worst + _REFERENCE_MARGIN * (worst - best)
    return {
        "share": normalised_hypervolume(front, best, reference),
        "ideal": best.tolist(), "reference": reference.tolist(),
    }
