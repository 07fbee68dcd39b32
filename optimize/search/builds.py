"""Builds: choices of every discrete variable of a search, whose continuous variables are free to move."""

from dataclasses import dataclass

import numpy as np

from optimize.search.archive import shortfall
from optimize.search.climb import neighbourhood
from optimize.search.problem import Axis
from optimize.search.rows import Rows
from physics.arrays import Array, IntArray


@dataclass(frozen=True)
class Builds:
    """Which columns of a point say its build, and which are moved.

    >>> builds = Builds((Axis("fin", size=3), Axis("thickness", low=0.04, high=0.09), Axis("port", size=2)))
    >>> builds.of(np.array([[2.0, 0.05, 1.0]])), builds.free, builds.points(np.array([[2.0, 1.0]]), np.array([[0.1]]))
    (array([[2., 1.]]), [1], array([[2.  , 0.09, 1.  ]]))
    """

    axes: tuple[Axis, ...]

    @property
    def lists(self) -> list[int]:
        """Columns of the discrete axes."""
        return [i for i, axis in enumerate(self.axes) if axis.discrete]

    @property
    def free(self) -> list[int]:
        """Columns of the continuous axes."""
        return [i for i, axis in enumerate(self.axes) if not axis.discrete]

    @property
    def low(self) -> Array:
        return np.array([self.axes[i].low for i in self.free])

    @property
    def high(self) -> Array:
        return np.array([self.axes[i].high for i in self.free])

    @property
    def ranges(self) -> Array:
        """Lengths of the continuous axes."""
        return self.high - self.low

    def of(self, points: Array) -> Array:
        """The builds of points, (n, discrete axes)."""
        return points[:, self.lists]

    def each(self, points: Array) -> tuple[Array, IntArray]:
        """The builds of some points, each once, and which is the build of each point (n,)."""
        found, which = np.unique(self.of(points), axis=0, return_inverse=True)
        return found, which.reshape(-1)

    def places(self, points: Array) -> Array:
        """The continuous variables of points, (n, free axes)."""
        return points[:, self.free]

    def points(self, builds: Array, places: Array) -> Array:
        """Points of builds (n, ...) at places (n, free axes), which are held inside their ranges."""
        made = np.empty((len(builds), len(self.axes)))
        made[:, self.lists] = builds
        made[:, self.free] = np.clip(places, self.low, self.high)
        return made

    def spread(self, count: int, size: int, random: np.random.Generator) -> Array:
        """Places (count, size, free axes): for each of `count` builds one in each of `size` parts of every range."""
        strata = np.argsort(random.random((count, size, len(self.free))), axis=1)
        return np.asarray(self.low + (strata + random.random(strata.shape)) / size * self.ranges)

    def neighbours(self, builds: Array) -> Array:
        """Builds that differ from one of these in one or two variables, each once."""
        parts = list(neighbourhood(builds, tuple(self.axes[i] for i in self.lists)))
        return np.unique(np.concatenate(parts), axis=0) if parts else builds[:0]


def missing(rows: Rows) -> Array:
    """What points miss of the requirements (n,); 0 where they keep all, infinite where that cannot be told."""
    short = shortfall(rows.margins)
    sound = np.isfinite(short) & np.all(np.isfinite(rows.objectives), axis=1)
    return np.where(sound, short, np.inf)


def rivals(rows: Rows, count: int, hair: Array) -> IntArray:
    """For each of `count` builds, seen at the same places one after the other: one never worse than it; else -1.

    Of two never a hair (k,) better than one another the one with the smaller tie columns is the rival of the other.
    """
    kept = (missing(rows) == 0.0)[:, None]
    values = np.where(kept, np.round(rows.objectives / hair), np.inf).reshape(count, -1)
    ties = np.where(kept, rows.tie, 0.0).reshape(count, -1, rows.tie.shape[1]).sum(axis=1)
    ranks = np.argsort(np.lexsort(ties.T[::-1])) if ties.shape[1] else np.arange(count)
    rival = np.full(count, -1)
    for build, value in enumerate(values):
        better = np.all(values <= value, axis=1) & ((ranks < ranks[build]) | np.any(values < value, axis=1))
        if np.any(better):
            found = np.flatnonzero(better)
            rival[build] = found[np.argmin(ranks[found])]
    return rival
