"""The front of the copies beside the front of the cores: how wide the band must be, the race, and who falls off.

How far copies differ from their core is learnt from a pilot: some hundred cores near the front and elsewhere, a few
hundred copies each. The band is twice as wide as what the pilot saw, and what the race sees is held against it.
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
from optimize.tolerance.intervals import share_interval
from physics.arrays import Array

TRIED = 32_768  # cores of the space looked at for the pilot
PILOTS = 96
PILOT_COPIES = 256
SAFETY = 2.0  # the band over what the pilot saw
_LAYERS = 8


@dataclass(frozen=True)
class Shift:
    """What copies do to cores: value of the copies less that of the core, by objective (n, k) and margin (n, q)."""

    objectives: Array
    margins: Array


def check_draws(robust: Robust, confidence: float) -> None:
    """Refuse so few draws that not even a core without a bad copy could be said to keep the share."""
    low, _ = share_interval(robust.draws, robust.draws, confidence)
    if low < robust.share:
        needed = next(n for n in (1 << k for k in range(31)) if share_interval(n, n, confidence)[0] >= robust.share)
        what = f"{robust.draws} copies cannot show that {100 * robust.share:g} % of them are good"
        raise FinfrontError(what, "'draws' in [robust]", f"ask for {needed} or more, or for a smaller share")


def band_rule(problem: CoreProblem) -> BandRule:
    """How wide the band must be, by the pilot."""
    robust = problem.study.robust
    assert robust is not None
    check_draws(robust, problem.study.scatter.confidence)
    points = _pilots(problem)
    if not len(points):
        k, q = len(problem.objective_names), len(problem.margin_names)
        return BandRule(np.full(k, np.inf), np.zeros(q), np.zeros(q))
    cores = [problem.space.core(point) for point in points]
    made = copies(problem, cores, Draws(problem.study, PILOT_COPIES, "pilot"), robust.scatter)
    shift = shifts(goals_of(problem, robust), robust, problem.evaluate(points), made)
    return rule_of(shift)


def rule_of(shift: Shift) -> BandRule:
    """Twice the spread of the shifts; a margin to spare for the greatest loss, and to lack for the greatest gain."""
    spread = np.ptp(shift.objectives, axis=0)
    return BandRule(
        width=SAFETY * spread + 1e-9 * (1 + np.max(np.abs(shift.objectives), axis=0)),
        spare=SAFETY * np.maximum(-np.min(shift.margins, axis=0), 0.0),
        short=SAFETY * np.maximum(np.max(shift.margins, axis=0), 0.0),
    )


def shifts(goals: Goals, robust: Robust, judged: Evaluation, made: list[Copies]) -> Shift:
    """What the copies of some cores are worth less what the cores are; cores with a lost copy are left out."""
    sound = [i for i, c in enumerate(made) if not np.any(c.lost) and np.all(np.isfinite(judged.objectives[i]))]
    values = [
        [goal.of(made[i].objectives[:, j], made[i].lost > 0, replicates(len(made[i].lost)), 0.9)[0]
         for j, goal in enumerate(goals.objectives)] for i in sound
    ]
    margins = [np.quantile(made[i].margins, 1 - robust.share, axis=0) for i in sound]
    return Shift(
        np.array(values).reshape(len(sound), -1) - judged.objectives[sound],
        np.array(margins).reshape(len(sound), -1) - judged.margins[sound],
    )


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
