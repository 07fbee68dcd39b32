"""A front of builds made denser, or thinner: new points between its points, beyond its ends and around them."""

import numpy as np

from optimize.pareto import contributions, hypervolume
from optimize.search.builds import Builds
from optimize.search.rows import Rows
from physics.arrays import Array, IntArray

NOTHING = 1e-12  # of the box up to the corner
BEYOND = 12  # points tried beyond each end of a build, and half of them anywhere around it
THINNINGS = 20
_BETWEEN = (0.3, 0.7)  # of the way from one point of the front to the next
_FAR = 8  # powers of two: points of a build to the one from which its end is left behind
_REACH = (-6.0, -1.0)  # of moves around a point, as powers of ten of the range
_NEAR, _PARENTS = 8, 6  # places along the front from which points are taken together, and how many of them
_SHARE = (0.2, 1.0)  # of a difference
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
    """Points beyond both ends of each build, away from points near and far on it: a limit may stand just there.

    Along an edge where limits meet only the far ones tell the direction: near ones differ most in how close they came.
    Where another limit ends that edge the front goes on around a corner: every other point is in any direction.
    """
    points, _ = in_builds(front, builds)
    changes = np.any(np.diff(builds.of(points), axis=0) != 0, axis=1)
    first, last = np.flatnonzero(np.append(True, changes)), np.flatnonzero(np.append(changes, True))
    steps = 2 ** random.integers(_FAR, size=(2, len(first), BEYOND))
    inner = np.concatenate([
        np.minimum(first[:, None] + steps[0], last[:, None]), np.maximum(last[:, None] - steps[1], first[:, None]),
    ]).reshape(-1)
    ends = np.repeat(np.concatenate([first, last]), BEYOND)
    places = builds.places(points)
    away: Array = (places[ends] - places[inner]) / builds.ranges
    length = np.max(np.abs(away), axis=1, keepdims=True)
    known = (length > 0.0) & (np.arange(len(ends)) % 2 == 0)[:, None]
    away = np.where(known, away / np.where(known, length, 1.0), random.uniform(-1.0, 1.0, away.shape))
    reach = 10.0 ** random.uniform(*_REACH, (len(ends), 1))
    return builds.points(builds.of(points)[ends], places[ends] + reach * away * builds.ranges)


def around(front: Rows, builds: Builds, count: int, random: np.random.Generator) -> Array:
    """Points a little or a long way from points of the front, each in a direction of its own."""
    points = front.points[random.integers(len(front), size=count)]
    reach = 10.0 ** random.uniform(*_REACH, (count, 1))
    moves = reach * random.uniform(-1.0, 1.0, (count, len(builds.free)))
    return builds.points(builds.of(points), builds.places(points) + moves * builds.ranges)


def across(front: Rows, builds: Builds, corner: Array, count: int, random: np.random.Generator) -> Array:
    """Points for several free variables to suit one another: half of them means of points near each other on one build,
    half points moved by the differences of such.

    Where the front is poor, and its points few, they are chosen more often: every other by what it alone adds.
    In what the points near a front still differ across it they are off it: means are less so, and the moves shrink
    with it. With one free variable there is no across, and no such point.

    Sources: H.-G. Beyer, The theory of evolution strategies, 2001 (recombination repairs); R. Storn, K. Price,
    Differential evolution, J. Global Optimization 11 (1997) 341-359 (both from memory).
    """
    points, objectives = in_builds(front, builds)
    if len(builds.free) < 2:
        return points[:0]
    n, names, places = len(points), builds.of(points), builds.places(points)
    alone = contributions(_scaled(objectives, corner), np.ones(len(corner))) + NOTHING
    own = np.where(
        random.random(count) < 0.5, random.integers(n, size=count), random.choice(n, count, p=alone / alone.sum())
    )[:, None]
    near = np.clip(own + random.integers(-_NEAR, _NEAR + 1, (count, _PARENTS)), 0, n - 1)
    near = np.where(np.all(names[near] == names[own], axis=2), near, own)
    weights = random.exponential(size=(count, _PARENTS, 1))
    made = np.sum(weights / weights.sum(axis=1, keepdims=True) * places[near], axis=1)
    share = random.uniform(*_SHARE, (count, len(builds.free)))
    moved = places[own[:, 0]] + share * (places[near[:, 0]] - places[near[:, 1]])
    made[::2] = moved[::2]
    return builds.points(names[own[:, 0]], made)


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
