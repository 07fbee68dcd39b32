"""The main job: a study in, a run folder out. Search -> front -> picks -> scatter -> curves -> tables."""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize import runs, soak_tables, tables, units, water
from optimize.curves import curve_table, numeric_variables
from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem, objective_name
from optimize.feasibility import objective_value, requirements
from optimize.pareto import normalised_hypervolume
from optimize.picks import pick_name, picks
from optimize.search.archive import Archive, Rows
from optimize.search.evolve import evolve
from optimize.search.sweep import sweep
from optimize.seeds import stream
from optimize.space import Parameters
from optimize.study.model import Objective, Study
from optimize.tolerance.scatter import Cloud, bands, scatter
from physics.arrays import Array
from physics.flags import FLAG_TEXTS
from physics.outputs import OUTPUTS

if TYPE_CHECKING:
    import pandas as pd

LARGEST_SWEEP = 20_000_000  # cores; above it, or with a continuous variable, "auto" evolves
MOST_SWEPT = 5_000_000_000  # several hours of two cores
_REFERENCE_MARGIN = 0.1  # of the front's span, beyond its worst ends
_COPIES_SHOWN = 128

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Outcome:
    """What a job found: the run's folder, whether anything is feasible, and the record and tables written."""

    folder: Path
    feasible: bool
    record: dict[str, Any]
    tables: dict[str, "pd.DataFrame"]


def run(study: Study, folder: Path, workers: int, now: datetime, progress: Progress) -> Outcome:
    """Search a study's space, scatter its front, write everything to `folder`."""
    problem = CoreProblem(study)
    begun = perf_counter()
    method, archive = search(problem, workers, progress)
    searched = perf_counter()
    front = archive.front
    named = _picks(problem, front)
    clouds = _scatter(problem, front, workers, progress)
    found = result_tables(problem, archive, named, clouds)
    record = _record(problem, archive, method, workers, now, named)
    record["seconds"] = {"search": searched - begun, "scatter and tables": perf_counter() - searched}
    record["cores_per_second"] = archive.rated / (searched - begun)
    runs.write(folder, study.text, study.files, record, found)
    return Outcome(folder, archive.feasible > 0, record, found)


def search_method(problem: CoreProblem) -> str:
    """"sweep" or "evolve", as the study asks or, with "auto", by the size of its space.

    Raises FinfrontError for a sweep of a continuous or an endless space.
    """
    size, method = problem.space.size, problem.study.search.method
    if method == "auto":
        return "sweep" if size is not None and size <= LARGEST_SWEEP else "evolve"
    if method == "sweep" and size is None:
        raise FinfrontError("a sweep needs steps", "method in [search]", "give each range a step, or ask for 'evolve'")
    if method == "sweep" and size is not None and size > MOST_SWEPT:
        raise FinfrontError(f"a sweep of {size:,} cores would take days", "method in [search]", "ask for 'evolve'")
    return method


def search(problem: CoreProblem, workers: int, progress: Progress) -> tuple[str, Archive]:
    """The front by the method the study asks for, or the one its size asks for."""
    asked, method = problem.study.search, search_method(problem)
    if method == "sweep":
        return method, sweep(problem, workers, progress=lambda done, total: progress("cores rated", done, total))
    seed = int(stream(problem.study.seed, "search").generate_state(1)[0])
    return method, evolve(
        problem, seed, asked.evaluations, asked.population, lambda done, total: progress("cores drawn", done, total)
    )


def _picks(problem: CoreProblem, front: Rows) -> dict[str, int]:
    """Cores of the front worth a name; with a reference core, the one that gains most over it on the weighted mean."""
    if not len(front):
        return {}
    named = picks(front.objectives, problem.study.objectives)
    if "net_gain" in problem.outputs:
        gain = Objective("net_gain", True, "mean")
        rating = problem.rate_points(front.points)
        named.setdefault(pick_name(gain), int(np.argmax(objective_value(problem.study, rating, gain))))
    return named


def _scatter(problem: CoreProblem, front: Rows, workers: int, progress: Progress) -> list[list[Cloud]]:
    if not problem.study.scatter.draws or not len(front):
        return []
    cores = [core_at(problem, point) for point in front.points]
    return scatter(problem.study, cores, workers, lambda done, total: progress("front cores scattered", done, total))


def core_at(problem: CoreProblem, point: Array) -> Parameters:
    """One point of the space as values of the variables, one each."""
    return problem.space.choices(point[None, :])


def result_tables(
    problem: CoreProblem, archive: Archive, named: dict[str, int], clouds: list[list[Cloud]]
) -> dict[str, "pd.DataFrame"]:
    """All tables of a run."""
    front = archive.front
    found = {"designs": _designs(problem, archive), "limits": _limits(problem, archive)}
    if not len(front):
        return found | {"misses": _misses(problem, archive.misses)}
    names = [tables.core_name(int(i)) for i in front.ordinals]
    labels = [", ".join(name for name, at in named.items() if at == i) for i in range(len(front))]
    found["front"] = tables.core_table(
        problem, front.ordinals, front.points, problem.outputs,
        {"pick": labels, **_own_objectives(problem, front)}, overall=True,
    )
    if clouds:
        found["scatter"] = tables.scatter_table(problem, names, clouds)
        found["clouds"] = tables.cloud_table(problem, names, clouds, _COPIES_SHOWN)
    if curves := _curves(problem, front.points[named["knee"]]):
        found["curves"] = curves[0] if len(curves) == 1 else _stacked(curves)
    if water.has_loop(problem):
        found |= _water(problem, front, named)
    return found | (_soak(problem, front, named["knee"]) if problem.soaks is not None else {})


def _soak(problem: CoreProblem, front: Rows, knee: int) -> dict[str, "pd.DataFrame"]:
    """The schedule with the knee, and what more reservoir and more ice would buy it."""
    core, name = core_at(problem, front.points[knee]), tables.core_name(int(front.ordinals[knee]))
    run, batch = soak_tables.one_core(problem, core)
    return {
        "soak": soak_tables.trace_table(problem, run.run(batch, keep=True).soaked, name),
        "soak_gains": soak_tables.gains_table(problem, core, name),
    }


def _water(problem: CoreProblem, front: Rows, named: dict[str, int]) -> dict[str, "pd.DataFrame"]:
    """What lines, ports and flow do to the knee, the circuit each pick sees, and the pumps' curve."""
    places = dict.fromkeys(named.values())
    flows = [
        water.flow_table(problem, core_at(problem, front.points[i]), tables.core_name(int(front.ordinals[i])))
        for i in places
    ]
    knee = core_at(problem, front.points[named["knee"]])
    return {
        "water": water.choice_table(problem, knee), "flow": _stacked(flows), "pump": water.pump_table(problem, knee),
    }


def _curves(problem: CoreProblem, knee: Array) -> list["pd.DataFrame"]:
    return [curve_table(problem, core_at(problem, knee), name) for name in numeric_variables(problem)]


def _stacked(parts: list["pd.DataFrame"]) -> "pd.DataFrame":
    import pandas as pd

    return pd.concat(parts, ignore_index=True)


def _designs(problem: CoreProblem, archive: Archive) -> "pd.DataFrame":
    """Cores on the first layers (layer 1 is the front), then samples of the feasible and of the rest (layer 0)."""
    shown = set(archive.kept.ordinals.tolist())
    fresh = np.array([i not in shown for i in archive.feasible_sample.ordinals.tolist()], dtype=bool)
    parts = [archive.kept, archive.feasible_sample.take(fresh), archive.infeasible_sample]
    sizes = [len(part) for part in parts]
    layer = np.concatenate([archive.layer, np.zeros(sizes[1] + sizes[2], dtype=np.int64)])
    feasible = np.repeat(["yes", "yes", "no"], sizes).tolist()
    rows = Rows.join(parts)
    if not len(rows):
        return _empty(problem)
    return tables.core_table(
        problem, rows.ordinals, rows.points, tables.key_outputs(problem),
        {"layer": layer, "feasible": feasible, **_own_objectives(problem, rows)},
    )


def _own_objectives(problem: CoreProblem, rows: Rows) -> dict[str, Array]:
    """Objectives that are the output of no single duty point: the worst and the mean of all."""
    columns = tables.objective_columns(problem, rows.objectives).items()
    return {
        title: value for (title, value), o in zip(columns, problem.study.objectives, strict=True)
        if o.at in ("worst", "mean")
    }


def _empty(problem: CoreProblem) -> "pd.DataFrame":
    import pandas as pd

    return pd.DataFrame({"core": [], "layer": [], "feasible": []})


def _limits(problem: CoreProblem, archive: Archive) -> "pd.DataFrame":
    """What limits what: how many cores each requirement turns away, and how many it alone does."""
    import pandas as pd

    return pd.DataFrame({
        "requirement": problem.margin_names,
        "cores_turned_away": archive.violated,
        "by_it_alone": archive.violated_alone,
        "share [%]": 100 * archive.violated / max(archive.rated, 1),
    }).sort_values("cores_turned_away", ascending=False, kind="stable", ignore_index=True)


def _misses(problem: CoreProblem, misses: Rows) -> "pd.DataFrame":
    """The nearest misses: what they are, and which requirements they fail by how much of the limit."""
    if not len(misses):
        return _empty(problem)
    fails = [
        "; ".join(f"{name} by {-100 * m:.3g} %" for name, m in zip(problem.margin_names, row, strict=True) if m < 0)
        for row in misses.margins
    ]
    return tables.core_table(
        problem, misses.ordinals, misses.points, tables.key_outputs(problem),
        {"fails": fails, **_own_objectives(problem, misses)},
    )


def _record(
    problem: CoreProblem, archive: Archive, method: str, workers: int, now: datetime, named: dict[str, int]
) -> dict[str, Any]:
    study, front = problem.study, archive.front
    return {
        "title": study.title, "about": study.about, "study": Path(study.path).name,
        "study_sha256": hashlib.sha256(study.text.encode()).hexdigest(),
        "made": runs.stamp(now), "versions": runs.versions(), "seed": study.seed, "units": study.units,
        "workers": workers, "method": method, "exact": method == "sweep",
        "space": problem.space.size, "rated": archive.rated, "feasible": archive.feasible,
        "not_computable": archive.not_computable, "front": len(front),
        "objectives": [_objective_record(problem, i) for i in range(len(study.objectives))],
        "limits": _limit_records(problem),
        "variables": list(problem.space.names),
        "duty": list(problem.duty.names),
        "out_of_range": study.search.out_of_range,
        "flags": {str(flag.name).lower(): text for flag, text in FLAG_TEXTS.items()},
        "picks": {name: tables.core_name(int(front.ordinals[i])) for name, i in named.items()},
        "bands": {name: _bands(problem, front.points[i]) for name, i in named.items()},
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


def _bands(problem: CoreProblem, point: Array) -> dict[str, tuple[float, float]]:
    """How far each correlation of one core may be off, as fractions."""
    batch = problem.space.batch(core_at(problem, point), np.zeros(1, dtype=np.int64))
    return bands(problem.study, batch.air_family, batch.coolant_family)


def _objective_record(problem: CoreProblem, i: int) -> dict[str, Any]:
    objective = problem.study.objectives[i]
    return {
        "output": objective.output, "at": objective.at, "maximise": objective.maximise,
        "label": objective_name(objective), "column": tables.objective_headers(problem)[i],
    }


def _limit_records(problem: CoreProblem) -> list[dict[str, Any]]:
    system = problem.study.units
    return [
        {
            "requirement": r.name, "output": r.output, "at": r.at, "side": "max" if r.sign > 0 else "min",
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
