"""How near points are to a front: what they miss, how deep they lie behind it, which stand in for one another."""

import numpy as np

from optimize.pareto import Screen, contributions, hypervolume, nondominated, unique_front
from optimize.search.archive import shortfall
from optimize.search.rows import Rows
from physics.arrays import Array, BoolArray, IntArray

THINNINGS = 20
_MARGIN = 0.1  # of the front's width, from its worst values to the corner its hypervolume is measured to


def rivals_of(rows: Rows, count: int, hair: Array) -> IntArray:
    """For each of `count` builds, seen at the same places one after the other: one never worse than it; else -1.

    Of two never better than one another the one with the smaller tie columns is the rival of the other.
    """
    kept = (missed(rows) == 0.0)[:, None]
    values = np.where(kept, np.round(rows.objectives / hair), np.inf).reshape(count, -1)
    ties = np.where(kept, rows.tie, 0.0).reshape(count, len(rows) // count, rows.tie.shape[1]).sum(axis=1)
    ranks = np.argsort(np.lexsort(ties.T[::-1])) if ties.shape[1] else np.arange(count)
    rival = np.full(count, -1)
    for build, value in enumerate(values):
        as_good = np.all(values <= value, axis=1)
        better = as_good & ((ranks < ranks[build]) | np.any(values < value, axis=1))
        if np.any(better):
            found = np.flatnonzero(better)
            rival[build] = found[np.argmin(ranks[found])]
    return rival


def missed(rows: Rows) -> Array:
    """What points miss of the requirements; 0 where they keep all, infinite where that cannot be told."""
    missing = shortfall(rows.margins)
    sound = np.isfinite(missing) & np.all(np.isfinite(rows.objectives), axis=1)
    return np.where(sound, missing, np.inf)


def front_of_rows(rows: Rows, hair: Array | None) -> Rows:
    """The front of some rows, sorted by their objectives; of those a hair apart one, by the tie columns."""
    if not len(rows) or hair is None:
        return rows
    about = np.round(rows.objectives / hair) * hair
    index = np.flatnonzero(nondominated(about))
    index = index[unique_front(about[index], rows.tie[index])]
    return rows.take(index[np.lexsort(rows.objectives[index].T[::-1])])


def thinned(front: Rows, loss: float) -> Rows:
    """A front without the points that add least, as many as cost it at most that share of its hypervolume.

    Every other one of them at a time: of two that stand in for each other one stays.
    """
    if len(front) < 2:
        return front
    corner, ideal = corner_of(front.objectives), front.objectives.min(axis=0)
    scaled, ones = (front.objectives - ideal) / (corner - ideal), np.ones(len(corner))
    whole, kept = hypervolume(scaled, ones), np.arange(len(front))
    for turn in range(THINNINGS):
        alone = contributions(scaled[kept], ones)
        order = np.argsort(alone, kind="stable")
        least = order[: int(np.searchsorted(np.cumsum(alone[order]), loss * whole / 10))]
        fewer = np.delete(kept, np.sort(least)[turn % 2 :: 2])
        if hypervolume(scaled[fewer], ones) < (1 - loss) * whole:
            break
        kept = fewer
    return front.take(kept)


def width_of(front: Array) -> Array:
    """How far a front reaches in each objective; of one that does not, the size of its values."""
    width = np.ptp(front, axis=0)
    return np.asarray(np.where(width > 0.0, width, np.maximum(np.abs(front[0]), 1e-300)))


def corner_of(front: Array) -> Array:
    """The corner that hypervolumes of a front are measured to."""
    return np.asarray(front.max(axis=0) + _MARGIN * width_of(front))


def depth_behind(objectives: Array, anchors: Array, width: Array) -> Array:
    """How far a point must be moved in all objectives at once to be beaten by no anchor; 0 on the front."""
    depth = np.zeros(len(objectives))
    deep = np.flatnonzero(_dominated(objectives, anchors))
    for anchor in anchors:
        depth[deep] = np.maximum(depth[deep], np.min((objectives[deep] - anchor) / width, axis=1))
    return depth


def _dominated(objectives: Array, anchors: Array) -> BoolArray:
    """Whether a quick test shows an anchor to be better."""
    mask = np.ones(len(objectives), dtype=bool)
    mask[Screen.of(anchors).passing(objectives)] = False
    return mask
