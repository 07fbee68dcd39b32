"""The race to the front of the copies: the nominal front makes the pace, the others get more copies while still in it.

Cores of the nominal front have all their copies made first. Another core leaves when its share of good copies surely
misses what is wanted, or when one that surely keeps it surely is better in every objective. All share their draws.
"""

from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass

import numpy as np

from optimize.evaluate import CoreProblem
from optimize.pareto import nondominated, unique_front
from optimize.space import Parameters
from optimize.study.model import Robust, Study
from optimize.tolerance.copies import ROWS, copies
from optimize.tolerance.draws import Draws, replicates
from optimize.tolerance.goals import Goals, Held, goals_of
from optimize.tolerance.yields import Share, share_of
from optimize.workers import in_order
from physics.arrays import Array, BoolArray, IntArray

FIRST = 256  # copies of every core of a band
SURE = 0.999  # confidence of every interval by which a core leaves

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Standing:
    """What the copies of a core are worth: objectives to be minimised (k,), the share that is good, their intervals."""

    values: Array
    low: Array
    high: Array
    share: Share
    may_keep: bool  # whether it can be that the core keeps what is wanted
    keeps: bool  # whether it surely does
    held: Held


@dataclass(frozen=True)
class Race:
    """The end of a race.

    Attributes
    ----------
    standings : by position of the core; all cores that stayed to the end.
    front : positions of the front of the copies, sorted by the first objective.
    pacemakers : number of cores that had all their copies made from the start.
    stages : (draws, cores) of each stage of the others.
    seen : values of the copies (k,) of every core raced, of those that left as they were when last looked at.
    failed : positions of the cores that surely do not keep what is asked.
    """

    standings: dict[int, Standing]
    front: list[int]
    pacemakers: int
    stages: tuple[tuple[int, int], ...]
    seen: dict[int, Array]
    failed: frozenset[int]

    @property
    def rated(self) -> int:
        """Copies rated in all."""
        total, before, last = 0, 0, 0
        for draws, cores in self.stages:
            total += (draws - before) * cores
            before = last = draws
        return total + self.pacemakers * last


def race(
    problem: CoreProblem, cores: list[Parameters], stay: BoolArray, tie: Array, workers: int,
    progress: Progress | None = None,
) -> Race:
    """The front of the copies of some cores; those marked to `stay` get all their copies whatever comes of it.

    Of cores whose copies are equal in every objective one stays, by `tie` (n, t) as on the front of the cores.
    """
    robust = problem.study.robust
    assert robust is not None
    goals = goals_of(problem, robust)
    sure = problem.study.scatter.confidence

    def stood(held: dict[int, Held], count: int, confidence: float) -> dict[int, Standing]:
        return {i: standing(goals, robust, h, replicates(count), confidence) for i, h in held.items()}

    def more(members: list[int], first: int, last: int) -> dict[int, Held]:
        made = _rated(problem.study, [cores[i] for i in members], first, last, workers)
        return dict(zip(members, made, strict=True))

    pace = stood(more(np.flatnonzero(stay).tolist(), 0, robust.draws), robust.draws, sure)
    count = min(FIRST, robust.draws)
    held, looked_at = more(np.flatnonzero(~stay).tolist(), 0, count), dict(pace)
    stages = [(count, len(held))]
    while count < robust.draws:
        there = stood(held, count, SURE)
        looked_at |= there
        held = {i: held[i] for i, still in zip(there, _staying(pace, there), strict=True) if still}
        added = more(list(held), count, 2 * count)
        held = {i: h.then(added[i]) for i, h in held.items()}
        count *= 2
        stages.append((count, len(held)))
        if progress is not None:
            progress(count, robust.draws)
    standings = pace | stood(held, count, sure)
    looked_at |= standings
    return Race(
        standings, _front(standings, tie), len(pace), tuple(stages), {i: s.values for i, s in looked_at.items()},
        frozenset(i for i, s in looked_at.items() if not s.may_keep),
    )


def standing(goals: Goals, robust: Robust, held: Held, replicate: IntArray, confidence: float) -> Standing:
    """What the copies say of a core so far."""
    lost = held.lost > 0
    values, low, high = (
        np.array(x) for x in zip(*(
            goal.of(held.objectives[:, j], lost, replicate, confidence) for j, goal in enumerate(goals.objectives)
        ), strict=True)
    )
    share = share_of(held.passed, confidence)
    may, sure = share.high >= robust.share, share.low >= robust.share
    for j, (_, goal, requirement) in enumerate(goals.bounded):
        _, least, most = goal.of(held.bounded[:, j], lost, replicate, confidence)
        bound = requirement.sign * requirement.bound
        may, sure = may and not least > bound, sure and most <= bound
    return Standing(values, low, high, share, bool(may and np.all(np.isfinite(values))), bool(sure), held)


def _staying(pace: dict[int, Standing], there: dict[int, Standing]) -> list[bool]:
    """Which cores may still be on the front; of the pacemakers the values are known, of the others what is sure."""
    rivals = [s.values for s in pace.values() if s.keeps] + [s.high for s in there.values() if s.keeps]
    known = np.array([r for r in rivals if np.all(np.isfinite(r))])
    best = known[nondominated(known)] if len(known) else known
    return [s.may_keep and not any(np.all(rival < s.low) for rival in best) for s in there.values()]


def _front(standings: dict[int, Standing], tie: Array) -> list[int]:
    keeping = np.array([i for i, s in standings.items() if s.keeps and np.all(np.isfinite(s.values))], dtype=np.int64)
    if not len(keeping):
        return []
    values = np.array([standings[int(i)].values for i in keeping])
    best = np.flatnonzero(nondominated(values))
    best = best[unique_front(values[best], tie[keeping[best]])]
    return [int(keeping[i]) for i in best[np.lexsort(values[best].T[::-1])]]


def _rated(study: Study, cores: list[Parameters], first: int, last: int, workers: int) -> list[Held]:
    """Draws `first` to `last` of each core."""
    size = max(1, 4 * ROWS // (last - first))
    tasks = [(study, cores[i : i + size], first, last) for i in range(0, len(cores), size)]
    with closing(in_order(_task, tasks, workers)) as parts:
        return [one for part in parts for one in part]


def _task(study: Study, cores: list[Parameters], first: int, last: int) -> list[Held]:
    problem, robust = CoreProblem(study), study.robust
    assert robust is not None
    goals, draws = goals_of(problem, robust), Draws(study, robust.draws, "robust").part(first, last)
    return [Held.of(goals, made) for made in copies(problem, cores, draws, robust.scatter)]


def most_missed(held: Held, names: tuple[str, ...]) -> tuple[str, int]:
    """The requirement that most copies of a core miss, and how many do."""
    i = int(np.argmax(held.failed))
    return names[i], int(held.failed[i])
