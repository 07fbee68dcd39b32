"""How fast cores are rated: one process, the study's own space; timings live here, never in a test."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from time import perf_counter

import numpy as np

from optimize.evaluate import CoreProblem
from optimize.search.problem import Axis
from optimize.search.sweep import BLOCK, Grid
from physics.arrays import Array

_REPEATS, _BEST_OF = 50, 3


@dataclass(frozen=True)
class Rate:
    """Cores rated at `points` duty points in `seconds`; `single` [s] is one core alone."""

    cores: int
    points: int
    seconds: float
    single: float

    @property
    def cores_a_second(self) -> float:
        return self.cores / self.seconds

    @property
    def ratings_a_second(self) -> float:
        return self.cores * self.points / self.seconds


def measure(problem: CoreProblem, cores: int) -> Rate:
    """Time `CoreProblem.evaluate` over blocks spread evenly through the space, and over one core alone.

    The first block is rated once before: what a process does once is not counted. A continuous space is rated at
    random points instead, fin families mixed as an evolution mixes them.
    """
    seconds, rated = 0.0, 0
    problem.evaluate(next(_blocks(problem, cores)))
    for points in _blocks(problem, cores):
        start = perf_counter()
        problem.evaluate(points)
        seconds += perf_counter() - start
        rated += len(points)
    return Rate(rated, len(problem.duty.names), seconds, _single(problem))


def _blocks(problem: CoreProblem, cores: int) -> Iterator[Array]:
    """Points to rate, at least as many as asked for where the space has them."""
    if problem.space.size is None:
        yield random_points(problem.axes, cores, np.random.default_rng(0))
        return
    grid = Grid.of(problem.axes, BLOCK)
    step = max(1, grid.total // cores)
    for number in range(0, grid.blocks, step):
        yield grid.block(number)[0]


def random_points(axes: tuple[Axis, ...], count: int, random: np.random.Generator) -> Array:
    """Points (count, axes) anywhere in a space."""
    columns = [
        random.uniform(axis.low, axis.high, count) if axis.size is None
        else random.integers(0, axis.size, count).astype(float)
        for axis in axes
    ]
    return np.stack(columns, axis=1)


def _single(problem: CoreProblem) -> float:
    point = random_points(problem.axes, 1, np.random.default_rng(0))
    start = perf_counter()
    for _ in range(_REPEATS):
        problem.evaluate(point)
    return (perf_counter() - start) / _REPEATS


def best(call: Callable[[], object]) -> float:
    """Seconds of a call, the best of three."""
    times = []
    for _ in range(_BEST_OF):
        start = perf_counter()
        call()
        times.append(perf_counter() - start)
    return min(times)
