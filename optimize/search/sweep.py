"""The exhaustive search: every point of the grid, in blocks, over as many processes as wished.

Blocks and tasks depend on the grid alone. A worker builds the points of its blocks itself and sends back
only an archive, so the result is the same to the last bit whatever the number of workers.
"""

from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from math import prod

import numpy as np

from optimize.search.archive import Archive, Guard, merge
from optimize.search.band import BandRule
from optimize.search.memory import Memory, Nothing, archive_of_arrays, archive_to_arrays
from optimize.search.problem import Axis, Problem
from optimize.workers import in_order
from physics.arrays import Array, IntArray

Progress = Callable[[int, int], None]

TASKS = 32
BLOCKS_A_TASK = (16, 256)
BLOCKS_A_MERGE = 32
BLOCK = 16384  # points rated at once


@dataclass(frozen=True)
class Grid:
    """The product of discrete axes, cut into blocks.

    The ordinal number of a point is its mixed-radix index over the axes in their order, the last axis
    fastest. A block holds one combination of the outer axes (the last outer axis fastest) and a run of the
    product of the others.

    Attributes
    ----------
    sizes : number of values of each axis.
    outer : whether each axis is outer.
    limit : largest number of points of a block.

    >>> grid = Grid((2, 3, 2), (False, True, False), limit=3)
    >>> grid.blocks, grid.total
    (6, 12)
    >>> points, ordinals = grid.block(2)
    >>> points.astype(int).tolist(), ordinals.tolist()
    ([[0, 1, 0], [0, 1, 1]], [2, 3])
    """

    sizes: tuple[int, ...]
    outer: tuple[bool, ...]
    limit: int

    @classmethod
    def of(cls, axes: tuple[Axis, ...], limit: int) -> "Grid":
        """The grid of a problem's axes.

        Raises
        ------
        ValueError
            If an axis is continuous, the grid holds 2^63 points or more, or `limit` is below 1.
        """
        sizes = [axis.size for axis in axes if axis.size is not None]
        if len(sizes) < len(axes):
            names = ", ".join(axis.name for axis in axes if axis.size is None)
            raise ValueError(f"a sweep needs discrete axes; continuous: {names}")
        grid = cls(tuple(sizes), tuple(axis.outer for axis in axes), limit)
        if limit < 1 or grid.total >= 2**63:
            raise ValueError(f"cannot sweep {grid.total} points in blocks of {limit}")
        return grid

    @property
    def total(self) -> int:
        """Number of points."""
        return prod(self.sizes)

    @property
    def inner_total(self) -> int:
        """Number of points of one combination of the outer axes."""
        return prod(s for s, o in zip(self.sizes, self.outer, strict=True) if not o)

    @property
    def chunks(self) -> int:
        """Number of blocks of one combination of the outer axes."""
        return -(-self.inner_total // self.limit)

    @property
    def blocks(self) -> int:
        """Number of blocks."""
        return self.total // self.inner_total * self.chunks

    def first_point(self, number: int) -> int:
        """Number of points in all blocks before block `number`; the chunks of a combination are near equal."""
        combination, chunk = divmod(number, self.chunks)
        return combination * self.inner_total + chunk * self.inner_total // self.chunks

    def block(self, number: int) -> tuple[Array, IntArray]:
        """Points (n, axes) and ordinal numbers (n,) of a block."""
        combination = number // self.chunks
        before = combination * self.inner_total
        inner = np.arange(self.first_point(number) - before, self.first_point(number + 1) - before)
        points = np.empty((len(self.sizes), len(inner)))
        ordinals = np.zeros(len(inner), dtype=np.int64)
        stride = 1
        for column, size, is_outer in reversed(list(zip(points, self.sizes, self.outer, strict=True))):
            if is_outer:
                combination, outer_digit = divmod(combination, size)
                column[:] = outer_digit
                ordinals += outer_digit * stride
            else:
                rest = inner // size
                digit = inner - rest * size
                column[:] = digit
                ordinals += digit * stride
                inner = rest
            stride *= size
        return points.T, ordinals

    def points(self, ordinals: IntArray) -> Array:
        """Points (n, axes) by their ordinal numbers (n,)."""
        return np.stack(np.unravel_index(ordinals, self.sizes), axis=1).astype(np.float64)

    def tasks(self) -> list[range]:
        """Runs of consecutive blocks, some hundred milliseconds of work each where there is enough of it."""
        low, high = BLOCKS_A_TASK
        length = min(max(-(-self.blocks // TASKS), low), high)
        return [range(b, min(b + length, self.blocks)) for b in range(0, self.blocks, length)]


def sweep(
    problem: Problem, workers: int = 1, block: int = BLOCK, progress: Progress | None = None,
    rule: BandRule | None = None, memory: Memory | None = None,
) -> Archive:
    """Rate every point of the grid.

    Parameters
    ----------
    problem : all its axes discrete.
    workers : number of processes; 1 stays in this one.
    block : largest number of points rated at once.
    progress : called with the number of points done and the number of all points.
    rule : of the band to keep, if one is wanted.
    memory : of the same sweep, cut into the same blocks; each task is a batch of it.

    Raises
    ------
    ValueError
        If an axis is continuous or a number makes no sense.
    """
    grid = Grid.of(problem.axes, block)
    tasks, memory = grid.tasks(), memory or Nothing()
    told = [(problem, grid, task, rule) for task in tasks[memory.kept :]]
    with closing(in_order(_rated, told, workers)) as parts:
        return _gathered(parts, memory, rule, grid, tasks, progress)


def layout(axes: tuple[Axis, ...]) -> str:
    """How a sweep is cut into tasks: what a memory of it must agree with."""
    grid = Grid.of(axes, BLOCK)
    return f"sweep of {' x '.join(map(str, grid.sizes))} cores in {len(grid.tasks())} tasks, blocks of {BLOCK}"


def _gathered(
    parts: Iterator[Archive], memory: Memory, rule: BandRule | None, grid: Grid, tasks: list[range],
    progress: Progress | None,
) -> Archive:
    """All tasks merged: those held from the memory, the others kept in it, without what those before rule out."""
    held, whole = memory.kept, None
    for number, task in enumerate(tasks):
        if number < held:
            part = archive_of_arrays(memory.recall(number), rule)
        else:
            part = next(parts) if whole is None else next(parts).thinned(Guard.of(whole))
            memory.keep(archive_to_arrays(part))
        whole = part if whole is None else merge(whole, part)
        if progress is not None:
            progress(grid.first_point(task.stop), grid.total)
    return whole or merge()


def _rated(problem: Problem, grid: Grid, task: range, rule: BandRule | None) -> Archive:
    """The archive of a run of blocks, merged after 1, 2, 4 .. blocks; each is screened by what came before."""
    archive = _block_archive(problem, grid, task.start, None, rule)
    done = 1
    while done < len(task):
        guard = Guard.of(archive)
        numbers = task[done : done + min(done, BLOCKS_A_MERGE)]
        archive = merge(archive, *(_block_archive(problem, grid, n, guard, rule) for n in numbers))
        done += len(numbers)
    return archive


def _block_archive(
    problem: Problem, grid: Grid, number: int, guard: Guard | None, rule: BandRule | None
) -> Archive:
    points, ordinals = grid.block(number)
    return Archive.from_block(points, ordinals, problem.evaluate(points), guard, rule)
