"""The main job: a study in, a run folder out. Search -> front -> picks -> scatter -> curves -> tables."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize import copy_tables, runs, soak_tables, tables, water
from optimize.core_sheets import MOST_SHEETS, core_sheets
from optimize.curves import curve_table, numeric_variables
from optimize.evaluate import CoreProblem
from optimize.evenly import evenly
from optimize.feasibility import objective_value
from optimize.method import Progress, search
from optimize.off_grid_tables import off_grid_tables
from optimize.picks import pick_name, picks
from optimize.record import record_of
from optimize.robust_tables import fallen_table, robust_front, robust_record, robust_table
from optimize.search.archive import Archive
from optimize.search.memory import Memory
from optimize.search.rows import Rows
from optimize.study.model import Objective, Study
from optimize.tighten_tables import tighten_tables
from optimize.tolerance.robust import band_rule
from optimize.tolerance.scatter import nested_yields, scatter
from optimize.tolerance.yields import nested_kind
from optimize.workers import cluster_told
from physics.arrays import Array

if TYPE_CHECKING:
    import pandas as pd

_COPIES_SHOWN = 128

Also = Callable[[CoreProblem, Archive, dict[str, int]], "tuple[dict[str, pd.DataFrame], dict[str, Any]]"]


@dataclass(frozen=True)
class Outcome:
    """What a job found: the run's folder, whether anything is feasible, and the record and tables written."""

    folder: Path
    feasible: bool
    record: dict[str, Any]
    tables: dict[str, "pd.DataFrame"]


def run(
    study: Study, folder: Path, workers: int, now: datetime, progress: Progress, memory: Memory | None = None,
    start: Array | None = None, also: Also | None = None,
) -> Outcome:
    """Search a study's space, scatter its front, write everything to `folder`.

    With the `memory` of the same search, cut short, it goes on from there. `start`: points an evolution begins with.
    `also` adds tables and entries of the record.
    """
    problem = CoreProblem(study)
    begun, held = perf_counter(), memory.kept if memory is not None else 0
    rule = band_rule(problem) if study.robust is not None else None
    method, archive = search(problem, workers, progress, rule, memory, start)
    searched = perf_counter()
    named = _picks(problem, archive.front)
    record = record_of(problem, archive, method, workers, now, named)
    found = result_tables(problem, archive, named)
    for more_tables, more in _more(problem, archive, named, workers, progress, also):
        found, record = found | more_tables, _joined(record, more)
    sheets = _sheets(problem, archive.front, named, workers, progress)
    record["seconds"] = {"search": searched - begun, "scatter and tables": perf_counter() - searched}
    # Of a search that was gone on with the rate is not known: what was kept took no time now
    record["cores_per_second"] = None if held else _decided(archive) / (searched - begun)
    if (told := cluster_told()) is not None:
        record["cluster"] = told
    runs.write(folder, study.text, study.files, record, found, sheets)
    return Outcome(folder, len(archive.front) > 0, record, found)


def _more(
    problem: CoreProblem, archive: Archive, named: dict[str, int], workers: int, progress: Progress, also: Also | None
) -> Iterator[tuple[dict[str, "pd.DataFrame"], dict[str, Any]]]:
    """Tables and entries of the record beyond the search's own: copies, what to tighten, the other fronts, `also`."""
    front = archive.front
    made = _scatter(problem, front, workers, progress)
    if made:
        yield _yields(problem, front, named, made, workers), {"scatter": copy_tables.scatter_record(problem, made)}
        knee = named["knee"]
        name = tables.core_name(int(front.ordinals[knee]))
        yield tighten_tables(problem, problem.space.core(front.points[knee]), name)
    if problem.study.robust is not None and len(front):
        raced = robust_front(problem, archive, workers, lambda n, most: progress("copies a core raced", n, most))
        robust = {"robust": robust_table(problem, raced), "fallen": fallen_table(problem, raced)}
        yield robust, {"robust": robust_record(problem, raced)}
    if problem.study.search.off_grid:
        yield off_grid_tables(problem, archive, workers, lambda n, most: progress("cores rated off the grid", n, most))
    if also is not None:
        yield also(problem, archive, named)


def _decided(archive: Archive) -> int:
    """Cores rated, or ruled out with proof."""
    return archive.rated if archive.proof is None else archive.proof.points


def _joined(record: dict[str, Any], more: dict[str, Any]) -> dict[str, Any]:
    """A record with more entries; an entry that is a table itself keeps what it has."""
    return record | {
        key: record[key] | value if isinstance(record.get(key), dict) and isinstance(value, dict) else value
        for key, value in more.items()
    }


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


def _scatter(problem: CoreProblem, front: Rows, workers: int, progress: Progress) -> copy_tables.Made:
    """Copies of each core of the front, by its name."""
    if not problem.study.scatter.draws or not len(front):
        return {}
    cores = [problem.space.core(point) for point in front.points]
    made = scatter(problem.study, cores, workers, lambda done, total: progress("front cores scattered", done, total))
    return {tables.core_name(int(i)): kinds for i, kinds in zip(front.ordinals, made, strict=True)}


def _sheets(
    problem: CoreProblem, front: Rows, named: dict[str, int], workers: int, progress: Progress
) -> dict[str, Any]:
    """Calculation sheets of the front by the names of its cores: those with a name, then evenly along the front."""
    order = np.argsort(front.objectives[:, 0], kind="stable") if len(front) else np.empty(0, dtype=np.int64)
    places = evenly(order.tolist(), list(named.values()), MOST_SHEETS)
    cores = [problem.space.core(front.points[i]) for i in places]
    made = core_sheets(problem.study, cores, workers, lambda done, total: progress("calculation sheets", done, total))
    return {tables.core_name(int(front.ordinals[i])): sheet for i, sheet in zip(places, made, strict=True)}


def _yields(
    problem: CoreProblem, front: Rows, named: dict[str, int], made: copy_tables.Made, workers: int
) -> dict[str, "pd.DataFrame"]:
    """What the copies meet and reach; for the cores with a name the yield under every draw of the model too."""
    places = list(dict.fromkeys(named.values()))
    cores = {tables.core_name(int(front.ordinals[i])): problem.space.core(front.points[i]) for i in places}
    yields = nested_yields(problem.study, list(cores.values()), workers)
    return {
        "yield": copy_tables.yield_table(problem, made), "percentiles": copy_tables.percentile_table(problem, made),
        "clouds": copy_tables.cloud_table(problem, made, _COPIES_SHOWN),
        "nested": copy_tables.nested_table(dict(zip(cores, yields, strict=True)), nested_kind(problem.study)),
        "truncated": copy_tables.truncated_table(problem, cores),
    }


def result_tables(
    problem: CoreProblem, archive: Archive, named: dict[str, int]
) -> dict[str, "pd.DataFrame"]:
    """All tables of a run."""
    front = archive.front
    found = {"designs": _designs(problem, archive), "limits": _limits(problem, archive)}
    if not len(front):
        return found | {"misses": _misses(problem, archive.misses)}
    labels = [", ".join(name for name, at in named.items() if at == i) for i in range(len(front))]
    found["front"] = tables.core_table(
        problem, front.ordinals, front.points, problem.outputs,
        {"pick": labels, **_own_objectives(problem, front)}, overall=True,
    )
    if curves := _curves(problem, front.points[named["knee"]]):
        found["curves"] = curves[0] if len(curves) == 1 else _stacked(curves)
    if water.has_loop(problem):
        found |= _water(problem, front, named)
    return found | (_soak(problem, front, named["knee"]) if problem.soaks is not None else {})


def _soak(problem: CoreProblem, front: Rows, knee: int) -> dict[str, "pd.DataFrame"]:
    """The schedule with the knee, and what more reservoir and more ice would buy it."""
    core, name = problem.space.core(front.points[knee]), tables.core_name(int(front.ordinals[knee]))
    run, batch = soak_tables.one_core(problem, core)
    return {
        "soak": soak_tables.trace_table(problem, run.run(batch, keep=True).soaked, name),
        "soak_gains": soak_tables.gains_table(problem, core, name),
    }


def _water(problem: CoreProblem, front: Rows, named: dict[str, int]) -> dict[str, "pd.DataFrame"]:
    """What lines, ports and flow do to the knee, the circuit each pick sees, and the pumps' curve."""
    places = dict.fromkeys(named.values())
    flows = [
        water.flow_table(problem, problem.space.core(front.points[i]), tables.core_name(int(front.ordinals[i])))
        for i in places
    ]
    knee = problem.space.core(front.points[named["knee"]])
    return {
        "water": water.choice_table(problem, knee), "flow": _stacked(flows), "pump": water.pump_table(problem, knee),
    }


def _curves(problem: CoreProblem, knee: Array) -> list["pd.DataFrame"]:
    return [curve_table(problem, problem.space.core(knee), name) for name in numeric_variables(problem)]


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
