"""What to tighten and what to relax with one core, as tables: Sobol' indices, local sensitivities, the budget."""

from typing import TYPE_CHECKING, Any

from optimize import units
from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.space import KINDS, Parameters
from optimize.study.model import Tolerance
from optimize.tolerance.budget import LOOSER, Budget, budget
from optimize.tolerance.indices import core_indices
from optimize.tolerance.laws import tightened
from optimize.tolerance.sensitivity import core_sensitivities

if TYPE_CHECKING:
    import pandas as pd

POINTS = 1024  # of the indices; each takes two copies more than there are tolerances
_SMALL_KINDS = {"louver_angle": "angle", "area_density": "per length", "fin_area_ratio": "number"}


def tighten_tables(
    problem: CoreProblem, core: Parameters, name: str
) -> tuple[dict[str, "pd.DataFrame"], dict[str, Any]]:
    """The tables of one core, and what goes to the record; nothing of a core without tolerances."""
    if not problem.space.tolerances(core):
        return {}, {}
    asked = problem.study.scatter
    found = budget(problem, core, None, asked.wanted_share, asked.confidence)
    made = {
        "sensitivities": sensitivity_table(problem, core, name), "budget": budget_table(problem, core, name, found),
    }
    record: dict[str, Any] = {"budget": budget_record(name, found)}
    try:
        made["indices"] = index_table(problem, core, name)
    except FinfrontError as refused:
        record["no_indices"] = str(refused.what)
    return made, record


def index_table(problem: CoreProblem, core: Parameters, name: str) -> "pd.DataFrame":
    """First-order and total Sobol' indices with their intervals. Raises FinfrontError as `core_indices`."""
    import pandas as pd

    found = core_indices(problem, core, POINTS)
    parts = ("first", "first_low", "first_high", "total", "total_low", "total_high")
    return pd.DataFrame([
        {"core": name, **_output(label), "tolerance": tolerance, **{p: getattr(found, p)[i, j] for p in parts}}
        for i, label in enumerate(found.outputs) for j, tolerance in enumerate(found.names)
    ])


def sensitivity_table(problem: CoreProblem, core: Parameters, name: str) -> "pd.DataFrame":
    """Slopes in engineering units, and what either end of each tolerance does."""
    import pandas as pd

    found, system = core_sensitivities(problem, core), problem.study.units
    unit, slope, low, high = found.displayed(system)
    widths = {key: width_text(key, tolerance, system) for key, tolerance in problem.space.tolerances(core).items()}
    return pd.DataFrame([
        {
            "core": name, **_output(label), "unit": unit[i], "tolerance": tolerance, "half_width": widths[tolerance],
            "slope": slope[i, j], "per": found.per[j], "at_low": low[i, j], "at_high": high[i, j],
        }
        for i, label in enumerate(found.outputs) for j, tolerance in enumerate(found.names)
    ])


def budget_table(problem: CoreProblem, core: Parameters, name: str, found: Budget) -> "pd.DataFrame":
    """Each tolerance as it is, as it must become, and how far it may be relaxed."""
    import pandas as pd

    tolerances, system = problem.space.tolerances(core), problem.study.units
    return pd.DataFrame({
        "core": name, "tolerance": found.names,
        "half_width": [width_text(key, tolerances[key], system) for key in found.names], "cost": found.costs,
        "tightened_factor": found.tightened,
        "tightened": [
            width_text(key, tightened(tolerances[key], float(s)), system)
            for key, s in zip(found.names, found.tightened, strict=True)
        ],
        "relaxed_alone_factor": found.relaxed_alone, "relaxed_together_factor": found.relaxed_together,
    })


def budget_record(name: str, found: Budget) -> dict[str, Any]:
    """Shares before and after, for the report."""
    shares = {"before": found.before, "after": found.after, "together": found.together}
    return {
        "core": name, "wanted": found.wanted, "reachable": found.reachable, "cost": found.cost,
        "fit_error": found.fit_error, "lost": found.lost, "loosest_tried": LOOSER[-1],
        **{key: [share.value, share.low, share.high] for key, share in shares.items()},
    }


def width_text(name: str, tolerance: Tolerance, system: str) -> str:
    """How far a tolerance reaches: "0.1 mm", "-0.1/+0.3 mm", "4 %"; of measured samples their extremes.

    >>> width_text("thickness", Tolerance("normal", 1e-4, 3e-4, 3.0, False), "SI")
    '-0.1/+0.3 mm'
    """
    below, above = tolerance.below, tolerance.above
    if tolerance.law == "measured":
        below, above = max(-min(tolerance.deviations), 0.0), max(max(tolerance.deviations), 0.0)
    kind = "fraction" if tolerance.relative else _kind(name)
    low, high = (f"{float(units.to_display(v, kind, system)):.3g}" for v in (below, above))
    unit = "points" if kind == "fraction" and not tolerance.relative else units.unit_label(kind, system)
    return (f"{high} {unit}" if low == high else f"-{low}/+{high} {unit}").strip()


def _kind(name: str) -> str:
    own = name.partition(".")[2]
    return KINDS.get(name) or _SMALL_KINDS.get(own, "small length")


def _output(label: str) -> dict[str, str]:
    output, _, duty = label.partition("@")
    return {"output": output, "duty": duty}


