"""Which few of many: the best cover for each number of different parts; every set tried, or by exchange one by one."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import combinations, product
from math import comb

import numpy as np

from physics.arrays import Array, BoolArray, IntArray

MOST_TRIED = 6000  # sets of all cores but one that are tried one after the other; cores are exchanged where more
ROUNDS = 40  # of an exchange; each start has come to rest long before
_WEIGHTS = (0.0, 0.3, 0.6, 0.8, 0.95)  # of sharing, under which cores are exchanged
_NOTHING = 1e-12  # of cover
_WORTH_MERGING = 16  # corners

# Cover and number of different parts, (m,) each, of a set (n,) with each candidate in one of its places.
Worth = Callable[[IntArray, int], tuple[Array, IntArray]]
Score = Callable[[Array, IntArray], Array]  # what an exchange makes large, of cover and parts


@dataclass(frozen=True)
class Level:
    """The best set found of a number of different parts."""

    parts: int
    cover: float
    chosen: IntArray


@dataclass(frozen=True)
class Choice:
    """What a set of `count` is chosen from, and by what; `most_parts` it could need; `distinct`: no core twice."""

    candidates: int
    count: int
    most_parts: int
    worth: Worth
    distinct: bool
    found: dict[int, Level] = field(default_factory=dict)

    def levels(self) -> tuple[Level, ...]:
        """What was found, fewest parts first, each set covering more than all of fewer parts."""
        kept: list[Level] = []
        for _, level in sorted(self.found.items()):
            if not kept or level.cover > kept[-1].cover + _NOTHING:
                kept.append(level)
        return tuple(kept)

    def look(self, chosen: IntArray, slot: int, among: BoolArray) -> tuple[Array, IntArray]:
        """Worth of a set with each candidate in one place; what is best of those marked in `among` is remembered."""
        cover, parts = self.worth(chosen, slot)
        best = np.full(self.most_parts + 1, -np.inf)
        np.maximum.at(best, parts[among], cover[among])
        held = np.array([self.found[n].cover if n in self.found else -np.inf for n in range(len(best))])
        for n in np.flatnonzero(best > held + _NOTHING):
            there = chosen.copy()
            there[slot] = np.flatnonzero(among & (parts == n) & (cover == best[n]))[0]
            self.found[int(n)] = Level(int(n), float(best[n]), there)
        return cover, parts

    def free(self, chosen: IntArray, slot: int) -> BoolArray:
        """(m,) candidates that may stand in one place of a set."""
        mask = np.ones(self.candidates, dtype=bool)
        if self.distinct:
            mask[np.delete(chosen, slot)] = False
        return mask


def best_levels(choice: Choice, starts: Sequence[IntArray]) -> tuple[tuple[Level, ...], bool]:
    """The best sets for each number of parts, and whether every set was tried.

    Of equals the set, and the candidate, that comes first is kept, so the result is the same every time.
    """
    for start in starts:
        choice.look(start, 0, np.arange(choice.candidates) == start[0])
    if _tries(choice) <= MOST_TRIED:
        for rest in _every_rest(choice):
            last = rest[-1] if choice.distinct and len(rest) else -1
            choice.look(np.append(rest, 0), len(rest), np.arange(choice.candidates) > last)
        return choice.levels(), True
    for weight in _WEIGHTS:
        for start in [*starts, *(level.chosen for level in choice.levels())]:
            _exchange(choice, start, _weighing(weight, choice.most_parts))
    for level in choice.levels():
        _exchange(choice, level.chosen, _of_at_most(level.parts))
    return choice.levels(), False


def _weighing(weight: float, most_parts: int) -> Score:
    return lambda cover, parts: (1.0 - weight) * cover - weight * parts / most_parts


def _of_at_most(number: int) -> Score:
    return lambda cover, parts: np.where(parts <= number, cover, -1e9)


def _tries(choice: Choice) -> int:
    rest = choice.count - 1
    return comb(choice.candidates, rest) if choice.distinct else choice.candidates**rest


def _every_rest(choice: Choice) -> Iterator[IntArray]:
    """All sets of one core less: in order and each once, or in every order with repetitions."""
    all_of_them = range(choice.candidates)
    rest = choice.count - 1
    sets = combinations(all_of_them, rest) if choice.distinct else product(all_of_them, repeat=rest)
    return (np.array(one, dtype=np.int64) for one in sets)


def _exchange(choice: Choice, start: IntArray, score: Score) -> None:
    """Put the best candidate in each place in turn until nothing is gained."""
    chosen, now = start.copy(), -np.inf
    for _ in range(ROUNDS):
        before = now
        for slot in range(choice.count):
            free = choice.free(chosen, slot)
            scores = np.where(free, score(*choice.look(chosen, slot, free)), -np.inf)
            at = int(np.argmax(scores))
            if scores[at] > now + _NOTHING:
                chosen[slot], now = at, float(scores[at])
        if not now > before + _NOTHING:
            return


def dominated_with(rest: Array, candidates: Array) -> Array:
    """Share of the unit box that rows (r, k) and each candidate (m, k) dominate together, (m,); minimised.

    By inclusion and exclusion over the subsets of the few rows, so that it costs one pass for all candidates.

    >>> dominated_with(np.array([[0.5, 0.0]]), np.array([[0.0, 0.5], [0.75, 0.75]]))
    array([0.75, 0.5 ])
    """
    corners, signs = np.ones((1, candidates.shape[1])), np.ones(1)
    for row in 1.0 - np.minimum(rest, 1.0):
        corners, signs = _merged(np.concatenate([corners, np.minimum(corners, row)]), np.concatenate([signs, -signs]))
    own = 1.0 - np.minimum(candidates, 1.0)
    met = np.ones((len(corners), len(own)))
    for of_corners, of_own in zip(corners.T, own.T, strict=True):
        met *= np.minimum(of_corners[:, None], of_own)
    return np.asarray(1.0 - signs @ np.prod(corners, axis=1) + signs @ met)


def _merged(corners: Array, signs: Array) -> tuple[Array, Array]:
    """Equal corners as one, those that cancel out left out: of two objectives few remain."""
    if len(corners) < _WORTH_MERGING:
        return corners, signs
    different, place = np.unique(corners, axis=0, return_inverse=True)
    sums = np.bincount(place.ravel(), signs)
    return different[sums != 0], sums[sums != 0]


def best_of_two(front: Array, reference: Array, count: int) -> IntArray:
    """Positions of the `count` rows of a front of two objectives that together dominate most, up to the reference.

    Exact: along the front each row adds a rectangle that only the row chosen before it bounds, so the best chain is
    found row by row (dynamic programming; K. Bringmann, T. Friedrich, P. Klitzke, GECCO 2014, from memory).

    >>> best_of_two(np.array([[0.0, 3.0], [1.0, 1.0], [3.0, 0.0]]), np.array([4.0, 4.0]), 1)
    array([1])
    """
    order = np.lexsort((front[:, 1], front[:, 0]))
    x, y = front[order].T
    best = (reference[0] - x) * (reference[1] - y)
    came: list[IntArray] = []
    for _ in range(min(count, len(x)) - 1):
        step = y[:, None] - y[None, :]
        gain = np.where(step > 0, best[:, None] + (reference[0] - x)[None, :] * step, -np.inf)
        came.append(np.argmax(gain, axis=0))
        best = gain.max(axis=0)
    at = int(np.argmax(best))
    chain = [at]
    for before in reversed(came):
        at = int(before[at])
        chain.append(at)
    return np.sort(order[chain])
