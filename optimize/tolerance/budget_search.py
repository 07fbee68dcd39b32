"""The cheapest factors on tolerances at which enough copies are good.

The cost is the reciprocal one, cost (1/factor - 1) for each tolerance tightened (Chase & Greenwood 1988, from memory).
At its least, a little cost buys as many good copies at each tolerance that is neither at 1 nor at its tightest:
cost/factor^2 = price x (good copies lost by a looser factor). That is solved for the factors again and again, the price
being the lowest at which enough copies are good.
"""

from collections.abc import Callable
from functools import cache

import numpy as np

from optimize.tolerance.budget_surface import Surface
from physics.arrays import Array, BoolArray

FLOOR = 0.3  # the tightest factor, unless another is asked for
_NOTCH = 0.9
_ROUNDS = 25
_STEP = 0.01  # share by which a factor is moved to see what it does
_NEAR = 200  # copies nearest to the edge between good and bad, by which a factor's effect is judged
_HALVINGS = 14
_GRAIN = 3  # decimals of a factor, rounded down

Column = Callable[[int, float], Array]


def cost_of(factors: Array, costs: Array) -> float:
    """What the tightening costs; loosening costs nothing and earns nothing.

    >>> cost_of(np.array([0.5, 1.0, 2.0]), np.array([3.0, 1.0, 1.0]))
    3.0
    """
    return float(np.sum(costs * np.maximum(1 / factors - 1, 0.0)))


class Search:
    """Counts of good copies by a surface, at any factors; `column(i, factor)` (n,) is what is made of tolerance i."""

    def __init__(self, surface: Surface, column: Column, costs: Array, floor: float = FLOOR) -> None:
        self.surface, self.costs, self.floor = surface, costs, floor
        self._column = cache(column)

    @property
    def tightest(self) -> Array:
        """All tolerances as tight as they may be."""
        return np.full(len(self.costs), self.floor)

    def spare(self, factors: Array) -> Array:
        """What each copy has to spare at some factors (n,), as `Surface.spare`."""
        return self.surface.spare(np.column_stack([self._column(i, float(s)) for i, s in enumerate(factors)]))

    def good(self, factors: Array) -> BoolArray:
        """Which copies meet everything (n,)."""
        return np.asarray(self.spare(factors) >= 0)

    def passed(self, factors: Array) -> int:
        """How many do."""
        return int(np.count_nonzero(self.good(factors)))

    def cheapest(self, needed: int) -> Array | None:
        """Factors `floor` .. 1 at the least cost found for `needed` good copies; None where no such were found."""
        s = self._alike(needed)
        if s is None or np.all(s == 1):
            return s
        best = s
        for _ in range(_ROUNDS):
            s = self._balanced(s, needed)
            if cost_of(s, self.costs) >= cost_of(best, self.costs) * (1 - 1e-4):
                break
            best = s
        loose = self._loosened(best, needed)
        down = np.where(loose < 1, np.maximum(_rounded_down(loose), self.floor), loose)
        return down if self.passed(down) >= needed else loose

    def eased(self, factors: Array) -> Array:
        """With every tolerance back at 1 that makes no copy good by being tighter, the dearest first."""
        s = factors
        for i in np.argsort(-self.costs, kind="stable"):
            if self.passed(_with(s, int(i), 1.0)) >= self.passed(s):
                s = _with(s, int(i), 1.0)
        return s

    def _alike(self, needed: int) -> Array | None:
        """The same factor on every tolerance, the loosest notch with enough good copies."""
        factor = 1.0
        while True:
            s = np.full(len(self.costs), factor)
            if self.passed(s) >= needed:
                return s
            if factor <= self.floor:
                return None
            factor = max(factor * _NOTCH, self.floor)

    def _balanced(self, factors: Array, needed: int) -> Array:
        """Factors that pay alike, at the lowest price with enough good copies; unchanged where none has them.

        The effect of a factor is taken as proportional to it: that of a share in a variance.
        """
        effect = self._effects(factors) / factors
        with np.errstate(divide="ignore", invalid="ignore"):
            free = np.where(effect > 0, np.cbrt(self.costs / effect), np.inf)

        def at(price: float) -> Array:
            return np.asarray(np.clip(free / np.exp(price / 3), self.floor, 1.0))

        moving = np.log(free[np.isfinite(free) & (free > 0)])
        if not moving.size:
            return factors
        low, high = 3 * np.min(moving) - 1, 3 * (np.max(moving) - np.log(self.floor)) + 1
        if self.passed(at(high)) < needed:
            return factors
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            low, high = (low, middle) if self.passed(at(middle)) >= needed else (middle, high)
        return at(high)

    def _effects(self, factors: Array) -> Array:
        """What copies at the edge lose to spare by a looser factor of each tolerance (d,), for a factor 1 looser."""
        edge = np.argsort(np.abs(self.spare(factors)), kind="stable")[:_NEAR]
        effects = np.empty(len(factors))
        for i, s in enumerate(factors):
            down, up = s * (1 - _STEP), s * (1 + _STEP)
            lost = self.spare(_with(factors, i, down))[edge] - self.spare(_with(factors, i, up))[edge]
            effects[i] = np.mean(lost) / (up - down)
        return effects

    def _loosened(self, factors: Array, needed: int) -> Array:
        """Each tolerance in turn as far as it goes, those first that save most."""
        s = factors
        for i in np.argsort(-self.costs * (1 / s - 1), kind="stable"):
            s = self._as_loose(s, int(i), needed)
        return s

    def _as_loose(self, factors: Array, i: int, needed: int) -> Array:
        """The loosest factor up to 1 of one tolerance with enough good copies, by halving what is not known."""
        if factors[i] >= 1 or self.passed(_with(factors, i, 1.0)) >= needed:
            return _with(factors, i, 1.0)
        good, bad = float(factors[i]), 1.0
        for _ in range(_HALVINGS):
            middle = (good + bad) / 2
            good, bad = (middle, bad) if self.passed(_with(factors, i, middle)) >= needed else (good, middle)
        return _with(factors, i, good)


def _rounded_down(factors: Array) -> Array:
    return np.asarray(np.round(np.floor(factors * 10**_GRAIN) / 10**_GRAIN, _GRAIN))


def _with(factors: Array, i: int, value: float) -> Array:
    changed = factors.copy()
    changed[i] = value
    return changed
