"""The front off the grid as tables: its cores, the builds they are of, and what the record keeps of it."""

import re
from time import perf_counter
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize import tables
from optimize.evaluate import CoreProblem
from optimize.freed import OffGrid, begun_with, off_grid_front
from optimize.picks import picks
from optimize.search.archive import Archive
from optimize.search.builds import Builds
from optimize.search.off_grid import Progress
from physics.arrays import Array, IntArray

if TYPE_CHECKING:
    import pandas as pd


def off_grid_tables(
    problem: CoreProblem, archive: Archive, workers: int, progress: Progress
) -> tuple[dict[str, "pd.DataFrame"], dict[str, Any]]:
    """The front of a search with its ranges freed of their steps: tables, and entries of the record."""
    begun = perf_counter()
    made = off_grid_front(problem, archive, workers, progress)
    record = off_grid_record(made) | {"begun_with": begun_with(problem.study), "seconds": perf_counter() - begun}
    found = {"off_grid": off_grid_table(made), "off_grid_builds": builds_table(made)} if len(made.front) else {}
    return found, {"off_grid": record}


def off_grid_name(ordinal: int) -> str:
    """What a core off the grid is called: its number among those judged.

    >>> off_grid_name(1234)
    'X1234'
    """
    return f"X{ordinal}"


def off_grid_table(made: OffGrid) -> "pd.DataFrame":
    """The cores of the front, along it."""
    front, problem = made.front, made.problem
    labels = [""] * len(front)
    for name, at in _named(made).items():
        labels[at] = ", ".join(filter(None, (labels[at], name)))
    extra: dict[str, Array | list[str]] = {"pick": labels, **tables.objective_columns(problem, front.objectives)}
    table = tables.core_table(problem, front.ordinals, front.points, tables.key_outputs(problem), extra)
    return table.assign(core=[off_grid_name(int(i)) for i in front.ordinals])


def builds_table(made: OffGrid) -> "pd.DataFrame":
    """The builds of the front, those with most of its cores first: from where to where the cores of each lie."""
    import pandas as pd

    front, problem = made.front, made.problem
    found, which = Builds(problem.axes).each(front.points)
    groups = sorted((np.flatnonzero(which == i) for i in range(len(found))), key=len, reverse=True)
    columns: dict[str, Any] = {"cores": [len(group) for group in groups]}
    told = tables.variable_columns(problem, front.points)
    for (title, values), axis in zip(told.items(), problem.axes, strict=True):
        if axis.discrete:
            columns[title] = [values[int(group[0])] for group in groups]
        else:
            columns |= _from_to(title, np.asarray(values), groups)
    for title, values in tables.objective_columns(problem, front.objectives).items():
        columns |= _from_to(title, values, groups)
    return pd.DataFrame(columns)


def _from_to(title: str, values: Array, groups: list[IntArray]) -> dict[str, list[float]]:
    """Least and most of a column in each group: 'thickness [mm]' -> 'thickness_from [mm]', 'thickness_to [mm]'."""
    name, rest = re.split(r"(?=@| \[|$)", title, maxsplit=1)
    return {
        f"{name}_from{rest}": [float(values[group].min()) for group in groups],
        f"{name}_to{rest}": [float(values[group].max()) for group in groups],
    }


def off_grid_record(made: OffGrid) -> dict[str, Any]:
    """What was moved, what it took, and what it gave over the grid."""
    found, space = made.found, made.problem.space
    return {
        "moved": [axis.name for axis in space.axes if not axis.discrete],
        "rated": found.rated, "front": len(found.front), "builds": found.builds, "builds_tried": found.tried,
        "still": found.still, "course": list(found.course),
        "hypervolume": {"grid": made.grid, "off_grid": made.moved},
        "picks": {name: off_grid_name(int(made.front.ordinals[i])) for name, i in _named(made).items()},
    }


def _named(made: OffGrid) -> dict[str, int]:
    front = made.front.objectives
    return picks(front, made.problem.study.objectives) if len(front) else {}
