"""How time and memory grow with the number of designs, copies and duty points; two workers against one."""

import tracemalloc
from collections.abc import Callable
from dataclasses import dataclass, replace
from math import ceil
from time import perf_counter

import numpy as np

from optimize.benchmark.rates import best, random_points
from optimize.evaluate import CoreProblem
from optimize.search.sweep import sweep
from optimize.study.model import Variable
from optimize.tolerance.copies import SHOP, copies
from optimize.tolerance.draws import Draws
from physics.arrays import Array
from physics.rating import rate

POINTS = (1, 2, 4, 8, 16)  # times the study's own duty points


@dataclass(frozen=True)
class Growth:
    """What grew with what: `sizes` and `values`, (s,)."""

    of: str
    unit: str
    over: str
    sizes: Array
    values: Array

    @property
    def slope(self) -> float:
        """Of the logarithms, by least squares over all sizes."""
        return log_slope(self.sizes, self.values)

    @property
    def last_slope(self) -> float:
        """Of the logarithms between the two largest sizes."""
        return log_slope(self.sizes[-2:], self.values[-2:])


def log_slope(sizes: Array, values: Array) -> float:
    """Exponent n of values ~ sizes^n, least squares in the logarithms.

    >>> round(log_slope(np.array([1.0, 2.0, 4.0]), np.array([3.0, 12.0, 48.0])), 12)
    2.0
    """
    return float(np.polyfit(np.log(sizes), np.log(values), 1)[0])


def doublings(largest: int, count: int = 6) -> list[int]:
    """Sizes up to the largest, each twice the one before.

    >>> doublings(800, 3)
    [200, 400, 800]
    """
    return sorted({max(1, largest // 2**i) for i in range(count)})


def over_designs(problem: CoreProblem, largest: int) -> Growth:
    """Time of one call of `CoreProblem.evaluate` over the number of designs in it, fin families mixed."""
    points, sizes = random_points(problem.axes, largest, np.random.default_rng(0)), doublings(largest)
    times = [best(lambda n=n: problem.evaluate(points[:n])) for n in sizes]  # type: ignore[misc]
    return Growth("time", "s", "designs in one call", np.array(sizes, float), np.array(times))


def over_copies(problem: CoreProblem, largest: int) -> Growth:
    """Time of the copies of one core over their number: drawn, made, rated, judged."""
    core, sizes = problem.space.core(_computable(problem)), doublings(largest)
    times = [best(lambda n=n: copies(problem, [core], Draws(problem.study, n), SHOP)) for n in sizes]  # type: ignore[misc]
    return Growth("time", "s", "copies of a core", np.array(sizes, float), np.array(times))


def _computable(problem: CoreProblem) -> Array:
    """The first of some random points that can be rated."""
    points = random_points(problem.axes, 256, np.random.default_rng(0))
    good = np.all(np.isfinite(problem.evaluate(points).objectives), axis=1)
    return np.asarray(points[int(np.argmax(good))])


def over_duty_points(problem: CoreProblem, cores: int) -> Growth | None:
    """Time of one rating of a batch over the number of duty points; None where the study leaves some of them open."""
    if problem.around.closes:
        return None
    points, m = random_points(problem.axes, cores, np.random.default_rng(0)), len(problem.duty.names)
    batches = [batch.designs for batch in problem.space.batches(points)]
    times = []
    for times_over in POINTS:
        duty = problem.duty.at(np.tile(np.arange(m), times_over))
        times.append(best(lambda duty=duty: [rate(designs, duty, None, problem.envelope) for designs in batches]))  # type: ignore[misc]
    return Growth("time", "s", "duty points", m * np.array(POINTS, float), np.array(times))


def memory_of_a_call(problem: CoreProblem, largest: int) -> Growth:
    """Most memory in use above idle during one call of `CoreProblem.evaluate`, over its designs."""
    points, sizes = random_points(problem.axes, largest, np.random.default_rng(0)), doublings(largest)
    peaks = [_peak(lambda n=n: problem.evaluate(points[:n])) for n in sizes]  # type: ignore[misc]
    return Growth("memory", "MB", "designs in one call", np.array(sizes, float), np.array(peaks))


def memory_of_a_sweep(problem: CoreProblem, largest: int) -> Growth | None:
    """Most memory above idle during a sweep, over the size of the space; None where it cannot be made finer."""
    found = [space for n in doublings(largest, 3) if (space := finer(problem, n)) is not None]
    spaces = {space.space.size or 0: space for space in found}
    if len(spaces) < 2:
        return None
    sweep(next(iter(spaces.values())))  # loads what it needs
    peaks = [_peak(lambda space=space: sweep(space)) for space in spaces.values()]  # type: ignore[misc]
    sizes = [float(size) for size in spaces]
    return Growth("memory", "MB", "designs of a sweep", np.array(sizes), np.array(peaks))


def _peak(call: Callable[[], object]) -> float:
    """Most that Python and NumPy hold during a call above what they held before [MB]."""
    tracemalloc.start()
    try:
        before = tracemalloc.get_traced_memory()[0]
        tracemalloc.reset_peak()
        call()
        return (tracemalloc.get_traced_memory()[1] - before) / 1e6
    finally:
        tracemalloc.stop()


def finer(problem: CoreProblem, designs: int) -> CoreProblem | None:
    """The same study with as many steps of its core thickness that the space has about so many designs.

    None where the thickness is fixed or the space continuous.
    """
    size, name = problem.space.size, "core.thickness"
    own = problem.study.variables[name]
    if size is None or own.is_fixed:
        return None
    low, high = float(min(own.values)), float(max(own.values))
    steps = max(2, ceil(designs / (size // len(own.values))))
    values = tuple(np.linspace(low, high, steps).tolist())
    changed = Variable(name, values, None, None, own.tolerance)
    return CoreProblem(replace(problem.study, variables=problem.study.variables | {name: changed}))


@dataclass(frozen=True)
class Workers:
    """Seconds of the same sweep with one worker and with more, and whether both found the same."""

    designs: int
    workers: int
    one: float
    more: float
    same: bool

    @property
    def gain(self) -> float:
        return self.one / self.more


def workers_against_one(problem: CoreProblem, designs: int, workers: int) -> Workers | None:
    """A sweep of about so many designs, once in this process and once in several; None where `finer` has none."""
    space = finer(problem, designs)
    if space is None:
        return None
    start = perf_counter()
    alone = sweep(space)
    middle = perf_counter()
    together = sweep(space, workers)
    end = perf_counter()
    same = np.array_equal(alone.front.objectives, together.front.objectives) and alone.rated == together.rated
    return Workers(space.space.size or 0, workers, middle - start, end - middle, same)
