"""One core in depth: its copies, its yield under the model, and what to tighten; for `finfront scatter`."""

from typing import TYPE_CHECKING, Any

from optimize import copy_tables, tables
from optimize.evaluate import CoreProblem
from optimize.record import limit_records, objective_record
from optimize.space import Parameters
from optimize.tighten_tables import tighten_tables
from optimize.tolerance.scatter import nested_yields, scatter
from optimize.tolerance.yields import nested_kind

if TYPE_CHECKING:
    import pandas as pd


def scattered_core(
    problem: CoreProblem, core: Parameters, name: str
) -> tuple[dict[str, "pd.DataFrame"], dict[str, Any]]:
    """All tables of the copies of one core (columns of one value), and what a figure must know besides."""
    study = problem.study
    made = {name: scatter(study, [core])[0]}
    count = next(iter(made[name].values())).lost.size
    found = {
        "yield": copy_tables.yield_table(problem, made), "percentiles": copy_tables.percentile_table(problem, made),
        "clouds": copy_tables.cloud_table(problem, made, count),
        "nested": copy_tables.nested_table({name: nested_yields(study, [core])[0]}, nested_kind(study)),
        "truncated": copy_tables.truncated_table(problem, {name: core}),
        "front": tables.rated_table(problem, core, name),
    }
    more, record = tighten_tables(problem, core, name)
    return found | more, {
        "title": study.title, "picks": {}, "duty": list(problem.duty.names), "limits": limit_records(problem),
        "objectives": [objective_record(problem, i) for i in range(len(study.objectives))],
        "scatter": {
            "draws": study.scatter.draws, "confidence": study.scatter.confidence,
            **copy_tables.scatter_record(problem, made),
        },
        **record,
    }
