"""A front of builds made denser, or thinner: new points between its points, beyond its ends and around them."""

import numpy as np

from optimize.pareto import contributions, hypervolume
from optimize.search.builds import Builds
from optimize.search.rows import Rows
from physics.arrays import Array, IntArray

BEYOND = 6  # points tried beyond each end of a build
THINNINGS = 20
_BETWEEN = (0.3, 0.7)  # of the way from one point of the front to the next
_REACH = (-6.0, -1.0)  # of moves around a point, as powers of ten of the range
_MARGIN = 0.1  # of the front's width, from its worst values to the corner its hypervolume is measured to


def between(
    front: Rows, builds: Builds, corner: Array, most: int, least: float, random: np.random.Generator
) -> Array:
    """Points between neighbours on one build, where the middles would add most, were the front straight there.

    At most so many, and where they would add at least that share of the box up to the corner. Mostly near the middle;
    every fourth anywhere, for a limit may stand between the two.
    """
    points, objectives = in_builds(front, builds)
    pairs = _neighbours(builds.of(points), len(builds.free))
    scaled = _scaled(objectives, corner)
    middles = scaled[pairs].mean(axis=1)
    gain = contributions(np.concatenate([scaled, middles]), np.ones(len(corner)))[len(scaled) :]
    best = np.argsort(-gain, kind="stable")[:most]
    first, second = pairs[best[gain[best] > least]].T
    share = random.uniform(*_BETWEEN, (len(first), 1))
    share[::4] = random.random((len(share[::4]), 1))
    places = builds.places(points)
    return builds.points(builds.of(points)[first], places[first] + share * (places[second] - places[first]))


def beyond(front: Rows, builds: Builds, random: np.random.Generator) -> Array:
    """Points beyond both ends of each build, away from their neighbours on it: a limit may stand just there."""
    points, _ = in_builds(front, builds)
    changes = np.any(np.diff(builds.of(points), axis=0) != 0, axis=1)
    first, last = np.flatnonzero(np.append(True, changes)), np.flatnonzero(np.append(changes, True))
    ends = np.repeat(np.concatenate([first, last]), BEYOND)
    inner = np.repeat(np.concatenate([np.minimum(first + 1, last), np.maximum(last - 1, first)]), BEYOND)
    places = builds.places(points)
    away: Array = (places[ends] - places[inner]) / builds.ranges
    length = np.max(np.abs(away), axis=1, keepdims=True)
    away = np.where(length > 0.0, away / np.where(length > 0.0, length, 1.0), random.uniform(-1.0, 1.0, away.shape))
    reach = 10.0 ** random.uniform(*_REACH, (len(ends), 1))
    return builds.points(builds.of(points)[ends], places[ends] + reach * away * builds.ranges)


def around(front: Rows, builds: Builds, count: int, random: np.random.Generator) -> Array:
    """Points a little or a long way from points of the front, each in a direction of its own."""
    points = front.points[random.integers(len(front), size=count)]
    reach = 10.0 ** random.uniform(*_REACH, (count, 1))
    moves = reach * random.uniform(-1.0, 1.0, (count, len(builds.free)))
    return builds.points(builds.of(points), builds.places(points) + moves * builds.ranges)


def in_builds(front: Rows, builds: Builds) -> tuple[Array, Array]:
    """Points and objectives of a front by build, then along it."""
    order = np.lexsort((*front.objectives.T[::-1], *builds.of(front.points).T[::-1]))
    return front.points[order], front.objectives[order]


def _neighbours(builds: Array, free: int) -> IntArray:
    """Positions of neighbours of one build, (n, 2); with several free variables of those further on, too."""
    n = len(builds)
    steps = range(1, min(free + 1, n))
    pairs = [np.column_stack([np.arange(n - step), np.arange(step, n)]) for step in steps]
    found = np.concatenate([np.empty((0, 2), dtype=np.int64), *pairs])
    return np.asarray(found[np.all(builds[found[:, 0]] == builds[found[:, 1]], axis=1)])


def width_of(front: Array) -> Array:
    """How far a front reaches in each objective; where it does not, the size of its values."""
    width: Array = np.ptp(front, axis=0)
    return np.where(width > 0.0, width, np.maximum(np.abs(front[0]), 1e-300))


def corner_of(front: Array) -> Array:
    """The corner that hypervolumes of a front are measured to."""
    return np.asarray(front.max(axis=0) + _MARGIN * width_of(front))


def volume(front: Array, corner: Array) -> float:
    """Hypervolume up to a corner beyond the best values of the front, in the units of the objectives."""
    box = float(np.prod(corner - front.min(axis=0)))
    return box * hypervolume(_scaled(front, corner), np.ones(len(corner)))


def _scaled(front: Array, corner: Array) -> Array:
    """0 at the front's best values, 1 at the corner."""
    ideal = front.min(axis=0)
    return np.asarray((front - ideal) / (corner - ideal))


def thinned(front: Rows, loss: float) -> Rows:
    """A front without the points that add least, as many as cost it at most that share of its hypervolume.

    Every other one of them at a time: of two that stand in for each other one stays.
    """
    if len(front) < 2:
        return front
    corner = corner_of(front.objectives)
    scaled, ones = _scaled(front.objectives, corner), np.ones(len(corner))
    whole, kept = hypervolume(scaled, ones), np.arange(len(front))
    for turn in range(THINNINGS):
        alone = contributions(scaled[kept], ones)
        order = np.argsort(alone, kind="stable")
        least = order[: int(np.searchsorted(np.cumsum(alone[order]), loss * whole / 10))]
        fewer = np.delete(kept, np.sort(least)[turn % 2 :: 2])
        if hypervolume(scaled[fewer], ones) < (1.0 - loss) * whole:
            break
        kept = fewer
    return front.take(kept)
