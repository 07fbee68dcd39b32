"""How fast cores are rated: one process, the study's own space; timings live here, never in a test."""

from collections.abc import Iterator
from time import perf_counter

import numpy as np

from optimize.evaluate import CoreProblem
from optimize.search.sweep import Grid

_REPEATS = 50
_BLOCK = 16384


def measure(problem: CoreProblem, cores: int) -> Iterator[str]:
    """Lines of text: cores and ratings a second over blocks spread evenly through the space, and one core alone."""
    grid = Grid.of(problem.axes, _BLOCK)
    step = max(1, grid.blocks * (grid.total // grid.blocks) // max(cores, 1))
    seconds, rated = 0.0, 0
    for number in range(0, grid.blocks, step):
        points, _ = grid.block(number)
        start = perf_counter()
        problem.evaluate(points)
        seconds += perf_counter() - start
        rated += len(points)
    m = len(problem.duty.names)
    yield f"{rated:,} cores at {m} duty points in {seconds:.2f} s, one process"
    yield f"{rated / seconds:,.0f} cores/s   {rated * m / seconds:,.0f} ratings/s   {1e6 * seconds / rated:.2f} us/core"
    yield f"one core alone: {1e3 * _single(problem):.2f} ms"


def _single(problem: CoreProblem) -> float:
    point = np.zeros((1, len(problem.axes)))
    start = perf_counter()
    for _ in range(_REPEATS):
        problem.evaluate(point)
    return (perf_counter() - start) / _REPEATS
