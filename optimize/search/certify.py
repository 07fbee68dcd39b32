"""The certified front as a search: exact over every point of a grid, with counts and samples of points drawn evenly."""

from dataclasses import replace

import numpy as np

from optimize.search.archive import Archive, merge
from optimize.search.branch import BOXES, Bounded, Progress, certified, rounds
from optimize.search.memory import Memory, Nothing, archive_of_arrays, archive_to_arrays
from optimize.search.rows import read_only
from optimize.search.sweep import BLOCK, Grid
from physics.arrays import Array, IntArray

DRAWN = 16_384  # points that counts and samples are of


def certify(
    problem: Bounded, seed: int = 0, workers: int = 1, block: int = BOXES, progress: Progress | None = None,
    memory: Memory | None = None, start: Array | None = None,
) -> Archive:
    """The front a sweep would find, without rating what cannot be on it.

    Counts, samples and misses are those of DRAWN points drawn evenly (all, where there are no more), `seed` says which;
    the layers behind the front are not known. The other parameters are those of
    `optimize.search.branch.certified`; the points drawn are the last batch of the memory.

    Raises
    ------
    ValueError
        If an axis is continuous.
    """
    memory = memory or Nothing()
    found = certified(problem, workers, block, progress, memory, start)
    last = len(rounds(problem, block))
    if memory.kept > last:
        drawn = archive_of_arrays(memory.recall(last), None)
    else:
        drawn = _archive(problem, drawn_evenly(problem, seed))
        memory.keep(archive_to_arrays(drawn))
    kept = found.front.take(np.lexsort(found.front.objectives.T[::-1]))
    return replace(drawn, kept=kept, layer=read_only(np.ones(len(kept), dtype=np.int64)), proof=found.proof)


def plan(problem: Bounded) -> str:
    """How a certified search is cut into rounds: what a memory of it must agree with."""
    sizes = " x ".join(str(axis.size) for axis in problem.axes)
    return f"certified front of {sizes} cores in {len(rounds(problem))} rounds, blocks of {BOXES} boxes"


def drawn_evenly(problem: Bounded, seed: int) -> IntArray:
    """Ordinal numbers, ascending, each once."""
    total = Grid.of(problem.axes, BLOCK).total
    if total <= DRAWN:
        return np.arange(total)
    return np.unique(np.random.default_rng(seed).integers(0, total, DRAWN))


def _archive(problem: Bounded, ordinals: IntArray) -> Archive:
    grid = Grid.of(problem.axes, BLOCK)
    blocks = [ordinals[start : start + BLOCK] for start in range(0, len(ordinals), BLOCK)]
    parts = [(grid.points(block), block) for block in blocks]
    return merge(*(Archive.from_block(points, block, problem.evaluate(points)) for points, block in parts))
