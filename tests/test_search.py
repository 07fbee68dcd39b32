"""Sweep, evolution and archive against brute force, each other, and known fronts."""

import tomllib
from dataclasses import dataclass, fields
from functools import cached_property
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimize.pareto import hypervolume, layers, nondominated
from optimize.search.archive import FEASIBLE_SAMPLE, LAYERS, MISSES, Archive, Guard, hashes, merge
from optimize.search.branch import Spans
from optimize.search.certify import certify
from optimize.search.evolve import evolve
from optimize.search.problem import Axis, Evaluation
from optimize.search.rows import Rows
from optimize.search.sweep import Grid, sweep

KNOWN: dict[str, Any] = tomllib.loads((Path(__file__).parent / "reference/known_fronts.toml").read_text())


@dataclass(frozen=True)
class Drawn:
    """A random problem: a table of small whole numbers, with ties, equal points, NaN and broken margins."""

    sizes: tuple[int, ...]
    outer: tuple[bool, ...]
    objectives: int
    seed: int

    @property
    def axes(self):
        return tuple(
            Axis(f"axis {i}", size=s, outer=o) for i, (s, o) in enumerate(zip(self.sizes, self.outer, strict=True))
        )

    objective_names = ("a", "b", "c")
    margin_names = ("p", "q", "r")

    @cached_property
    def table(self):
        random = np.random.default_rng(self.seed)
        n = int(np.prod(self.sizes))
        values = random.integers(0, 8, (n, self.objectives)).astype(float)
        margins = random.integers(-1, 5, (n, 3)) / 4.0
        values[random.random(n) < 0.05, 0] = np.nan
        values[random.random(n) < 0.02, -1] = np.inf
        margins[random.random(n) < 0.05, 1] = np.nan
        return Evaluation(values, margins, random.integers(0, 3, (n, 2)).astype(float))

    def evaluate(self, points):
        at = np.ravel_multi_index(tuple(points.T.astype(int)), self.sizes)
        return Evaluation(self.table.objectives[at], self.table.margins[at], self.table.tie[at])


@dataclass(frozen=True)
class Smooth:
    """A made-up cooler: names, steps and three margins; its objectives pull against each other."""

    sizes: tuple[int, ...] = (3, 24, 16, 12, 1)
    axes_outer = (True, False, False, False, False)
    objective_names = ("loss", "heat")
    margin_names = ("length", "height", "both")

    @property
    def axes(self):
        return tuple(
            Axis(f"axis {i}", size=s, outer=o) for i, (s, o) in enumerate(zip(self.sizes, self.axes_outer, strict=True))
        )

    def evaluate(self, points):
        kind, a, b, c = (points[:, j] / max(self.sizes[j] - 1, 1) for j in range(4))
        loss = (0.2 + a) ** 1.5 * (1.3 - b) * (1.0 + 0.3 * kind) + 0.1 * c
        heat = -((0.1 + a) ** 0.6) * (0.5 + b) ** 0.4 * (1.0 + 0.5 * kind) * (1.0 + c) ** 0.2
        loss = np.where((a < 0.2) & (b < 0.2), np.nan, loss)
        margins = np.array([0.9 - a * b, 0.8 - b, 1.2 - b - c])
        return Evaluation(np.array([loss, heat]).T, margins.T, points[:, :1])


@dataclass(frozen=True)
class Zdt:
    """The test functions ZDT1 and ZDT2, with a margin that always holds."""

    power: float
    variables: int
    objective_names = ("f1", "f2")
    margin_names = ("none",)

    @property
    def axes(self):
        return tuple(Axis(f"x{i:02}", low=0.0, high=1.0) for i in range(self.variables))

    def evaluate(self, points):
        g = 1.0 + 9.0 * points[:, 1:].mean(axis=1)
        f2 = g * (1.0 - (points[:, 0] / g) ** self.power)
        return Evaluation(np.column_stack([points[:, 0], f2]), np.ones((len(points), 1)), np.zeros((len(points), 0)))


def assert_same(a: Archive, b: Archive) -> None:
    for field in fields(Archive):
        x, y = getattr(a, field.name), getattr(b, field.name)
        pairs = [(x, y)]
        if field.name == "proof":
            assert x == y
            continue
        if isinstance(x, Rows):
            pairs = [(getattr(x, f.name), getattr(y, f.name)) for f in fields(Rows)]
        for p, q in pairs:
            assert np.asarray(p).dtype == np.asarray(q).dtype, field.name
            assert np.asarray(p).shape == np.asarray(q).shape, field.name
            assert np.asarray(p).tobytes() == np.asarray(q).tobytes(), field.name


def all_points(problem):
    return np.array(list(product(*[range(s) for s in problem.sizes])), dtype=float)


def expected_layers(objectives, tie):
    """Ordinal -> layer by the definitions, from {ordinal: row}; one ordinal for equal rows."""
    best: dict[tuple[float, ...], tuple[Any, ...]] = {}
    for ordinal, row in objectives.items():
        key = (*tie[ordinal], ordinal)
        best[tuple(row)] = min(best.get(tuple(row), key), key)
    left = {key[-1]: np.array(row) for row, key in best.items()}
    found = {}
    for layer in range(1, LAYERS + 1):
        front = [i for i, a in left.items() if not any((b <= a).all() and (b < a).any() for b in left.values())]
        found.update(dict.fromkeys(front, layer))
        left = {i: row for i, row in left.items() if i not in front}
    return found


drawn_problems = st.builds(
    lambda axes, objectives, seed: Drawn(tuple(s for s, _ in axes), tuple(o for _, o in axes), objectives, seed),
    st.lists(st.tuples(st.integers(1, 6), st.booleans()), min_size=1, max_size=4),
    st.integers(1, 3),
    st.integers(0, 10**6),
)


@settings(deadline=None, max_examples=60)
@given(drawn_problems, st.integers(1, 50))
def test_sweep_is_brute_force(problem, block):
    archive = sweep(problem, block=block)
    verdict = problem.evaluate(all_points(problem))
    n = len(verdict.objectives)
    computable = [
        i for i in range(n) if np.isfinite(verdict.objectives[i]).all() and not np.isnan(verdict.margins[i]).any()
    ]
    feasible = [i for i in computable if (verdict.margins[i] >= 0.0).all()]
    infeasible = sorted(set(computable) - set(feasible))
    broken = {i: np.flatnonzero(verdict.margins[i] < 0.0).tolist() for i in computable}
    found = dict(zip(archive.kept.ordinals.tolist(), archive.layer.tolist(), strict=True))

    assert found == expected_layers({i: verdict.objectives[i] for i in feasible}, verdict.tie)
    assert archive.rated == n
    assert archive.feasible == len(feasible)
    assert archive.not_computable == n - len(computable)
    assert archive.violated.tolist() == [sum(q in b for b in broken.values()) for q in range(3)]
    assert archive.violated_alone.tolist() == [sum(b == [q] for b in broken.values()) for q in range(3)]
    assert archive.feasible_sample.ordinals.tolist() == feasible
    assert archive.infeasible_sample.ordinals.tolist() == infeasible
    shortfall = {i: -sum(min(m, 0.0) for m in verdict.margins[i]) for i in infeasible}
    distinct = {shortfall[i]: i for i in reversed(infeasible)}  # of equal misses the first stays
    nearest = [distinct[s] for s in sorted(distinct)][:MISSES]
    assert archive.misses.ordinals.tolist() == nearest
    for rows in (archive.kept, archive.feasible_sample, archive.infeasible_sample, archive.misses):
        assert np.array_equal(rows.points, all_points(problem)[rows.ordinals])
        assert np.array_equal(rows.objectives, verdict.objectives[rows.ordinals])
        assert np.array_equal(rows.margins, verdict.margins[rows.ordinals])


@settings(deadline=None, max_examples=60)
@given(drawn_problems, st.randoms(use_true_random=False), st.integers(1, 6))
def test_merged_archive_does_not_depend_on_the_split(problem, random, parts):
    points = all_points(problem)
    verdict = problem.evaluate(points)
    part_of = np.array([random.randrange(parts) for _ in points])

    def part(rows, guard=None):
        shuffled = np.array(random.sample(rows.tolist(), len(rows)), dtype=np.int64)
        sub = Evaluation(verdict.objectives[shuffled], verdict.margins[shuffled], verdict.tie[shuffled])
        return Archive.from_block(points[shuffled], shuffled, sub, guard)

    whole = part(np.arange(len(points)))
    groups = [np.flatnonzero(part_of == p) for p in range(parts)]
    pieces = [part(rows) for rows in groups]
    left, right = pieces[0], pieces[-1]
    for piece in pieces[1:]:
        left = merge(left, piece)
    for piece in pieces[-2::-1]:
        right = merge(piece, right)
    random.shuffle(pieces)
    guarded = part(groups[0])
    for rows in groups[1:]:
        guarded = merge(guarded, part(rows, Guard.of(guarded)))
    for merged in (left, right, merge(*pieces), guarded):
        assert_same(whole, merged)


@pytest.mark.parametrize("objectives", [2, 3])
def test_sweep_of_a_large_grid_keeps_exact_layers_and_samples(objectives):
    problem = Drawn((2, 40, 30, 25), (True, False, False, False), objectives, 3)
    random = np.random.default_rng(1)
    n = len(problem.table.objectives)
    problem.table.objectives[:] = np.round(random.random((n, objectives)) ** 0.5, 3)
    problem.table.margins[:] = random.random((n, 3)) - 0.2
    archive = sweep(problem, block=1500)
    feasible = np.flatnonzero((problem.table.margins >= 0.0).all(axis=1))
    layer = layers(problem.table.objectives[feasible], LAYERS)
    kept = {tuple(row) for row in problem.table.objectives[feasible[layer > 0]]}
    assert {tuple(row) for row in archive.kept.objectives} == kept
    assert len(archive.kept) == len(kept)
    for index, sample, size in (
        (feasible, archive.feasible_sample, 4000),
        (np.setdiff1d(np.arange(n), feasible), archive.infeasible_sample, 1000),
    ):
        assert len(index) > size
        assert sample.ordinals.tolist() == np.sort(index[np.argsort(hashes(index))[:size]]).tolist()


def test_hash_is_the_published_one():
    # First outputs of splitmix64 seeded with 0 and 1234567, as printed by S. Vigna's code and Rosetta Code.
    assert hashes(np.array([0, 1234567])).tolist() == [0xE220A8397B1DCDAF, 6457827717110365317]


@pytest.mark.parametrize("block", [7, 64, 10_000])
def test_blocks_hold_every_point_once_and_share_outer_values(block):
    problem = Drawn((3, 5, 2, 11, 4), (False, True, False, False, True), 2, 0)
    grid = Grid.of(problem.axes, block)
    blocks = [grid.block(number) for number in range(grid.blocks)]
    ordinals = np.concatenate([o for _, o in blocks])
    assert sorted(ordinals.tolist()) == list(range(grid.total))
    assert np.array_equal(np.concatenate([p for p, _ in blocks]), all_points(problem)[ordinals])
    assert all(len(p) <= block and len(np.unique(p[:, [1, 4]], axis=0)) == 1 for p, _ in blocks)
    assert [task.start for task in grid.tasks()][1:] == [task.stop for task in grid.tasks()][:-1]


@pytest.mark.parametrize("objectives", [2, 3])
def test_sweep_does_not_depend_on_the_number_of_workers(objectives):
    problem = Drawn((4, 10, 20, 9, 5), (True, False, False, False, False), objectives, 11)
    calls = []
    alone = sweep(problem, workers=1, block=100)
    pair = sweep(problem, workers=2, block=100, progress=lambda done, total: calls.append((done, total)))
    assert len(calls) > 4
    assert calls[-1] == (36_000, 36_000)
    assert calls == sorted(calls)
    assert_same(alone, pair)


@pytest.mark.parametrize("workers", [1, 2])
def test_an_interrupted_sweep_raises_and_can_be_followed_by_another(workers):
    problem = Drawn((4, 10, 20, 9, 5), (True, False, False, False, False), 2, 11)

    def interrupt(done, total):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        sweep(problem, workers=workers, block=100, progress=interrupt)
    assert sweep(problem, workers=workers, block=100).rated == 36_000


def test_sweep_refuses_a_continuous_axis():
    with pytest.raises(ValueError, match="x00"):
        sweep(Zdt(0.5, 3))


def test_sweep_refuses_more_points_than_an_ordinal_can_number():
    with pytest.raises(ValueError, match="cannot sweep"):
        Grid.of((Axis("a", size=2**32), Axis("b", size=2**31)), 10)


def test_an_axis_without_values_is_refused():
    with pytest.raises(ValueError, match="pitch"):
        Axis("pitch", size=0)
    with pytest.raises(ValueError, match="length"):
        Axis("length", low=1.0, high=1.0)


class Boxed(Smooth):
    """Boxes along the first axis, of which nothing is known."""

    spans = Spans((0,), (), 1)

    def better(self, low, high, front):
        return np.full((len(low), len(self.objective_names)), -np.inf)

    def near(self, points, front):
        return np.arange(len(points))


SEARCHERS = {
    "sweep": sweep,
    "evolve": lambda problem, **options: evolve(problem, seed=4, budget=900, population=40, **options),
    "certify": certify,
}


@pytest.fixture(scope="module", params=SEARCHERS)
def found(request):
    calls = []
    archive = SEARCHERS[request.param](Boxed(), progress=lambda done, total: calls.append((done, total)))
    return archive, calls


class TestEverySearcher:
    """The contract: what holds of an archive whoever made it."""

    def test_front_is_feasible_and_nondominated(self, found):
        front = found[0].front
        assert len(front) > 5
        assert (front.margins >= 0.0).all()
        assert nondominated(front.objectives).all()
        assert len(np.unique(front.objectives, axis=0)) == len(front)

    def test_layers_follow_one_another(self, found):
        archive = found[0]
        assert np.array_equal(layers(archive.kept.objectives, LAYERS), archive.layer)
        assert (np.diff(archive.layer) >= 0).all()

    def test_counts_add_up(self, found):
        archive = found[0]
        assert archive.rated == archive.feasible + archive.infeasible + archive.not_computable
        assert len(archive.feasible_sample) == min(archive.feasible, FEASIBLE_SAMPLE)
        assert archive.not_computable > 0
        assert (archive.violated_alone <= archive.violated).all()
        assert archive.violated.max() <= archive.infeasible <= archive.violated.sum()

    def test_rows_are_the_problem_s_own_verdict(self, found):
        archive = found[0]
        for rows in (archive.kept, archive.feasible_sample, archive.infeasible_sample, archive.misses):
            verdict = Smooth().evaluate(rows.points)
            assert np.array_equal(verdict.objectives, rows.objectives)
            assert np.array_equal(verdict.margins, rows.margins)
            assert len(np.unique(rows.ordinals)) == len(rows)

    def test_points_are_on_the_axes(self, found):
        points = found[0].feasible_sample.points
        assert np.array_equal(points, np.floor(points))
        assert (points >= 0).all()
        assert (points < Smooth().sizes).all()

    def test_misses_are_the_nearest_first(self, found):
        misses = found[0].misses
        shortfall = -np.minimum(misses.margins, 0.0).sum(axis=1)
        assert len(misses) == MISSES
        assert (shortfall > 0.0).all()
        assert (np.diff(shortfall) >= 0.0).all()

    def test_progress_ends_at_the_total(self, found):
        done, total = found[1][-1]
        assert done == total
        assert found[1] == sorted(found[1])

    def test_arrays_cannot_be_written(self, found):
        with pytest.raises(ValueError, match="read-only"):
            found[0].kept.objectives[0] = 0.0


def test_evolution_comes_near_the_swept_front():
    swept, evolved = sweep(Smooth()).front, evolve(Smooth(), seed=1, budget=2000, population=50).front
    reference = swept.objectives.max(axis=0)
    share = hypervolume(evolved.objectives, reference) / hypervolume(swept.objectives, reference)
    # The sweep is the truth; a seventh of its 13,824 points leave little of the front unseen.
    assert 0.99 < share <= 1.0


@pytest.mark.parametrize("seed", [0, 7])
def test_evolution_repeats_with_its_seed(seed):
    first, second = (evolve(Smooth(), seed=seed, budget=400, population=30) for _ in range(2))
    assert_same(first, second)
    other = evolve(Smooth(), seed=seed + 1, budget=400, population=30)
    assert not np.array_equal(first.feasible_sample.points, other.feasible_sample.points)


def test_evolution_loses_few_candidates_to_points_seen_before():
    assert evolve(Smooth(), seed=3, budget=900, population=40).rated > 0.85 * 900


def test_evolution_judges_no_point_twice():
    archive = evolve(Smooth(), seed=2, budget=600, population=30)
    rows = Rows.join([archive.feasible_sample, archive.infeasible_sample])
    assert len(np.unique(rows.points, axis=0)) == len(rows)
    assert archive.rated <= 600


@pytest.mark.parametrize("sizes", [(1,), (1, 2), (2, 2, 2)])
def test_evolution_of_a_tiny_space_ends(sizes):
    archive = evolve(Drawn(sizes, (True,) + (False,) * (len(sizes) - 1), 2, 5), seed=0, budget=60, population=10)
    assert 0 < archive.rated <= np.prod(sizes)


def test_evolution_where_nothing_is_computable_ends_with_an_empty_front():
    problem = Drawn((5, 5), (False, False), 2, 0)
    problem.table.objectives[:] = np.nan
    archive = evolve(problem, seed=0, budget=60, population=10)
    assert archive.rated == archive.not_computable > 0
    assert len(archive.front) == len(archive.misses) == 0


def test_evolution_leaves_optuna_s_log_as_it_was():
    import optuna

    before = optuna.logging.get_verbosity()
    evolve(Smooth(), seed=0, budget=60, population=10)
    assert optuna.logging.get_verbosity() == before


@pytest.mark.parametrize(("population", "budget"), [(1, 10), (10, 9)])
def test_evolution_refuses_a_population_it_cannot_breed(population, budget):
    with pytest.raises(ValueError, match="population"):
        evolve(Smooth(), seed=0, budget=budget, population=population)


ZDT_CASES = [
    pytest.param(power, name, variables, budget, marks=marks, id=f"{name}-{variables}-variables")
    for power, name in ((0.5, "zdt1"), (2.0, "zdt2"))
    for variables, budget, marks in ((6, 3000, ()), (30, 25_000, (pytest.mark.slow,)))
]


@pytest.mark.parametrize(("power", "name", "variables", "budget"), ZDT_CASES)
def test_evolution_reaches_the_pass_mark_of_nsga2(power, name, variables, budget):
    archive = evolve(Zdt(power, variables), seed=1, budget=budget, population=100 if variables > 6 else 50)
    reached = hypervolume(archive.front.objectives, np.full(2, 1.1))
    assert KNOWN["nsga2_pass_mark"][f"{name}_hypervolume_1_1"] < reached
    assert reached < KNOWN[name]["hypervolume_1_1"]
