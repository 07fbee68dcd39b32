"""The evolutionary search: NSGA-II for spaces too large to sweep.

Optuna breeds and selects; whole populations are judged at once. Optuna scans all trials of a study for every
trial it makes, so each generation gets a small study of its own, and the cost stays in proportion.
The only importer of Optuna (imported where used).

Source: K. Deb et al., A fast and elitist multiobjective genetic algorithm: NSGA-II, IEEE Trans. Evolutionary
Computation 6 (2002) 182-197; simulated binary crossover and polynomial mutation, both of index 20.
"""

import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from optimize.errors import FinfrontError
from optimize.pareto import layers
from optimize.search.archive import Archive, judge, merge
from optimize.search.band import BandRule
from optimize.search.memory import Memory, Nothing, rows_of_arrays, rows_to_arrays
from optimize.search.moves import latin_hypercube, neighbours, step
from optimize.search.problem import Axis, Evaluation, Problem
from optimize.search.rows import Rows
from physics.arrays import Array, IntArray

if TYPE_CHECKING:
    import optuna

Progress = Callable[[int, int], None]

OPENING_SHARE = 0.2
BREEDING_SHARE = 0.5
BRED_MOST = 10_000  # a bred candidate costs a hundred times what judging it does
REFINING_ROUND = 1000
POPULATION = 100
ETA = 20.0
WALK = 8
BEGIN_ANEW = "take the folder away, or name another one with --out, to begin anew"


def evolve(
    problem: Problem, seed: int, budget: int, population: int = POPULATION, progress: Progress | None = None,
    rule: BandRule | None = None, memory: Memory | None = None, start: Array | None = None,
) -> Archive:
    """Search by NSGA-II, opened by a Latin hypercube over the whole space, closed by leaps and steps around its front.

    Parameters
    ----------
    problem : its axes discrete or continuous. An `outer` axis is a list of names, any other discrete axis
        a ladder of ordered values.
    seed : the same seed gives the same archive.
    budget : number of candidates drawn. One drawn before is not judged again: it counts here but not in
        the archive, whose `rated` is at most the budget.
    population : number of parents, and of candidates in a generation.
    progress : called with the number of candidates drawn so far, and the budget.
    rule, memory : of the band to keep; of the same search, of which what is held is bred but not judged again.
    start : (s, axes) points to begin with, in place of as many of the opening, of which a population is always drawn.

    Returns the Archive, its ordinal numbers counting the points judged, from 0.

    Raises
    ------
    ValueError
        If the population is below 2 or the budget below the population.
    """
    if population < 2 or budget < population:
        raise ValueError(f"expected 2 <= population <= budget, got {population} and {budget}")
    random = np.random.default_rng(np.random.SeedSequence(seed))
    judged = _Judged(problem, rule, memory or Nothing())
    drawn, bred = _shares(problem.axes, budget, population)
    pool = judged.add(_opening(problem.axes, drawn, population, start, random)).best(2 * population)
    with _quiet_optuna():
        for count in _rounds(drawn, bred, population, budget, progress):
            elite, children = _generation(problem.axes, pool, population, count, random)
            pool = Pool.join(pool.take(elite), judged.add(judged.moved(children, random)))
    for count in _rounds(bred, budget, REFINING_ROUND, budget, progress):
        children = neighbours(judged.parents(pool), problem.axes, count, random)
        pool = Pool.join(pool, judged.add(judged.moved(children, random))).best(2 * population)
    return judged.archive


def _shares(axes: tuple[Axis, ...], budget: int, population: int) -> tuple[int, int]:
    """Candidates drawn when the opening ends, and when the breeding ends.

    The close is for names: where no axis is `outer` the whole budget is bred, else at most half of it.
    """
    bred = min(BRED_MOST, round(BREEDING_SHARE * budget)) if any(axis.outer for axis in axes) else budget
    drawn = min(budget, max(2 * population, round(OPENING_SHARE * bred)))
    return drawn, max(drawn, bred)


def _opening(
    axes: tuple[Axis, ...], drawn: int, population: int, start: Array | None, random: np.random.Generator
) -> Array:
    """The first `drawn` points: those given, the rest spread over the space."""
    given = np.empty((0, len(axes))) if start is None else start[: drawn - population]
    return np.concatenate([given, latin_hypercube(axes, drawn - len(given), random)])


def _rounds(start: int, stop: int, size: int, budget: int, progress: Progress | None) -> Iterator[int]:
    """Sizes of the rounds from `start` to `stop` candidates, told as each is done."""
    for done in range(start, stop, size):
        count = min(size, stop - done)
        yield count
        if progress is not None:
            progress(done + count, budget)


@dataclass(frozen=True)
class Pool:
    """Computable points that may become parents.

    Attributes
    ----------
    points, objectives : (n, axes), (n, k).
    shortfall : (n,) sum of the negative margins, positive; 0 for a feasible point.
    """

    points: Array
    objectives: Array
    shortfall: Array

    def take(self, index: IntArray) -> "Pool":
        """The points at `index`."""
        return Pool(self.points[index], self.objectives[index], self.shortfall[index])

    @staticmethod
    def join(a: "Pool", b: "Pool") -> "Pool":
        """The points of both, in order."""
        return Pool(
            np.concatenate([a.points, b.points]),
            np.concatenate([a.objectives, b.objectives]),
            np.concatenate([a.shortfall, b.shortfall]),
        )

    def best(self, count: int) -> "Pool":
        """The `count` best: feasible ones by layer, then the others by shortfall."""
        feasible = self.shortfall == 0.0
        layer = np.zeros(len(self.points), dtype=np.int64)
        peeled = layers(self.objectives[feasible], count)
        layer[feasible] = np.where(peeled == 0, count + 1, peeled)
        return self.take(np.lexsort((layer, self.shortfall))[:count])


@dataclass
class _Judged:
    """Judges every point once and remembers which it has seen."""

    problem: Problem
    rule: BandRule | None
    memory: Memory
    batches: int = 0
    seen: set[bytes] = field(default_factory=set)
    archives: list[Archive] = field(default_factory=list)

    def moved(self, points: Array, random: np.random.Generator) -> Array:
        """The points, each one seen before walked to a neighbour not seen, if a short walk finds one.

        Crossover on ladders of few steps repeats itself: without, a third of the candidates are lost.
        """
        batch: set[bytes] = set()
        moved = points.copy()
        for point in moved:
            for _ in range(WALK):
                if point.tobytes() not in self.seen and point.tobytes() not in batch:
                    break
                step(point, self.problem.axes, random)
            batch.add(point.tobytes())
        return moved

    def add(self, points: Array) -> Pool:
        """Judge the new ones among the points; return those that are computable."""
        fresh = []
        for number, point in enumerate(points):
            key = point.tobytes()
            if key not in self.seen:
                self.seen.add(key)
                fresh.append(number)
        new = points[fresh]
        ordinals = np.arange(len(self.seen) - len(new), len(self.seen), dtype=np.int64)
        evaluation = self._verdict(ordinals, new)
        self.archives.append(Archive.from_block(new, ordinals, evaluation, rule=self.rule))
        if len(self.archives) > 32:
            self.archives = [merge(*self.archives)]
        verdict = judge(evaluation)
        # Optuna must not see NaN or infinity: it keeps an infinite objective as a good trial.
        missing = np.minimum(verdict.shortfall, np.finfo(np.float64).max)
        return Pool(new, evaluation.objectives, missing).take(np.flatnonzero(verdict.computable))

    def _verdict(self, ordinals: IntArray, points: Array) -> Evaluation:
        """The evaluation of a batch, from the memory if it is held there."""
        number, self.batches = self.batches, self.batches + 1
        if number < self.memory.kept:
            held = rows_of_arrays(self.memory.recall(number), "judged")
            if not np.array_equal(held.points, points):
                raise FinfrontError(f"batch {number} holds other cores than this search draws", do=BEGIN_ANEW)
            return Evaluation(held.objectives, held.margins, held.tie)
        evaluation = self.problem.evaluate(points)
        rows = Rows(ordinals, points, evaluation.objectives, evaluation.margins, evaluation.tie)
        self.memory.keep(rows_to_arrays(rows, "judged"))
        return evaluation

    @property
    def archive(self) -> Archive:
        """The archive of all points judged."""
        return merge(*self.archives)

    def parents(self, pool: Pool) -> Array:
        """Points worth refining: the first layers found so far, or the pool while nothing is feasible."""
        self.archives = [self.archive]
        kept = self.archives[0].kept.points
        return kept if len(kept) else pool.points


def _generation(
    axes: tuple[Axis, ...], pool: Pool, population: int, count: int, random: np.random.Generator
) -> tuple[IntArray, Array]:
    """Positions of the survivors in the pool, and `count` of their children (count, axes)."""
    import optuna
    from optuna.samplers.nsgaii import PolynomialMutation, SBXCrossover

    seed = int(random.integers(2**32))
    if len(pool.points) < 2:
        return np.arange(len(pool.points)), latin_hypercube(axes, count, random)
    sampler = optuna.samplers.NSGAIISampler(
        population_size=min(population, len(pool.points)),
        crossover=SBXCrossover(eta=ETA),
        mutation=PolynomialMutation(eta=ETA),
        seed=seed,
    )
    study = optuna.create_study(directions=["minimize"] * pool.objectives.shape[1], sampler=sampler)
    _tell(study, axes, pool)
    trials = [study.ask() for _ in range(count)]
    children = np.array([[_gene(trial, axis) for axis in axes] for trial in trials], dtype=np.float64)
    survivors = sampler.get_parent_population(study, generation=1)
    return np.array([trial.number for trial in survivors], dtype=np.int64), children


def _tell(study: "optuna.Study", axes: tuple[Axis, ...], pool: Pool) -> None:
    """Make the pool the first generation of the study, trial numbers = positions in the pool."""
    distributions = {axis.name: _distribution(axis) for axis in axes}
    for point in pool.points:
        study.enqueue_trial({axis.name: _value(axis, x) for axis, x in zip(axes, point, strict=True)})
    trials = [study.ask(distributions) for _ in pool.points]
    for trial in trials:
        # Looking is what gives an enqueued trial its generation; without, Optuna never makes it a parent.
        _ = trial.relative_params
    for trial, objectives, missing in zip(trials, pool.objectives, pool.shortfall, strict=True):
        trial.set_constraint("shortfall", float(missing))
        study.tell(trial, objectives.tolist())


def _distribution(axis: Axis) -> "optuna.distributions.BaseDistribution":
    from optuna.distributions import CategoricalDistribution, FloatDistribution, IntDistribution

    if axis.size is None:
        return FloatDistribution(axis.low, axis.high)
    if axis.outer:
        return CategoricalDistribution(range(axis.size))
    return IntDistribution(0, axis.size - 1)


def _value(axis: Axis, x: float) -> float | int:
    return float(x) if axis.size is None else int(x)


def _gene(trial: "optuna.Trial", axis: Axis) -> float:
    """One variable of a child; Optuna leaves out a name that mutates, and an axis of one value."""
    if axis.name in trial.relative_params:
        return float(trial.relative_params[axis.name])
    if axis.size == 1:
        return 0.0
    assert axis.size is not None, axis.name
    return float(trial.suggest_categorical(axis.name, range(axis.size)))


@contextmanager
def _quiet_optuna() -> Iterator[None]:
    """Optuna without its log of every study and its warnings that crossover and mutation are experimental."""
    import optuna

    before = optuna.logging.get_verbosity()
    optuna.logging.set_verbosity(optuna.logging.WARNING)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", optuna.exceptions.ExperimentalWarning)
            yield
    finally:
        optuna.logging.set_verbosity(before)
