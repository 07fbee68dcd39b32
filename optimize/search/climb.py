"""The neighbourhood search: from good points to all their neighbours, until no neighbour enters the front.

Several versions of the requirements are followed at once, each a shift of the margins, over one store of verdicts: a
point is judged once, whatever front it may be on. No chance is in it. What it finds is a front no neighbour improves,
near the true one but not proven.

Source: L. Paquete, T. Stuetzle, Stochastic local search algorithms for multiobjective combinatorial optimization, in
Handbook of Approximation Algorithms and Metaheuristics, 2007 (Pareto local search; from memory).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from optimize.pareto import nondominated, unique_front
from optimize.search.archive import shortfall
from optimize.search.problem import Axis, Problem
from optimize.search.rows import Rows
from optimize.search.sweep import BLOCK
from physics.arrays import Array, BoolArray, IntArray

SHORT_AXIS = 8  # values; on such an axis every other value is a neighbour
STEPS = (1, 2)  # along a longer ladder
SHARES = (0.004, 0.03)  # of a continuous range
NEAREST = 24  # infeasible points walked from while nothing is feasible
_DIGITS = 12  # of a margin, as where margins are made


@dataclass
class Climbed:
    """Points judged, in the order they came; `rows.ordinals` counts them."""

    problem: Problem
    points: list[Array] = field(default_factory=list)
    verdicts: list[tuple[Array, Array, Array]] = field(default_factory=list)
    seen: set[bytes] = field(default_factory=set)

    def add(self, points: Array) -> None:
        """Judge those not seen, each once."""
        fresh = []
        for i, point in enumerate(points):
            if (key := point.tobytes()) not in self.seen:
                self.seen.add(key)
                fresh.append(i)
        for start in range(0, len(fresh), BLOCK):
            block = points[fresh[start : start + BLOCK]]
            made = self.problem.evaluate(block)
            self.points.append(block)
            self.verdicts.append((made.objectives, made.margins, made.tie))

    @property
    def rows(self) -> Rows:
        """All points with their verdicts."""
        columns = [np.concatenate(part) for part in zip(*self.verdicts, strict=True)]
        points = np.concatenate(self.points)
        return Rows(np.arange(len(points)), points, *columns)


def climb(
    problem: Problem, starts: Array, shifts: Sequence[Array] = (), most: int = 200_000,
    climbed: Climbed | None = None,
) -> Climbed:
    """Search from some points on.

    Parameters
    ----------
    problem : its axes discrete or continuous.
    starts : (n, axes), at least one.
    shifts : (q,) each, what a version adds to the margins; none: the requirements as they are.
    most : points judged, about; then it stops wherever it is.
    climbed : what was judged before; it is added to.
    """
    climbed = climbed or Climbed(problem)
    climbed.add(starts)
    expanded: set[int] = set()
    versions = list(shifts) or [np.zeros(len(problem.margin_names))]
    while len(climbed.seen) < most:
        rows = climbed.rows
        wanted = set[int]().union(*(worth_expanding(rows, shift).tolist() for shift in versions)) - expanded
        if not wanted:
            break
        expanded |= wanted
        climbed.add(np.concatenate(list(neighbourhood(rows.points[sorted(wanted)], problem.axes))))
    return climbed


def kept(rows: Rows, shift: Array) -> BoolArray:
    """Rows that are computable and meet every requirement with its margin shifted."""
    with np.errstate(invalid="ignore"):
        met = np.all(np.round(rows.margins + shift, _DIGITS) >= 0.0, axis=1)
    return np.asarray(met & np.all(np.isfinite(rows.objectives), axis=1))


def front_of(rows: Rows, shift: Array) -> IntArray:
    """Positions of the front under shifted margins, one row for equal objectives."""
    index = np.flatnonzero(kept(rows, shift))
    index = index[nondominated(rows.objectives[index])] if len(index) else index
    return index[unique_front(rows.objectives[index], rows.tie[index])] if len(index) else index


def worth_expanding(rows: Rows, shift: Array) -> IntArray:
    """The front, or while there is none the points that miss by least."""
    front = front_of(rows, shift)
    if len(front):
        return front
    missing = shortfall(rows.margins + shift)
    order = np.argsort(missing, kind="stable")[:NEAREST]
    return order[np.isfinite(missing[order])]


def neighbourhood(points: Array, axes: tuple[Axis, ...]) -> Iterator[Array]:
    """All points that differ from one of these in one or two variables, by a little or in a name.

    Two at a time, because a finer fin pays only with fewer passages or a thinner core.
    """
    for number, axis in enumerate(axes):
        for moved in _moved(points[:, number], axis):
            there = points.copy()
            there[:, number] = moved
            yield there
            for other in range(number + 1, len(axes)):
                for moved_too in _moved(points[:, other], axes[other]):
                    further = there.copy()
                    further[:, other] = moved_too
                    yield further


def _moved(x: Array, axis: Axis) -> Iterator[Array]:
    """Values of one variable moved, one array a move; held at its ends."""
    if axis.size is None:
        for share in SHARES:
            for sign in (-1.0, 1.0):
                yield np.clip(x + sign * share * (axis.high - axis.low), axis.low, axis.high)
    elif axis.outer or axis.size <= SHORT_AXIS:
        for value in range(axis.size):
            yield np.full_like(x, float(value))
    else:
        for step in STEPS:
            for sign in (-1.0, 1.0):
                yield np.clip(x + sign * step, 0.0, axis.size - 1.0)
