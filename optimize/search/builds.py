"""Builds: points of one choice in every discrete variable, and the places their continuous variables are at."""

from dataclasses import dataclass

import numpy as np

from optimize.search.climb import neighbourhood
from optimize.search.problem import Axis
from physics.arrays import Array


@dataclass(frozen=True)
class Builds:
    """Which columns of a point say its build, and which are moved."""

    axes: tuple[Axis, ...]

    @property
    def lists(self) -> list[int]:
        return [i for i, axis in enumerate(self.axes) if axis.discrete]

    @property
    def free(self) -> list[int]:
        return [i for i, axis in enumerate(self.axes) if not axis.discrete]

    @property
    def low(self) -> Array:
        return np.array([self.axes[i].low for i in self.free])

    @property
    def high(self) -> Array:
        return np.array([self.axes[i].high for i in self.free])

    def of(self, points: Array) -> Array:
        """The builds of points, (n, discrete axes)."""
        return points[:, self.lists]

    def points(self, builds: Array, places: Array) -> Array:
        """Points of builds (n, ...) at places (n, free axes), which are held inside their ranges."""
        made = np.empty((len(builds), len(self.axes)))
        made[:, self.lists] = builds
        made[:, self.free] = np.clip(places, self.low, self.high)
        return made

    def neighbours(self, builds: Array) -> Array:
        """Builds that differ from one of these in one or two variables, each once."""
        axes = tuple(self.axes[i] for i in self.lists)
        parts = list(neighbourhood(builds, axes))
        return np.unique(np.concatenate(parts), axis=0) if parts else builds[:0]
