"""Cores a range may be made of: a run's front, and the feasible cores just behind it."""

from dataclasses import dataclass

import numpy as np

from optimize import runs, store, tables
from optimize.begun import stored_designs
from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.pareto import nondominated, unique_front
from optimize.search.archive import judge
from optimize.search.problem import Evaluation
from optimize.several.parts import PartKind, part_kinds
from optimize.space import Parameters
from optimize.stored_core import cores_of_read_run, problem_of_run
from physics.arrays import Array, IntArray

BEHIND = 400  # cores behind the front
_UNLIKE = ("air_fin", "passes", "thickness", "passages", "length")  # what makes cores differ in more than a port
_BLOCK = 2048


@dataclass(frozen=True)
class Candidates:
    """n cores, the `front` first, sorted by the first objective.

    `choices` as (n,) or (1,), `objectives` (n, k) as searched, minimised; `kinds`: their parts.
    """

    problem: CoreProblem
    names: tuple[str, ...]
    choices: Parameters
    objectives: Array
    kinds: tuple[PartKind, ...]
    front: int

    def core(self, at: int) -> Parameters:
        """One of them, as values (1,)."""
        return taken(self.choices, np.array([at]))


def taken(choices: Parameters, index: IntArray) -> Parameters:
    """Some of the cores given by values (n,) or (1,)."""
    return {name: value if value.size == 1 else value[index] for name, value in choices.items()}


def candidates(run: runs.Run) -> Candidates:
    """The front of a finished run and the cores behind it, one for equal objectives.

    From the store of what was evaluated; of an older run without one, from its table of designs. Raises FinfrontError
    when the run holds no core that meets everything, or cannot be read.
    """
    problem, names, choices, judged = _stored(run) if (run.folder / store.FILE).is_file() else _listed(run)
    if not len(names):
        raise FinfrontError("the run found no core that meets everything", str(run.folder), "loosen its limits first")
    single = unique_front(judged.objectives, judged.tie)
    objectives = judged.objectives[single]
    best = nondominated(objectives)
    front, behind = np.flatnonzero(best), np.flatnonzero(~best)
    front = front[np.argsort(objectives[front, 0], kind="stable")]
    behind = behind[np.argsort(_distance(objectives, front, behind), kind="stable")]
    behind = behind[_mixed(taken(choices, single[behind]), len(behind))]
    order = np.concatenate([front, behind])
    choices = taken(choices, single[order])
    kinds = part_kinds(problem, choices, len(order))
    kept = tuple(names[i] for i in single[order])
    return Candidates(problem, kept, choices, objectives[order], kinds, len(front))


def _stored(run: runs.Run) -> tuple[CoreProblem, list[str], Parameters, Evaluation]:
    stored = stored_designs(run.folder)
    verdict = judge(Evaluation(stored.rows.objectives, stored.rows.margins, stored.rows.tie))
    good = stored.rows.take(verdict.feasible)
    names = [tables.core_name(int(i)) for i in good.ordinals]
    choices = stored.problem.space.choices(good.points) if len(good) else {}
    return stored.problem, names, choices, Evaluation(good.objectives, good.margins, good.tie)


def _listed(run: runs.Run) -> tuple[CoreProblem, list[str], Parameters, Evaluation]:
    problem = problem_of_run(run)
    designs = run.tables.get("designs")
    if designs is None or "feasible" not in designs:
        raise FinfrontError("the run is damaged: it holds no designs", str(run.folder), "make the run again")
    names = [str(name) for name in designs.loc[designs["feasible"] == "yes", "core"]]
    choices = cores_of_read_run(problem.space, run, names) if names else {}
    return problem, names, choices, problem.evaluate_choices(choices, len(names))


def _distance(objectives: Array, front: IntArray, behind: IntArray) -> Array:
    """How far cores lie behind the front: the least by which they would have to be better in all objectives."""
    span = np.ptp(objectives[front], axis=0)
    scaled = objectives / np.where(span > 0, span, 1.0)
    parts = [
        np.max(scaled[some][:, None, :] - scaled[front][None, :, :], axis=2).min(axis=1)
        for some in np.split(behind, range(_BLOCK, len(behind), _BLOCK))
    ]
    return np.concatenate(parts)


def _mixed(choices: Parameters, n: int) -> IntArray:
    """Which of n cores, the nearest first, are tried: three quarters unlike each other, then the nearest others."""
    own = np.stack([np.broadcast_to(choices[name], n) for name in _UNLIKE], axis=1) if n else np.empty((0, 1))
    first = np.sort(np.unique(own, axis=0, return_index=True)[1])[: 3 * BEHIND // 4]
    rest = np.setdiff1d(np.arange(n), first)[: BEHIND - len(first)]
    return np.concatenate([first, rest]).astype(np.int64)
