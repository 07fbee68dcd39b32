"""What a changed study means for the cores a run has evaluated: who keeps it, who is repaired, what the front becomes.

Everything here takes seconds; the search that follows starts from it.
"""

from dataclasses import dataclass
from pathlib import Path
from time import perf_counter

import numpy as np

from optimize import runs
from optimize.begun import Stored, stored_designs
from optimize.evaluate import CoreProblem
from optimize.evenly import evenly
from optimize.pareto import layers, unique_front
from optimize.rerun.carried import Carried, carried, judged, snapped
from optimize.search.archive import LAYERS, judge
from optimize.search.climb import Climbed, climb, front_of, kept, neighbourhood
from optimize.search.problem import Evaluation
from optimize.search.rows import Rows
from optimize.study.differences import Difference, differences
from optimize.study.model import Study
from optimize.tables import core_name
from physics.arrays import Array, BoolArray, IntArray

MOST_REPAIRED = 60  # cores of the old front whose neighbours are looked at, those with a name first
MOST_CLIMBED = 120_000


@dataclass(frozen=True)
class Survey:
    """A run seen from a changed study.

    Attributes
    ----------
    run, old : the run, and every design it holds with the problem it was evaluated for.
    problem : of the changed study.
    changes : field by field.
    layer : (n,) of each stored design in its own run, 0 behind the third or infeasible.
    carried, verdict : the stored designs as they are, under the changed study.
    alive : (n,) whether they keep every requirement of it.
    climbed : what the neighbourhood search from the survivors and the repaired rated.
    start : (s, axes) points for a search to begin with, the front of `climbed` first.
    repairs : repaired point (axes,) by position of a stored design that no longer keeps the requirements.
    seconds : all this took.
    """

    run: runs.Run
    old: Stored
    problem: CoreProblem
    changes: list[Difference]
    layer: IntArray
    carried: Carried
    verdict: Evaluation
    alive: BoolArray
    climbed: Climbed
    start: Array
    repairs: dict[int, Array]
    seconds: float

    @property
    def front(self) -> IntArray:
        """Positions of the old front, best first objective first."""
        index = np.flatnonzero(self.layer == 1)
        return index[np.argsort(self.old.rows.objectives[index, 0], kind="stable")]


def surveyed(folder: Path, study: Study) -> Survey:
    """Look at a finished run from a changed study.

    Raises FinfrontError when the run keeps no designs, is not finished or cannot be read.
    """
    begun = perf_counter()
    run, old, problem = runs.read(folder), stored_designs(folder), CoreProblem(study)
    rows, n = old.rows, len(old.rows)
    as_they_are = carried(old.problem, old.problem.space.choices(rows.points), n, problem)
    verdict = judged(problem, as_they_are.choices, n)
    alive = judge(verdict).feasible & as_they_are.possible
    layer = _layers(rows)
    points, _ = snapped(problem.space, as_they_are.choices, n)
    front = np.flatnonzero((layer == 1) & ~alive)
    named = [i for i in named_positions(run, rows) if not alive[i]]
    looked_at = np.array(evenly(front.tolist(), named, MOST_REPAIRED), dtype=np.int64)
    climbed = Climbed(problem)
    if len(looked_at):
        climbed.add(np.concatenate([points[looked_at], *neighbourhood(points[looked_at], problem.axes)]))
    good = np.flatnonzero(alive)
    good = good[layers(verdict.objectives[good], LAYERS) > 0] if len(good) else good
    starts = points[np.union1d(good, np.flatnonzero(layer > 0))]
    climbed = climb(problem, starts if len(starts) else points, most=MOST_CLIMBED, climbed=climbed)
    found = climbed.rows
    return Survey(
        run, old, problem, differences(old.problem.study, study), layer, as_they_are, verdict, alive, climbed,
        _start(found), _repaired(found, points, looked_at), perf_counter() - begun,
    )  # fmt: skip


def _layers(rows: Rows) -> IntArray:
    """Layer of each stored design among the feasible ones, one for equal objectives, as a run keeps them."""
    good = np.flatnonzero(judge(Evaluation(rows.objectives, rows.margins, rows.tie)).feasible)
    found = layers(rows.objectives[good], LAYERS)
    good, found = good[found > 0], found[found > 0]
    single = unique_front(rows.objectives[good], rows.tie[good])
    layer = np.zeros(len(rows), dtype=np.int64)
    layer[good[single]] = found[single]
    return layer


def named_positions(run: runs.Run, rows: Rows) -> dict[int, str]:
    """Positions of the run's picks among its designs, with their names."""
    place = {core_name(int(ordinal)): i for i, ordinal in enumerate(rows.ordinals)}
    named: dict[int, str] = {}
    for pick, core in run.record["picks"].items():
        if core in place:
            named[place[core]] = f"{named[place[core]]}, {pick}" if place[core] in named else pick
    return named


def _start(found: Rows) -> Array:
    """Feasible points of the first layers, best layer first."""
    good = np.flatnonzero(kept(found, np.zeros(found.margins.shape[1])))
    layer = layers(found.objectives[good], LAYERS) if len(good) else np.zeros(0, dtype=np.int64)
    order = np.argsort(np.where(layer > 0, layer, LAYERS + 1), kind="stable")
    return found.points[good[order][: np.count_nonzero(layer)]]


def _repaired(found: Rows, points: Array, dead: IntArray) -> dict[int, Array]:
    """For each dead core the feasible point that changes fewest variables, then takes the fewest steps."""
    good = found.points[kept(found, np.zeros(found.margins.shape[1]))]
    repairs = {}
    for i in dead:
        away = np.abs(good - points[i])
        changed = np.count_nonzero(away, axis=1)
        near = np.flatnonzero(changed <= 2)
        if len(near):
            best = near[np.lexsort((away[near].sum(axis=1), changed[near]))[0]]
            repairs[int(i)] = good[best]
    return repairs


def warm_front(survey: Survey) -> Rows:
    """The front the survey came to, before any search."""
    found = survey.climbed.rows
    return found.take(front_of(found, np.zeros(found.margins.shape[1])))
