"""What each dimension of the pocket and each limit is worth: the front when it is a little wider or tighter.

Only the margins move with them, so nothing is rated twice: the same cores are judged again under shifted margins, and
the neighbourhood search looks for those a wider requirement lets in. Stock comes in steps, so a front moves in steps.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimize import tables, units
from optimize.evaluate import CoreProblem
from optimize.feasibility import CLEARANCE_SCALES, requirements
from optimize.pareto import knee, normalised_hypervolume
from optimize.search.climb import climb, front_of
from physics.arrays import Array
from physics.outputs import CLEARANCES, OUTPUTS

if TYPE_CHECKING:
    import pandas as pd

DIMENSIONS = ("pocket_length", "pocket_width", "pocket_depth", "proud_height")
# Which dimension enters which clearance, see `physics.envelope.clearances`
_ENTERS = {
    "pocket_length": ("length_clearance",), "pocket_width": ("width_clearance",),
    "pocket_depth": ("lid_clearance", "port_flange_clearance"), "proud_height": ("lid_clearance",),
}
CHANGES = {"SI": (1.0, 2.0, 5.0, 10.0), "US": (0.05, 0.1, 0.2, 0.4)}  # mm, in
_SHARES = (0.05, 0.1)  # of a limit
_KELVIN = (2.0, 5.0)
AT_KNEE = " at no worse than the knee"
_BEYOND = 0.1  # of the front's span, where the hypervolume is counted to
MOST = 150_000  # cores judged


@dataclass(frozen=True)
class Change:
    """A requirement moved: what, by how much [display unit], and the shift (q,) of the margins."""

    what: str
    by: float
    unit: str
    shift: Array


def changes(problem: CoreProblem) -> list[Change]:
    """Every dimension of the pocket and every limit, moved both ways; `by` is what the dimension or bound changes."""
    study, names = problem.study, problem.margin_names
    found = []
    for dimension in DIMENSIONS:
        for by in [s * size for size in CHANGES[study.units] for s in (-1.0, 1.0)]:
            metres = float(units.from_display(by, "length", study.units))
            shift = np.zeros(len(names))
            for name in _ENTERS[dimension]:
                shift[CLEARANCES.index(name)] = metres / getattr(study.envelope, CLEARANCE_SCALES[name])
            found.append(Change(dimension.replace("_", " "), by, units.unit_label("length", study.units), shift))
    first = len(names) - len(requirements(study))
    for i, r in enumerate(requirements(study), start=first):
        kind = OUTPUTS[r.output].kind
        steps = _KELVIN if kind == "temperature" else [share * abs(r.bound) for share in _SHARES]
        shown = "temperature difference" if kind == "temperature" else kind
        for step in [s * size for size in steps for s in (-1.0, 1.0) if size]:
            shift = np.zeros(len(names))
            shift[i] = step / r.scale
            by = float(units.to_display(r.sign * step, shown, study.units))
            found.append(Change(f"limit: {r.name}", by, units.unit_label(shown, study.units), shift))
    return found


def worth_table(problem: CoreProblem, starts: Array) -> "tuple[pd.DataFrame, int]":
    """What each change does to the front, searched from `starts` (n, axes) on; and the number of cores judged.

    The first row is the front as it is. Columns: what, by, unit, cores on the front, hypervolume relative to that of
    the first row, best of each objective, and best of each at no worse than the knee's others.
    """
    import pandas as pd

    asked = changes(problem)
    as_is = Change("as it is", 0.0, "", np.zeros(len(problem.margin_names)))
    climbed = climb(problem, starts, [as_is.shift, *(change.shift for change in asked)], MOST)
    rows = climbed.rows
    fronts = [rows.objectives[front_of(rows, change.shift)] for change in (as_is, *asked)]
    records = [_record(problem, change, front, fronts) for change, front in zip((as_is, *asked), fronts, strict=True)]
    return pd.DataFrame(records), len(rows)


def _record(problem: CoreProblem, change: Change, front: Array, fronts: Sequence[Array]) -> dict[str, object]:
    base = fronts[0]
    record: dict[str, object] = {
        "what": change.what, "by": change.by, "unit": change.unit, "cores on the front": len(front),
        "hypervolume [% of present]": 100 * _relative(front, fronts),
    }
    if not len(base):
        return record
    at = base[knee(base)]
    for i, (title, best, held) in enumerate(zip(tables.objective_headers(problem), *_bests(front, at), strict=True)):
        record[f"best {title}"], record[f"{title}{AT_KNEE}"] = (_displayed(problem, i, v) for v in (best, held))
    return record


def _displayed(problem: CoreProblem, i: int, value: float) -> float:
    """Objective i as searched, in its own sense and display unit."""
    column = list(tables.objective_columns(problem, np.full((1, len(problem.objective_names)), value)).values())[i]
    return float(column[0])


def _bests(front: Array, at: Array) -> tuple[list[float], list[float]]:
    """Best of each objective, and best of each among cores no worse than `at` in the others; NaN where none is."""
    best, held = [], []
    for i in range(len(at)):
        others = np.delete(np.arange(len(at)), i)
        near = front[np.all(front[:, others] <= at[others] * (1 + 1e-12 * np.sign(at[others])), axis=1), i]
        best.append(float(front[:, i].min()) if len(front) else float("nan"))
        held.append(float(near.min()) if len(near) else float("nan"))
    return best, held


def _relative(front: Array, fronts: Sequence[Array]) -> float:
    """Hypervolume over that of the first front, both counted to a tenth beyond the worst ends of that."""
    base = fronts[0]
    if len(base) < 2 or not np.all(np.ptp(base, axis=0) > 0):
        return float("nan")
    every = np.concatenate(fronts)
    reference = base.max(axis=0) + _BEYOND * np.ptp(base, axis=0)
    ideal = np.minimum(every.min(axis=0), base.min(axis=0))
    return normalised_hypervolume(front, ideal, reference) / normalised_hypervolume(base, ideal, reference)


