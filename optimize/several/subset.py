"""Which few of many: the subset of greatest hypervolume, exact for two objectives, else by exchange one by one."""

from collections.abc import Callable, Iterable

import numpy as np

from optimize.pareto import hypervolume, nondominated
from physics.arrays import Array, IntArray

ROUNDS = 40  # of exchange; each start has come to rest long before

Value = Callable[[IntArray], float]


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


def by_exchange(candidates: int, count: int, value: Value, starts: Iterable[IntArray]) -> IntArray:
    """The best set found by exchanging one core at a time from each start until nothing is gained.

    Ties go to the start, and the candidate, that comes first, so the result is the same every time.
    """
    best, most = np.empty(0, dtype=np.int64), -np.inf
    for start in starts:
        chosen, now = start.copy(), value(start)
        for _ in range(ROUNDS):
            gained = False
            for slot in range(count):
                for candidate in range(candidates):
                    if candidate in chosen:
                        continue
                    trial = chosen.copy()
                    trial[slot] = candidate
                    if (there := value(trial)) > now + 1e-12:
                        chosen, now, gained = trial, there, True
            if not gained:
                break
        if now > most + 1e-12:
            best, most = chosen, now
    return best


def greedy(candidates: IntArray, count: int, value: Value) -> IntArray:
    """A set grown one by one from `candidates`, each time by the one that adds most."""
    chosen: list[int] = []
    for _ in range(count):
        left = [int(c) for c in candidates if c not in chosen]
        chosen.append(max(left, key=lambda c: value(np.array([*chosen, c]))))
    return np.array(chosen)


def dominated_share(rows: Array, ideal: Array, reference: Array) -> float:
    """Share of the box between ideal and reference that rows dominate."""
    if rows.shape[1] == 2:
        return _area((np.minimum(rows, reference) - ideal) / (reference - ideal))
    inside = rows[nondominated(rows)]
    return hypervolume((inside - ideal) / (reference - ideal), np.ones(rows.shape[1]))


def _area(rows: Array) -> float:
    """Area dominated up to (1, 1); plain arithmetic, for the many small sets of an exchange."""
    total, low = 0.0, 1.0
    for x, y in sorted(map(tuple, rows)):
        if y < low:
            total += (1.0 - x) * (low - y)
            low = y
    return total
