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

from optimize.pareto import layers
from optimize.search.archive import Archive, judge, merge
from optimize.search.problem import Axis, Problem
from physics.arrays import Array, IntArray

if TYPE_CHECKING:
    import optuna

Progress = Callable[[int, int], None]

OPENING_SHARE = 0.2
BREEDING_SHARE = 0.5
BRED_MOST = 10_000  # a bred candidate costs a hundred times what judging it does; beyond it the front is refined
REFINING_ROUND = 1000
POPULATION = 100
ETA = 20.0
WALK = 8


def evolve(
    problem: Problem, seed: int, budget: int, population: int = POPULATION, progress: Progress | None = None
) -> Archive:
    """Search by NSGA-II, opened by a Latin hypercube over the whole space, closed by a search around its front.

    Parameters
    ----------
    problem : its axes discrete or continuous. An `outer` axis is a list of names, any other discrete axis
        a ladder of ordered values.
    seed : the same seed gives the same archive.
    budget : number of candidates drawn. One drawn before is not judged again: it counts here but not in
        the archive, whose `rated` is at most the budget.
    population : number of parents, and of candidates in a generation.
    progress : called with the number of candidates drawn so far, and the budget.

    Returns
    -------
    Archive, its ordinal numbers counting the points judged, from 0.

    Raises
    ------
    ValueError
        If the population is below 2 or the budget below the population.
    """
    if population < 2 or budget < population:
        raise ValueError(f"expected 2 <= population <= budget, got {population} and {budget}")
    random = np.random.default_rng(np.random.SeedSequence(seed))
    judged = _Judged(problem)
    drawn = min(budget, max(2 * population, round(OPENING_SHARE * min(budget, BRED_MOST))))
    pool = judged.add(_latin_hypercube(problem.axes, drawn, random)).best(2 * population)
    bred = max(drawn, min(BRED_MOST, round(BREEDING_SHARE * budget)))
    with _quiet_optuna():
        while drawn < bred:
            count = min(population, bred - drawn)
            elite, children = _generation(problem.axes, pool, population, count, random)
            pool = Pool.join(pool.take(elite), judged.add(judged.moved(children, random)))
            drawn += count
            _say(progress, drawn, budget)
    while drawn < budget:
        count = min(REFINING_ROUND, budget - drawn)
        children = neighbours(judged.parents(pool), problem.axes, count, random)
        pool = Pool.join(pool, judged.add(judged.moved(children, random))).best(2 * population)
        drawn += count
        _say(progress, drawn, budget)
    return judged.archive


def _say(progress: Progress | None, drawn: int, budget: int) -> None:
    if progress is not None:
        progress(drawn, budget)


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
                _step(point, self.problem.axes, random)
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
        evaluation = self.problem.evaluate(new)
        ordinals = np.arange(len(self.seen) - len(new), len(self.seen), dtype=np.int64)
        self.archives.append(Archive.from_block(new, ordinals, evaluation))
        if len(self.archives) > 32:
            self.archives = [merge(*self.archives)]
        verdict = judge(evaluation)
        # Optuna must not see NaN or infinity: it keeps an infinite objective as a good trial.
        missing = np.minimum(verdict.shortfall, np.finfo(np.float64).max)
        return Pool(new, evaluation.objectives, missing).take(np.flatnonzero(verdict.computable))

    @property
    def archive(self) -> Archive:
        """The archive of all points judged."""
        return merge(*self.archives)

    def parents(self, pool: Pool) -> Array:
        """Points worth refining: the first layers found so far, or the pool while nothing is feasible."""
        self.archives = [self.archive]
        kept = self.archives[0].kept.points
        return kept if len(kept) else pool.points


def neighbours(parents: Array, axes: tuple[Axis, ...], count: int, random: np.random.Generator) -> Array:
    """Points (count, axes) around parents picked at random: half of them steps, half leaps.

    A step moves one to three variables a little. A leap takes one name and one other variable anywhere: what
    crossover rarely does, changing a fin and the count that suits it together.
    """
    if not len(parents):
        return _latin_hypercube(axes, count, random)
    points = parents[random.integers(len(parents), size=count)].copy()
    names = [number for number, axis in enumerate(axes) if axis.outer]
    others = [number for number, axis in enumerate(axes) if not axis.outer]
    for number, point in enumerate(points):
        leap = number % 2 == 0 and names and others
        size = min(len(axes), int(random.integers(1, 4)))
        changed = [random.choice(names), random.choice(others)] if leap else random.choice(len(axes), size, False)
        for i in changed:
            point[i] = _anywhere(axes[i], random) if leap else _near(point[i], axes[i], random)
    return points


def _anywhere(axis: Axis, random: np.random.Generator) -> float:
    return float(random.uniform(axis.low, axis.high) if axis.size is None else random.integers(axis.size))


def _near(x: float, axis: Axis, random: np.random.Generator) -> float:
    """Any name; a ladder up to a sixth of its length up or down; a number by up to a tenth of its range."""
    if axis.size is None:
        reach = (axis.high - axis.low) * 10.0 ** random.uniform(-4.0, -1.0)
        return float(np.clip(x + reach * random.uniform(-1.0, 1.0), axis.low, axis.high))
    if axis.outer:
        return _anywhere(axis, random)
    steps = random.integers(1, max(1, axis.size // 6) + 1)
    return float(np.clip(x + random.choice((-1.0, 1.0)) * steps, 0.0, axis.size - 1.0))


def _step(point: Array, axes: tuple[Axis, ...], random: np.random.Generator) -> None:
    """Move a point along one discrete axis: to any name, or one rung up or down."""
    if not axes:
        return
    number = int(random.integers(len(axes)))
    axis = axes[number]
    if axis.size is None:
        return
    if axis.outer:
        point[number] = random.integers(axis.size)
    else:
        point[number] = np.clip(point[number] + random.choice((-1.0, 1.0)), 0.0, axis.size - 1.0)


def _latin_hypercube(axes: tuple[Axis, ...], count: int, random: np.random.Generator) -> Array:
    """Points (count, axes), each axis covered evenly: one point in each of `count` equal strata."""
    points = np.empty((count, len(axes)))
    for column, axis in zip(points.T, axes, strict=True):
        share = (random.permutation(count) + random.random(count)) / count
        if axis.size is None:
            column[:] = axis.low + share * (axis.high - axis.low)
        else:
            column[:] = np.minimum(np.floor(share * axis.size), axis.size - 1)
    return points


def _generation(
    axes: tuple[Axis, ...], pool: Pool, population: int, count: int, random: np.random.Generator
) -> tuple[IntArray, Array]:
    """Positions of the survivors in the pool, and `count` of their children (count, axes)."""
    import optuna
    from optuna.samplers.nsgaii import PolynomialMutation, SBXCrossover

    seed = int(random.integers(2**32))
    if len(pool.points) < 2:
        return np.arange(len(pool.points)), _latin_hypercube(axes, count, random)
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
