"""The front of the copies beside the front of the cores: how wide the band must be, the race, and who falls off.

How far copies differ from their core is learnt from a pilot: some hundred cores near the front and elsewhere, a few
hundred copies each. The band is twice as wide as what the pilot saw; `robust_tables` holds the race against it.
"""

from dataclasses import dataclass

import numpy as np

from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.pareto import layers
from optimize.search.archive import judge
from optimize.search.band import BandRule
from optimize.search.problem import Evaluation
from optimize.seeds import stream
from optimize.study.model import Robust
from optimize.tolerance.copies import Copies, copies
from optimize.tolerance.draws import Draws, replicates
from optimize.tolerance.goals import Goals, goals_of
from optimize.tolerance.intervals import percentile_interval, share_interval
from physics.arrays import Array

TRIED = 32_768  # cores of the space looked at for the pilot
PILOTS = 96
PILOT_COPIES = 256
SAFETY = 2.0  # the band over what the pilot saw
_LAYERS = 8
_PILOT_SURE = 0.9  # of intervals that are not asked for
_POWERS = [1 << k for k in range(31)]


@dataclass(frozen=True)
class Shift:
    """What copies do to cores: value of the copies less that of the core, of n cores.

    Attributes
    ----------
    objectives : (n, k).
    margins : (n, q) by the statistic that a requirement is judged by: the limit's own, or the share of all copies.
    surely : (n, q) the same, but where copies count by all requirements at once each gets its part of the bad share.
    """

    objectives: Array
    margins: Array
    surely: Array


def check_draws(robust: Robust, goals: Goals, confidence: float) -> None:
    """Refuse so few draws that not even a core without a bad copy could be said to keep what is asked."""
    low, _ = share_interval(robust.draws, robust.draws, confidence)
    if low < robust.share:
        needed = next(n for n in _POWERS if share_interval(n, n, confidence)[0] >= robust.share)
        what = f"{robust.draws} copies cannot show that {100 * robust.share:g} % of them are good"
        raise FinfrontError(what, "'draws' in [robust]", f"ask for {needed} or more, or for a smaller share")
    for goal in (*goals.objectives, *(goal for _, goal, _ in goals.bounded)):
        if goal.level is None or goal.level >= 1 or percentile_interval(robust.draws, goal.level, confidence):
            continue
        needed = next(n for n in _POWERS if percentile_interval(n, goal.level, confidence))
        what = f"{robust.draws} copies are too few for an interval of the {goal.name}"
        raise FinfrontError(what, "'draws' in [robust]", f"ask for {needed} or more, or for a smaller percentile")


def check_robust(problem: CoreProblem) -> None:
    """Refuse a robust front that its draws cannot give; nothing without [robust]."""
    if (robust := problem.study.robust) is not None:
        check_draws(robust, goals_of(problem, robust), problem.study.scatter.confidence)


def band_rule(problem: CoreProblem) -> BandRule:
    """How wide the band must be, by the pilot."""
    robust = problem.study.robust
    assert robust is not None
    check_robust(problem)
    goals = goals_of(problem, robust)
    points = _pilots(problem)
    k, q = len(problem.objective_names), len(problem.margin_names)
    if not len(points):
        return _any_core(k, q)
    cores = [problem.space.core(point) for point in points]
    made = copies(problem, cores, Draws(problem.study, PILOT_COPIES, "pilot"), robust.scatter)
    shift = shifts(goals, robust, problem.evaluate(points), made)
    return rule_of(shift) if len(shift.objectives) else _any_core(k, q)


def _any_core(k: int, q: int) -> BandRule:
    """The rule that rules nothing out but what misses a requirement."""
    return BandRule(np.full(k, np.inf), np.zeros(q), np.zeros(q))


def rule_of(shift: Shift) -> BandRule:
    """Twice the spread of the shifts; a margin to spare for the greatest loss, and to lack for the greatest gain."""
    spread = np.ptp(shift.objectives, axis=0)
    return BandRule(
        width=SAFETY * spread + 1e-9 * (1 + np.max(np.abs(shift.objectives), axis=0)),
        spare=SAFETY * np.maximum(-np.min(shift.surely, axis=0), 0.0),
        short=SAFETY * np.maximum(np.max(shift.margins, axis=0), 0.0),
    )


def shifts(goals: Goals, robust: Robust, judged: Evaluation, made: list[Copies]) -> Shift:
    """What the copies of some cores are worth less what the cores are; cores that lose too many copies are left out."""
    parts = [_worth(goals, robust, one) for one in made]
    values, margins, surely = (np.array([part[i] for part in parts]) for i in range(3))
    found = Shift(values - judged.objectives, margins - judged.margins, surely - judged.margins)
    sound = np.all(np.isfinite(np.hstack([found.objectives, found.margins, found.surely])), axis=1)
    return Shift(found.objectives[sound], found.margins[sound], found.surely[sound])


def _worth(goals: Goals, robust: Robust, made: Copies) -> tuple[Array, Array, Array]:
    """Objectives (k,) and margins (q,) of the copies of one core, the margins as they count and as is sure."""
    lost, replicate = made.lost > 0, replicates(len(made.lost))
    values = [
        goal.of(made.objectives[:, j], lost, replicate, _PILOT_SURE)[0] for j, goal in enumerate(goals.objectives)
    ]
    counted = np.where(lost[:, None], -np.inf, made.margins)
    bad = 1 - robust.share
    margins, surely = (np.quantile(counted, p, axis=0, method="lower") for p in (bad, bad / goals.each.size))
    first = made.margins.shape[1] - made.bounded.shape[1]
    for i, goal, r in goals.bounded:
        value, _, _ = goal.of(made.bounded[:, i], lost, replicate, _PILOT_SURE)
        margins[first + i] = surely[first + i] = (r.sign * r.bound - value) / r.scale
    return np.array(values), margins, surely


def _pilots(problem: CoreProblem) -> Array:
    """Points of the space that may be on or near the front: the first layers of a random sample, spread over them."""
    random = np.random.default_rng(stream(problem.study.seed, "pilot"))
    columns = [
        random.integers(0, axis.size, TRIED).astype(float) if axis.size is not None
        else random.uniform(axis.low, axis.high, TRIED)
        for axis in problem.axes
    ]
    points = np.unique(np.stack(columns, axis=1), axis=0) if columns else np.empty((1, 0))
    found = problem.evaluate(points)
    verdict = judge(found)
    good = np.flatnonzero(verdict.feasible)
    if len(good) < PILOTS:  # then the nearest misses too
        near = np.flatnonzero(verdict.computable & ~verdict.feasible)
        near = near[np.argsort(verdict.shortfall[near], kind="stable")][: PILOTS - len(good)]
        return np.asarray(points[np.concatenate([good, near])])
    layer = layers(found.objectives[good], _LAYERS)
    order = good[np.lexsort((found.objectives[good, 0], np.where(layer > 0, layer, _LAYERS + 1)))]
    half = order[: PILOTS // 2]
    rest = order[PILOTS // 2 :]
    spread = rest[np.linspace(0, len(rest) - 1, PILOTS - len(half)).astype(np.int64)]
    return np.asarray(points[np.concatenate([half, spread])])
