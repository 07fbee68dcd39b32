"""The exact front of a grid without rating every point: boxes of points that cannot be on it are left out whole.

A box is a range of every axis. The problem tells what no point of a box can be better than; a box whose bound a point
known to be feasible dominates, or in which nothing can be feasible, is left out; another is split, until its points
are few enough to be rated. First comes a coarse part of the grid, then finer ones, each beginning with the front
of the one before. What is left out never depends on chance, and the front is the sweep's own, to the last bit.

Source: A. H. Land, A. G. Doig, An automatic method of solving discrete programming problems, Econometrica 28 (1960)
497-520 (branch and bound; from memory).
"""

from collections.abc import Callable
from contextlib import closing
from dataclasses import astuple, dataclass
from math import prod
from typing import Protocol

import numpy as np

from optimize.pareto import Screen, nondominated, unique_front
from optimize.search.archive import Proof, judge
from optimize.search.memory import Arrays, Memory, Nothing, rows_of_arrays, rows_to_arrays
from optimize.search.problem import Problem
from optimize.search.rows import Rows
from optimize.search.sweep import BLOCK, Grid
from optimize.workers import in_order
from physics.arrays import Array, IntArray

Progress = Callable[[int, int], None]

CHUNK = 128  # values of a ladder in a box to begin with
PARTS = 4  # of a box that is split
FEW = 8  # points of a box that are rated rather than bounded again
COARSEST = 60_000  # points of the grid begun with, about
BLOCKS_A_ROUND = 16  # with the front of the rounds before
HALVINGS = 4  # from one part of the grid to the next
BOXES = 32_768  # looked at together


@dataclass(frozen=True)
class Spans:
    """How boxes of a problem may reach: `ladders` in steps of CHUNK, `lists` whole, the others one value each.

    Axes by number; boxes are enumerated with `fastest` varying first.
    """

    ladders: tuple[int, ...]
    lists: tuple[int, ...]
    fastest: int | None


class Bounded(Problem, Protocol):
    """A problem that can tell what no point of a box is better than."""

    @property
    def spans(self) -> Spans: ...

    def better(self, low: IntArray, high: IntArray, front: Array) -> Array:
        """Objectives (n, k) at or below those of all feasible points of each box that no row of `front` dominates.

        low, high: (n, axes) indices, both included. Infinite where no such point can be.
        """
        ...

    def near(self, points: Array, front: Array) -> IntArray:
        """Positions of the points (n, axes) that a cheaper look than a verdict leaves in doubt."""
        ...


@dataclass(frozen=True)
class Certified:
    """An exact front, and what it took."""

    front: Rows
    proof: Proof

    def to_arrays(self) -> Arrays:
        """As a memory keeps it."""
        return rows_to_arrays(self.front, "front") | {"proof": np.array(astuple(self.proof), dtype=np.int64)}

    @staticmethod
    def of_arrays(arrays: Arrays) -> "Certified":
        """The inverse of `to_arrays`."""
        return Certified(rows_of_arrays(arrays, "front"), Proof(*(int(n) for n in arrays["proof"])))


@dataclass(frozen=True)
class Part:
    """A part of the grid: the values of each axis that belong to it."""

    values: tuple[IntArray, ...]

    @property
    def total(self) -> int:
        return prod(len(v) for v in self.values)

    def thinned(self) -> "Part":
        """Every other value of the longest axis, its ends kept; itself where all are short."""
        longest = max(range(len(self.values)), key=lambda i: len(self.values[i]))
        values = self.values[longest]
        fewer = np.unique(np.append(values[::2], values[-1]))
        return Part(tuple(fewer if i == longest else v for i, v in enumerate(self.values)))


@dataclass(frozen=True)
class Round:
    """Blocks of boxes searched with the same front behind them."""

    part: Part
    first: Grid
    blocks: range

    @property
    def share(self) -> float:
        """Of its part's points, those decided when it is over."""
        return self.first.first_point(self.blocks.stop) / self.first.total


def rounds(problem: Bounded, block: int = BOXES) -> list[Round]:
    """All rounds of a certified search, the coarse parts of the grid first."""
    whole = Part(tuple(np.arange(size) for size in Grid.of(problem.axes, block).sizes))
    parts = [whole]
    while parts[-1].total > COARSEST and parts[-1].thinned().total < parts[-1].total:
        parts.append(parts[-1].thinned())
    found = []
    for part in parts[::HALVINGS][::-1]:
        first = _starts(problem, part, block)
        starts = range(0, first.blocks, BLOCKS_A_ROUND)
        found += [Round(part, first, range(s, min(s + BLOCKS_A_ROUND, first.blocks))) for s in starts]
    return found


def certified(
    problem: Bounded, workers: int = 1, block: int = BOXES, progress: Progress | None = None,
    memory: Memory | None = None, start: Array | None = None,
) -> Certified:
    """The exact front of the grid of a problem, all its axes discrete.

    Parameters
    ----------
    progress : called with the number of points decided and of all points.
    memory : of the same search; each round is a batch of it.
    start : (s, axes) points to begin with: better ones make it quicker, the front is the same.
    """
    todo, memory = rounds(problem, block), memory or Nothing()
    whole, held = todo[-1].part, min(memory.kept, len(todo))
    begin = np.empty((0, len(problem.axes))) if start is None else start
    points = _chosen(problem, whole, begin.astype(np.int64))
    found = Certified(_rated(problem, points), Proof(0, len(points), 0))
    if held:
        found = Certified.of_arrays(memory.recall(held - 1))
    for each in todo[held:]:
        found = _after(problem, each, found, workers)
        memory.keep(found.to_arrays())
        if progress is not None and each.part is whole:
            progress(int(each.share * whole.total), whole.total)
    return found


def _after(problem: Bounded, each: Round, before: Certified, workers: int) -> Certified:
    """The front after a round."""
    told = [(problem, each.part, each.first, number, before.front) for number in each.blocks]
    with closing(in_order(_searched, told, workers)) as results:
        found = [before, *results]
    proofs = [f.proof for f in found]
    proof = Proof(each.part.total, sum(p.rated for p in proofs), sum(p.boxes for p in proofs))
    return Certified(_merged([f.front for f in found]), proof)


def _starts(problem: Bounded, part: Part, block: int) -> Grid:
    """The boxes to begin with as a grid of their own, axes in the order of `_order`."""
    spans, sizes = problem.spans, []
    for axis in _order(problem):
        n = len(part.values[axis])
        sizes.append(-(-n // CHUNK) if axis in spans.ladders else 1 if axis in spans.lists else n)
    return Grid(tuple(sizes), (False,) * len(sizes), block)


def _order(problem: Bounded) -> list[int]:
    """Axes, the fastest last."""
    fastest = problem.spans.fastest
    return [i for i in range(len(problem.axes)) if i != fastest] + ([fastest] if fastest is not None else [])


@dataclass(frozen=True)
class Boxes:
    """Ranges (n, axes) of positions within a part of the grid, both ends included."""

    low: IntArray
    high: IntArray

    def __len__(self) -> int:
        return len(self.low)

    @property
    def sizes(self) -> IntArray:
        """Points of each box (n,)."""
        return np.asarray(np.prod(self.high - self.low + 1, axis=1))

    def take(self, index: IntArray) -> "Boxes":
        return Boxes(self.low[index], self.high[index])


def _searched(problem: Bounded, part: Part, first: Grid, number: int, front: Rows) -> Certified:
    """What is on the front of a block of boxes, and not behind what is known."""
    found, rated, looked = front, 0, 0
    stack = [_block(problem, part, first, number)]
    while stack:
        boxes = stack.pop()
        looked += len(boxes)
        boxes = boxes.take(_promising(problem, part, boxes, found))
        few = boxes.sizes <= FEW
        points = _chosen(problem, part, _positions(boxes.take(np.flatnonzero(few))))
        for start in range(0, len(points), BLOCK):
            block = points[start : start + BLOCK]
            block = block[problem.near(block, found.objectives)]
            found = _merged([found, _rated(problem, block)])
            rated += len(block)
        rest = _split(problem, boxes.take(np.flatnonzero(~few)))
        stack += [rest.take(np.arange(s, min(s + BOXES, len(rest)))) for s in range(0, len(rest), BOXES)]
    return Certified(found, Proof(0, rated, looked))


def _block(problem: Bounded, part: Part, first: Grid, number: int) -> Boxes:
    positions, _ = first.block(number)
    low = np.empty(positions.shape, dtype=np.int64)
    high = np.empty_like(low)
    for column, axis in enumerate(_order(problem)):
        at, n = positions[:, column].astype(np.int64), len(part.values[axis])
        wide = CHUNK if axis in problem.spans.ladders else n if axis in problem.spans.lists else 1
        low[:, axis], high[:, axis] = at * wide, np.minimum((at + 1) * wide, n) - 1
    return Boxes(low, high)


def _promising(problem: Bounded, part: Part, boxes: Boxes, front: Rows) -> IntArray:
    """Positions of the boxes that may hold a point of the front."""
    low, high = (
        np.stack([v[ends[:, i]] for i, v in enumerate(part.values)], axis=1) for ends in (boxes.low, boxes.high)
    )
    bound = problem.better(low, high, front.objectives)
    index = np.flatnonzero(np.all(bound < np.inf, axis=1))
    return index[Screen.of(front.objectives).passing(bound[index])]


def _split(problem: Bounded, boxes: Boxes) -> Boxes:
    """Each box in PARTS: along its ladder while it reaches over more than one value, then along a list."""
    low, high = [], []
    left = np.arange(len(boxes))
    for axis in (*problem.spans.ladders, *problem.spans.lists):
        wide = boxes.high[left, axis] > boxes.low[left, axis]
        now = boxes.take(left[wide])
        first, n = now.low[:, axis], now.high[:, axis] - now.low[:, axis] + 1
        for part in range(PARTS):
            start, stop = first + part * n // PARTS, first + (part + 1) * n // PARTS
            some = np.flatnonzero(stop > start)
            lower, upper = now.low[some], now.high[some]
            lower[:, axis], upper[:, axis] = start[some], stop[some] - 1
            low.append(lower)
            high.append(upper)
        left = left[~wide]
    return Boxes(np.concatenate(low), np.concatenate(high)) if low else boxes.take(left[:0])


def _positions(boxes: Boxes) -> IntArray:
    """All positions in some boxes (n, axes)."""
    parts = []
    for sizes in np.unique(boxes.high - boxes.low + 1, axis=0):
        alike = np.flatnonzero(np.all(boxes.high - boxes.low + 1 == sizes, axis=1))
        steps = np.stack(np.unravel_index(np.arange(prod(sizes.tolist())), sizes.tolist()), axis=1)
        parts.append((boxes.low[alike][:, None, :] + steps[None]).reshape(-1, len(sizes)))
    return np.concatenate(parts) if parts else np.empty((0, boxes.low.shape[1]), dtype=np.int64)


def _chosen(problem: Bounded, part: Part, positions: IntArray) -> Array:
    """Points (n, axes) of positions within a part, by ordinal number."""
    points = np.stack([v[positions[:, i]] for i, v in enumerate(part.values)], axis=1)
    return points[np.argsort(_ordinals(problem, points))].astype(np.float64)


def _ordinals(problem: Bounded, points: Array | IntArray) -> IntArray:
    return np.asarray(np.ravel_multi_index(tuple(points.T.astype(np.int64)), Grid.of(problem.axes, BLOCK).sizes))


def _rated(problem: Bounded, points: Array) -> Rows:
    """The feasible ones among some points."""
    evaluation = problem.evaluate(points)
    rows = Rows(_ordinals(problem, points), points, evaluation.objectives, evaluation.margins, evaluation.tie)
    return rows.take(np.flatnonzero(judge(evaluation).feasible))


def _merged(parts: list[Rows]) -> Rows:
    """The front of some rows, one row for equal objectives, by ordinal number."""
    rows = Rows.join(parts)
    _, once = np.unique(rows.ordinals, return_index=True)
    rows = rows.take(once)
    if not len(rows):
        return rows
    rows = rows.take(np.flatnonzero(nondominated(rows.objectives)))
    return rows.take(unique_front(rows.objectives, rows.tie))
