"""What the front of the copies asks: a percentile, the mean or the worst of them; a share that meets the limits."""

from dataclasses import dataclass

import numpy as np

from optimize.evaluate import CoreProblem, objective_name
from optimize.feasibility import Requirement, requirements
from optimize.study.model import Objective, Robust
from optimize.tolerance.copies import Copies
from optimize.tolerance.intervals import mean_interval, percentile_interval
from physics.arrays import Array, BoolArray, IntArray


@dataclass(frozen=True)
class Goal:
    """One value of the copies: the `level` of them that are at least as good (1 for the worst), None for the mean.

    `sign` makes it something to be minimised: +1 or -1.
    """

    name: str
    sign: float
    level: float | None

    def of(self, values: Array, lost: BoolArray, replicate: IntArray, confidence: float) -> tuple[float, float, float]:
        """Value over copies (n,) in the sense to be minimised, and its interval.

        A lost copy is worse than any; with one there is no mean.
        """
        v = np.where(lost, np.inf, self.sign * values)
        if self.level is None:
            return (np.nan,) * 3 if np.any(lost) else mean_interval(v, replicate, confidence)
        ordered = np.sort(v)
        if self.level >= 1:
            return float(ordered[-1]), float(ordered[-1]), np.inf
        place = percentile_interval(len(v), self.level, confidence)
        low, high = (-np.inf, np.inf) if place is None else (ordered[place[0]], ordered[place[1]])
        return float(ordered[int(np.ceil(self.level * len(v) - 1e-9)) - 1]), float(low), float(high)


@dataclass(frozen=True)
class Goals:
    """Objectives, limits on a percentile or mean of the copies, and the requirements that each copy must keep."""

    objectives: tuple[Goal, ...]
    bounded: tuple[tuple[int, Goal, Requirement], ...]  # position among the requirements
    each: IntArray  # positions of the margins that each copy counts by


def level_of(of: str) -> float | None:
    """The level of "P95", "worst" or "mean".

    >>> level_of("P99.9"), level_of("worst"), level_of("mean")
    (0.999, 1.0, None)
    """
    if of == "mean":
        return None
    return 1.0 if of == "worst" else round(float(of[1:]) / 100, 12)


def goals_of(problem: CoreProblem, robust: Robust) -> Goals:
    """The goals of a study; levels count from the bad side, so that the P95 of what is maximised is its P05."""
    needs = requirements(problem.study)
    first = len(problem.margin_names) - len(needs)
    own = tuple((i, _limit_goal(r), r) for i, r in enumerate(needs) if r.of is not None)
    aside = {first + i for i, _, _ in own}
    each = np.array([i for i in range(len(problem.margin_names)) if i not in aside], dtype=np.int64)
    return Goals(tuple(_objective_goal(o, robust) for o in problem.study.objectives), own, each)


def _objective_goal(objective: Objective, robust: Robust) -> Goal:
    of = objective.of or robust.of
    sign = -1.0 if objective.maximise else 1.0
    return Goal(f"{statistic(of, sign)} of {objective_name(objective)}", sign, level_of(of))


def _limit_goal(requirement: Requirement) -> Goal:
    assert requirement.of is not None
    return Goal(f"{statistic(requirement.of, requirement.sign)} of {requirement.name}", requirement.sign,
                level_of(requirement.of))


def statistic(of: str, sign: float) -> str:
    """"P95" as it is read off the values: of what is to be high, the 95 % best lie above its P05.

    >>> statistic("P95", 1.0), statistic("P95", -1.0), statistic("P99.9", -1.0), statistic("worst", -1.0)
    ('P95', 'P05', 'P0.1', 'worst')
    """
    if of in ("mean", "worst") or sign > 0:
        return of
    low = 100 - float(of[1:])
    return f"P{low:02.0f}" if float(low).is_integer() else f"P{low:.3g}"


@dataclass(frozen=True)
class Held:
    """What the race keeps of the copies of a core, n of them: objectives (n, k), bounded values (n, b), and so on."""

    objectives: Array
    bounded: Array
    passed: BoolArray
    failed: IntArray  # (q,) copies that miss each requirement
    lost: IntArray  # (n,) bits of `Flag`

    @classmethod
    def of(cls, goals: Goals, made: Copies) -> "Held":
        met = made.met[:, goals.each]
        failed = np.zeros(made.margins.shape[1], dtype=np.int64)
        failed[goals.each] = np.count_nonzero(~met, axis=0)
        columns = [i for i, _, _ in goals.bounded]
        return cls(made.objectives, made.bounded[:, columns], np.all(met, axis=1), failed, made.lost)

    def then(self, more: "Held") -> "Held":
        """With the copies of later draws behind."""
        pairs = ((getattr(self, name), getattr(more, name)) for name in ("objectives", "bounded", "passed", "lost"))
        objectives, bounded, passed, lost = (np.concatenate(pair) for pair in pairs)
        return Held(objectives, bounded, passed, self.failed + more.failed, lost)
