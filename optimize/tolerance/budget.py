"""The tolerance budget of a core: the cheapest tightening that reaches a wanted share, and what may be looser for free.

Searched on a response surface of the margins, then verified by rating copies at those tolerances.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from optimize.evaluate import CoreProblem
from optimize.space import Parameters
from optimize.tolerance.budget_search import FLOOR, Column, Search, cost_of
from optimize.tolerance.budget_surface import fit
from optimize.tolerance.copies import SHOP, copies
from optimize.tolerance.draws import Draws
from optimize.tolerance.intervals import looks, share_interval
from optimize.tolerance.laws import manufactured, tightened, widest
from optimize.tolerance.yields import Share, share_of
from physics.arrays import Array, BoolArray

LOOSER = (1.25, 1.5, 2.0, 3.0)  # factors tried for what may be relaxed
_DRAWS = 4096
_MOST_DRAWS = 16_384
_HARDLY_ANY = 1 / 2000  # of the copies may turn bad by a tolerance that may be looser
_ROUNDS = 12  # of tightening on, after the surface promised more than the rating kept

Margins = Callable[[Array], Array]


@dataclass(frozen=True)
class Shop:
    """What a budget is made of: d tolerances, their costs, and copies at any factors on them.

    `column(i, factor)` (n,): what is made of tolerance i; `searched(factors)` (n, q): margins of those same copies;
    `verified(factors)` (m, q): margins of copies drawn apart from them. NaN margins: a copy without numbers.
    `most` (d,): no tolerance may be as wide as that factor makes it.
    """

    names: tuple[str, ...]
    costs: Array
    most: Array
    column: Column
    searched: Margins
    verified: Margins


@dataclass(frozen=True)
class Budget:
    """Factors on the tolerances of a core, every share of them from rated copies.

    The same copies verify one try after the other, so the intervals of `after` and `together` are those of several
    looks: wide enough for all tries at once.

    Attributes
    ----------
    names, costs : (d,) tolerances, and what halving each costs.
    wanted : share of copies to meet every requirement, at the lower end of the interval.
    before : share at the tolerances as they are.
    tightened, after, cost : (d,) cheapest factors found, the share and cost there; where the share is not
        `reachable`, the better of the tightest tolerances tried and those as they are.
    relaxed_alone : (d,) loosest factor of each tolerance, all others as they are, that keeps the wanted share or, where
        that is not met now, does not lower the share: of the same draws hardly any turn bad, or surely more turn good.
    relaxed_together, together : (d,) the same for all at once, and the share then.
    fit_error : share of copies that the surface judges otherwise than the rating.
    lost : copies without numbers at the tolerances as they are; they count as failed.
    """

    names: tuple[str, ...]
    costs: Array
    wanted: float
    before: Share
    tightened: Array
    after: Share
    cost: float
    reachable: bool
    relaxed_alone: Array
    relaxed_together: Array
    together: Share
    fit_error: float
    lost: int


def budget(
    problem: CoreProblem, choices: Parameters, draws: Draws | None, wanted: float, confidence: float,
    floor: float = FLOOR,
) -> Budget:
    """Budget of one core (columns of one value); `draws` verify it, None for as many as the share needs.

    No tolerance is tightened below `floor` times what it is.

    Raises ValueError where not even a core without a bad copy could show the share with so few draws.
    """
    tolerances = problem.space.tolerances(choices)
    nominal = problem.space.batch(choices, np.zeros(1, dtype=np.int64)).parameters
    names, laws = tuple(tolerances), tuple(tolerances.values())
    checked = Draws(problem.study, enough_draws(wanted, confidence)) if draws is None else draws
    searched = Draws(problem.study, max(checked.count, _DRAWS), "pilot")

    def column(i: int, factor: float) -> Array:
        u = searched["shop", names[i]]
        return manufactured(names[i], float(nominal[names[i]][0]), tightened(laws[i], factor), u)

    def margins(some: Draws, factors: Array) -> Array:
        own = {name: tightened(law, float(s)) for name, law, s in zip(names, laws, factors, strict=True)}
        return copies(problem, [choices], some, SHOP, own)[0].margins

    costs = np.array([law.tighten_cost for law in laws], dtype=float)
    most = np.array([widest(n, float(nominal[n][0]), law) for n, law in tolerances.items()])
    shop = Shop(names, costs, most, column, lambda s: margins(searched, s), lambda s: margins(checked, s))
    return planned(shop, wanted, confidence, floor)


def enough_draws(wanted: float, confidence: float) -> int:
    """Draws, a power of two, that show a share a little above the wanted one to be so.

    >>> enough_draws(0.99, 0.95), enough_draws(0.999, 0.95)
    (4096, 16384)
    """
    sure = looks(confidence, _ROUNDS)
    least = next(n for n in (1 << k for k in range(31)) if share_interval(n, n, sure)[0] >= wanted)
    return max(least, min(max(4 * least, _DRAWS), _MOST_DRAWS))


def planned(shop: Shop, wanted: float, confidence: float, floor: float = FLOOR) -> Budget:
    """The budget of any shop; the pure part of `budget`."""
    margins = shop.verified(np.ones(len(shop.names)))
    good = _good(margins)
    before = share_of(good, confidence)
    if share_interval(before.drawn, before.drawn, looks(confidence, _ROUNDS))[0] < wanted:
        raise ValueError(f"{before.drawn} draws cannot show a share of {wanted:g}")
    desk = _Desk(shop, wanted, confidence, good, floor)
    factors, after = desk.tighten()
    alone, together, share = desk.relax()
    return Budget(
        shop.names, shop.costs, wanted, before, factors, after, cost_of(factors, shop.costs), after.low >= wanted,
        alone, together, share, desk.search.surface.fit_error, int(np.count_nonzero(np.any(np.isnan(margins), axis=1))),
    )


def _good(margins: Array) -> BoolArray:
    with np.errstate(invalid="ignore"):
        return np.asarray(np.all(margins >= 0, axis=1))


class _Desk:
    """One budget while it is worked out; `good` (m,) are the copies that meet everything as the tolerances are."""

    def __init__(self, shop: Shop, wanted: float, confidence: float, good: BoolArray, floor: float) -> None:
        self.shop, self.wanted, self.sure = shop, wanted, looks(confidence, _ROUNDS)
        self.good, self.before = good, share_of(good, confidence)
        self._as_is = np.ones(len(shop.names))
        self._values, self._margins = self._searched(self._as_is)
        self.search = Search(fit(self._values, self._margins), shop.column, shop.costs, floor)

    def _searched(self, factors: Array) -> tuple[Array, Array]:
        values = [self.shop.column(i, float(s)) for i, s in enumerate(factors)]
        margins = self.shop.searched(factors)
        return np.column_stack([np.empty((len(margins), 0)), *values]), margins

    def rated(self, factors: Array) -> Share:
        """The share at some factors, from rated copies."""
        return share_of(_good(self.shop.verified(factors)), self.sure)

    def tighten(self) -> tuple[Array, Share]:
        """The cheapest factors found whose share is verified; else the best there is."""
        if self.before.low >= self.wanted or not self.shop.names:
            return self._as_is, self.before
        n = len(self._margins)
        target = needed = int(np.ceil(n * self._needed_share() - 1e-9))
        found = self.search.cheapest(needed)
        if found is not None:
            self._refine(found)
        for _ in range(_ROUNDS):
            found = self.search.cheapest(target)
            if found is None:
                break
            share = self.rated(found)
            if share.low >= self.wanted:
                return found, share
            target += 1 + max(0, int(np.ceil(needed - n * share.value)))
        return self._tightest()

    def _needed_share(self) -> float:
        """Good copies over all at which the lower end of the interval is the wanted share."""
        n = self.before.drawn
        passed = np.arange(int(self.wanted * n), n + 1)
        enough = [int(k) for k in passed if share_interval(int(k), n, self.sure)[0] >= self.wanted]
        return enough[0] / n

    def _refine(self, factors: Array) -> None:
        """Fit again, with copies rated where the search has led."""
        values, margins = self._searched(factors)
        surface = fit(np.concatenate([self._values, values]), np.concatenate([self._margins, margins]))
        self.search = Search(surface, self.shop.column, self.shop.costs, self.search.floor)

    def _tightest(self) -> tuple[Array, Share]:
        """The best there is: all at their tightest, but for those that gain nothing; or as they are if no worse."""
        tightest = self.search.tightest
        share = self.rated(tightest)
        if share.passed <= self.before.passed:
            return self._as_is, self.before
        eased = self.search.eased(tightest)
        kept = self.rated(eased)
        return (eased, kept) if kept.passed >= share.passed else (tightest, share)

    def _kept(self, factors: Array) -> Share | None:
        """The share at looser factors, where they are for free; else None.

        Below the wanted share a count that happens not to fall is not enough: copies that turn bad and copies that
        turn good would often balance by luck.
        """
        good = _good(self.shop.verified(factors))
        share = share_of(good, self.sure)
        if self.before.low >= self.wanted:
            return share if share.low >= self.wanted else None
        worse, better = (int(np.count_nonzero(a & ~b)) for a, b in ((self.good, good), (good, self.good)))
        sure = worse <= _HARDLY_ANY * len(good) or better - worse >= 2 * np.sqrt(better + worse)
        return share if better >= worse and sure else None

    def relax(self) -> tuple[Array, Array, Share]:
        """Loosest factor of each tolerance alone; of all together; and the share then."""
        alone = np.array([self._loosest(i) for i in range(len(self.shop.names))])
        together = alone.copy()
        while np.any(together > 1):
            share = self._kept(together)
            if share is not None:
                return alone, together, share
            together = self._step_back(together)
        return alone, together, self.before

    def _loosest(self, i: int) -> float:
        """Begin where the surface says, then down to what the rating keeps, or up as far as it does."""
        steps = (1.0, *(step for step in LOOSER if step < self.shop.most[i]))
        k = min(self._promised(i), len(steps) - 1)
        if k > 0 and not self._free(i, steps[k]):
            return next((s for s in steps[k - 1 : 0 : -1] if self._free(i, s)), 1.0)
        while k + 1 < len(steps) and self._free(i, steps[k + 1]):
            k += 1
        return steps[k]

    def _promised(self, i: int) -> int:
        """How many steps looser the surface still counts as many good copies as are asked for."""
        counts = [self.search.passed(_with(self._as_is, i, factor)) for factor in (1.0, *LOOSER)]
        asked = counts[0]
        if self.before.low >= self.wanted:
            asked = min(asked, int(np.ceil(len(self._margins) * self._needed_share())))
        return next((k for k in range(1, len(counts)) if counts[k] < asked), len(counts)) - 1

    def _free(self, i: int, factor: float) -> bool:
        return self._kept(_with(self._as_is, i, factor)) is not None

    def _step_back(self, factors: Array) -> Array:
        """One of the looser tolerances a step back: that which by the surface then leaves fewest copies turned bad."""
        steps, good = (1.0, *LOOSER), self.search.good(self._as_is)
        trials = [_with(factors, i, steps[steps.index(float(s)) - 1]) for i, s in enumerate(factors) if s > 1]
        return min(trials, key=lambda s: np.count_nonzero(good & ~self.search.good(s)))


def _with(factors: Array, i: int, value: float) -> Array:
    changed = factors.copy()
    changed[i] = value
    return changed
