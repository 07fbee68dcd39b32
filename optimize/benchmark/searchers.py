"""Searchers at equal time on one space and one evaluator, and the hypervolume each had reached when.

All are given `CoreProblem.evaluate` in batches, the sum of what a core misses as their one constraint, and the same
wall-clock time; what they take themselves counts. Optuna and pymoo breed by NSGA-II with their own defaults.
"""

import warnings
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from time import perf_counter
from typing import Any

import numpy as np

from optimize.bounded import BoundedCores
from optimize.pareto import nondominated, normalised_hypervolume
from optimize.search.archive import judge
from optimize.search.branch import Spans, certified
from optimize.search.evolve import evolve
from optimize.search.problem import Axis, Evaluation, Problem
from optimize.search.sweep import sweep
from physics.arrays import Array, IntArray

WITHOUT_SEEDS = ("finfront certify", "finfront sweep")
POPULATION = 100
_PILOT = 2000  # candidates of the first evolution that tells what a budget takes
_CAUTION = 0.9  # of that budget: an evolution closes with small steps, and should come to them
_WARM = 0.5  # [s]
_HUGE = 1e30  # in place of what cannot be computed: the libraries take no NaN
_MARGIN = 0.1  # of the front's width, from its worst point to the reference point


class OutOfTimeError(Exception):
    """The time of a searcher is over."""


@dataclass
class Watched:
    """A problem that notes when which feasible objectives were found, and ends the search when its time is up."""

    problem: Problem
    seconds: float
    begun: float = field(default_factory=perf_counter)
    times: list[float] = field(default_factory=list)
    found: list[Array] = field(default_factory=list)
    rated: int = 0

    @property
    def axes(self) -> tuple[Axis, ...]:
        return self.problem.axes

    @property
    def objective_names(self) -> tuple[str, ...]:
        return self.problem.objective_names

    @property
    def margin_names(self) -> tuple[str, ...]:
        return self.problem.margin_names

    def evaluate(self, points: Array) -> Evaluation:
        """Judge points (n, axes); OutOfTimeError when it was over before or is now: what comes late does not count."""
        evaluation = self.problem.evaluate(points)
        if not len(points):
            return evaluation
        now = perf_counter() - self.begun
        if now > self.seconds:
            raise OutOfTimeError
        self.rated += len(points)
        self.times.append(now)
        self.found.append(evaluation.objectives[judge(evaluation).feasible])
        return evaluation

    def scored(self, points: Array) -> tuple[Array, Array]:
        """Objectives (n, k) and shortfall (n,) of points, huge where there is no value: for the libraries."""
        evaluation = self.evaluate(points)
        verdict = judge(evaluation)
        objectives = np.where(verdict.computable[:, None], evaluation.objectives, _HUGE)
        return objectives, np.where(verdict.computable, verdict.shortfall, _HUGE)


class WatchedBounds(Watched):
    """The same of a problem that bounds boxes of its cores; what bounds take counts as time, not as cores rated."""

    problem: BoundedCores

    @property
    def spans(self) -> Spans:
        return self.problem.spans

    def better(self, low: IntArray, high: IntArray, front: Array) -> Array:
        return self.problem.better(low, high, front)

    def near(self, points: Array, front: Array) -> IntArray:
        return self.problem.near(points, front)


def exact_front(problem: Problem) -> Array:
    """Objectives (n, k) of the whole front of a discrete space: certified where it can be, else every core rated."""
    return (certified(problem) if isinstance(problem, BoundedCores) else sweep(problem)).front.objectives


@dataclass(frozen=True)
class Course:
    """How far one search had come: at `times` [s] its `gap` to the exact front, both (t,).

    gap: 1 - hypervolume / hypervolume of the exact front; 1 while nothing feasible is found.
    """

    searcher: str
    seed: int
    rated: int
    times: Array
    gap: Array


def course(searcher: str, seed: int, watched: Watched, front: Array) -> Course:
    """The course of a watched search, worked out when it is over."""
    ideal, worst = front.min(axis=0), front.max(axis=0)
    reference = worst + _MARGIN * np.maximum(worst - ideal, 1e-12 * np.abs(worst))
    whole = normalised_hypervolume(front, ideal, reference)
    best, gaps = np.empty((0, front.shape[1])), []
    for objectives in watched.found:
        if len(objectives):
            best = np.concatenate([best, objectives])
            best = best[nondominated(best)]
        gaps.append(1.0 - (normalised_hypervolume(best, ideal, reference) / whole if len(best) else 0.0))
    return Course(searcher, seed, watched.rated, np.array(watched.times), np.maximum(np.array(gaps), 0.0))


Searcher = Callable[[Watched, int], None]


def searchers(problem: Problem, seconds: float) -> dict[str, Searcher | None]:
    """Those there are, by name; None for one whose library is not installed."""
    budget = _budget(problem, seconds)
    alone = {"finfront certify": _certified} if isinstance(problem, BoundedCores) else {}
    return alone | {
        "finfront sweep": lambda watched, seed: _swept(watched),
        "finfront evolve": lambda watched, seed: _evolved(watched, seed, budget),
        "Optuna NSGA-II": _optuna,
        "pymoo NSGA-II": _pymoo if _pymoo_is_there() else None,
    }


def compete(problem: Problem, front: Array, seconds: float, seeds: int) -> tuple[list[Course], list[str]]:
    """Courses of every searcher and seed (some have none), and the names of those not installed."""
    courses, absent = [], []
    for name, search in searchers(problem, seconds).items():
        if search is None:
            absent.append(name)
            continue
        _run(search, _watched(problem, min(_WARM, seconds)), 0)  # what is loaded at the first call is no search
        for seed in range(1 if name in WITHOUT_SEEDS else seeds):
            watched = _watched(problem, seconds)
            _run(search, watched, seed)
            courses.append(course(name, seed, watched, front))
    return courses, absent


def _run(search: Searcher, watched: Watched, seed: int) -> None:
    with suppress(OutOfTimeError):
        search(watched, seed)


def _watched(problem: Problem, seconds: float) -> Watched:
    return (WatchedBounds if isinstance(problem, BoundedCores) else Watched)(problem, seconds)


def _certified(watched: Watched, seed: int) -> None:
    assert isinstance(watched, WatchedBounds)
    certified(watched)


def _swept(watched: Watched) -> None:
    sweep(watched)


def _budget(problem: Problem, seconds: float) -> int:
    """Candidates an evolution draws in the time, from two pilots: the second about as long as the search itself."""
    evolve(problem, 0, 2 * POPULATION, POPULATION)
    budget = _PILOT
    for _ in range(2):
        start = perf_counter()
        evolve(problem, 0, budget, POPULATION)
        budget = max(2 * POPULATION, int(_CAUTION * budget * seconds / (perf_counter() - start)))
    return budget


def _evolved(watched: Watched, seed: int, budget: int) -> None:
    evolve(watched, seed, budget, POPULATION)


def _optuna(watched: Watched, seed: int) -> None:
    """Asked for a population at a time, so that it too is rated in batches."""
    import optuna

    optuna.logging.set_verbosity(optuna.logging.WARNING)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        sampler = optuna.samplers.NSGAIISampler(population_size=POPULATION, seed=seed)
        study = optuna.create_study(directions=["minimize"] * len(watched.objective_names), sampler=sampler)
        kinds = {axis.name: _distribution(axis) for axis in watched.axes}
        while True:
            trials = [study.ask(kinds) for _ in range(POPULATION)]
            points = np.array([[trial.params[axis.name] for axis in watched.axes] for trial in trials], dtype=float)
            objectives, shortfall = watched.scored(points)
            for trial, values, missing in zip(trials, objectives, shortfall, strict=True):
                trial.set_constraint("shortfall", float(missing))
                study.tell(trial, values.tolist())


def _distribution(axis: Axis) -> Any:
    from optuna.distributions import CategoricalDistribution, FloatDistribution, IntDistribution

    if axis.size is None:
        return FloatDistribution(axis.low, axis.high)
    return CategoricalDistribution(range(axis.size)) if axis.outer else IntDistribution(0, axis.size - 1)


def _pymoo_is_there() -> bool:
    from importlib.util import find_spec

    return find_spec("pymoo") is not None


def _pymoo(watched: Watched, seed: int) -> None:
    """Every axis as a number, rounded where it is a list: pymoo's way for whole numbers."""
    from pymoo.algorithms.moo.nsga2 import NSGA2
    from pymoo.core.problem import Problem as Asked
    from pymoo.core.termination import NoTermination
    from pymoo.operators.crossover.sbx import SBX
    from pymoo.operators.mutation.pm import PM
    from pymoo.operators.repair.rounding import RoundingRepair
    from pymoo.operators.sampling.rnd import IntegerRandomSampling
    from pymoo.optimize import minimize

    class Cores(Asked):  # type: ignore[misc]
        def _evaluate(self, x: Array, out: dict[str, Array], *args: Any, **kwargs: Any) -> None:
            out["F"], shortfall = watched.scored(np.asarray(x, dtype=float))
            out["G"] = shortfall[:, None]

    high = [float(axis.size or 1) - 1 for axis in watched.axes]
    cores = Cores(
        n_var=len(high), n_obj=len(watched.objective_names), n_ieq_constr=1, xl=np.zeros(len(high)),
        xu=np.array(high), vtype=int,
    )
    algorithm = NSGA2(
        pop_size=POPULATION, sampling=IntegerRandomSampling(), crossover=SBX(vtype=float, repair=RoundingRepair()),
        mutation=PM(vtype=float, repair=RoundingRepair()), eliminate_duplicates=True,
    )
    minimize(cores, algorithm, NoTermination(), seed=seed, verbose=False)
