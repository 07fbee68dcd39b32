"""A study with its ranges freed of their steps, its cores moved off them, and the values such cores may take."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from optimize import units
from optimize.evaluate import CoreProblem
from optimize.pareto import normalised_hypervolume
from optimize.search.archive import Archive
from optimize.search.off_grid import CARE, Care, Progress, Refined, refine
from optimize.search.rows import Rows
from optimize.seeds import stream
from optimize.space import KINDS, Space
from optimize.study.model import Study, Variable
from physics.arrays import Array

DIGITS = 7  # of a moved value in the units of its tables, which hold eight
_MARGIN = 0.1  # of the fronts' width, beyond their worst ends


@dataclass(frozen=True)
class OffGrid:
    """The front off the grid of a problem, in the problem that has no steps, and the cores it began with.

    `grid`, `moved`: hypervolume of the front on the grid and of that off it, shares of one box; None for less than two
    cores, or where an objective is the same in all.
    """

    problem: CoreProblem
    found: Refined
    grid: float | None
    moved: float | None

    @property
    def front(self) -> Rows:
        return self.found.front


def off_grid_front(
    problem: CoreProblem, archive: Archive, workers: int, progress: Progress | None = None, care: Care = CARE
) -> OffGrid:
    """Move the front of a search off the steps of its ranges; begins with all the search kept near it.

    Where nothing on the grid is feasible it begins with the nearest misses.
    """
    free = CoreProblem(freed(problem.study))
    near = archive.kept if len(archive.kept) else archive.misses
    starts = freed_points(problem, near.points)
    seed = stream(problem.study.seed, "off_grid")
    found = refine(free, starts, seed, workers, lambda points: settled(free.space, points), care, progress)
    return OffGrid(free, found, *_shares(archive.front.objectives, found.front.objectives))


def freed(study: Study) -> Study:
    """The study with every range continuous, from end to end as written; counts, lists and names stay."""
    return replace(study, variables={key: _freed(variable) for key, variable in study.variables.items()})


def _freed(variable: Variable) -> Variable:
    if variable.ends is None:
        return variable
    low, high = variable.ends
    return replace(variable, values=(), low=low, high=high)


def freed_points(problem: CoreProblem, points: Array) -> Array:
    """Points of a study as points of the same study freed."""
    moved, space = points.copy(), problem.space
    for column, name in enumerate(space.names):
        variable = space.variables[name]
        if variable.ends is not None:
            moved[:, column] = space.coded(variable)[points[:, column].astype(np.int64)]
    return moved


def settled(space: Space, points: Array) -> Array:
    """Points whose moved values can be written down: few enough digits in the study's units, inside their ranges.

    A core as a table holds it, or as it is typed, is then the core that was judged. An end of a range that cannot be
    written so is not reached.
    """
    settled_points, system = points.copy(), space.study.units
    for column, (name, axis) in enumerate(zip(space.names, space.axes, strict=True)):
        if not axis.discrete:
            kind = KINDS[name]
            low, high = (np.array([float(units.to_display(end, kind, system))]) for end in (axis.low, axis.high))
            ends = _rounded(low, np.ceil), _rounded(high, np.floor)
            shown = np.clip(_rounded(units.to_display(points[:, column], kind, system)), *ends)
            settled_points[:, column] = np.clip(units.from_display(shown, kind, system), axis.low, axis.high)
    return settled_points


def _rounded(values: Array, how: Callable[[Array], Array] = np.round) -> Array:
    """To `DIGITS` significant digits; what is so already stays, either way."""
    size = np.floor(np.log10(np.maximum(np.abs(values), 1e-300)))
    scale = 10.0 ** (DIGITS - 1 - size)
    return np.asarray(how(np.round(values * scale, 4)) / scale)


def moved_lines(problem: CoreProblem) -> list[str]:
    """What is moved off the grid and from where to where, a line each; none where a study does not ask for it."""
    if not problem.study.search.off_grid:
        return []
    moved = [axis for axis in Space(freed(problem.study)).axes if not axis.discrete]
    ends = [[units.show(x, KINDS[axis.name], problem.study.units) for x in (axis.low, axis.high)] for axis in moved]
    return [f"off the grid: {axis.name} from {low} to {high}" for axis, (low, high) in zip(moved, ends, strict=True)]


def begun_with(study: Study) -> str:
    """What a study's own front is of: "grid" where a range has steps, else "search"."""
    return "grid" if any(variable.ends is not None for variable in study.variables.values()) else "search"


def _shares(grid: Array, moved: Array) -> tuple[float | None, float | None]:
    both = np.concatenate([grid, moved])
    if len(moved) < 2 or not np.all(np.ptp(both, axis=0) > 0.0):
        return None, None
    best, worst = both.min(axis=0), both.max(axis=0)
    corner = worst + _MARGIN * (worst - best)
    before = normalised_hypervolume(grid, best, corner) if len(grid) else 0.0
    return before, normalised_hypervolume(moved, best, corner)
