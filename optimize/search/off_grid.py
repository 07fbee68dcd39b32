"""Off the grid: continuous variables moved freely from a front that was found on their steps.

A build is one choice of every discrete variable; with its continuous variables free it draws a curve, or a surface,
through the objectives. Which builds are on the front: those begun with, and every build that differs from one on it in
one or two discrete variables, tried at places spread over the ranges and moved towards the front by an evolution of all
of them at once, whose moves are halved every round and which leaves out whoever cannot catch up. Then where:
points between neighbours on the front and around them, as many again each round, until the hypervolume stands still.

Random numbers come from one stream that does not depend on what judges the points, blocks are of one size, and whole
blocks go to the workers in order: the same seed gives the same front to the last bit.

Source: a (1 + lambda) evolution strategy after I. Rechenberg, Evolutionsstrategie, 1973, run for many builds
side by side; the aim is the achievement function of A. P. Wierzbicki, The use of reference objectives in multiobjective
optimization, 1980 (both from memory).
"""

from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field

import numpy as np

from optimize.pareto import contributions, hypervolume, nondominated
from optimize.search.builds import Builds
from optimize.search.near_front import corner_of, depth_behind, front_of_rows, missed, rivals_of, thinned, width_of
from optimize.search.problem import Problem
from optimize.search.rows import Rows
from optimize.workers import in_order
from physics.arrays import Array, IntArray

Progress = Callable[[int, int], None]
Settle = Callable[[Array], Array]

BLOCK = 4096  # points judged together
PLACES = 8  # where a build is tried first
HALVINGS = 6  # of the moves of builds that race for the front
CHILDREN = 4  # of each in a round
SLOPE = 0.5  # how far behind, in widths of the front, a build may be for each range its moves still reach
ANCHORS = 300  # points of the front that a race is run against
COARSE = 512  # points of the front, about, while builds still enter it
MOST = 100_000  # points of the front
STILL = 1e-5  # share of the hypervolume; a round that adds less hardly adds anything
ROUNDS = 40
NOTHING = 5e-10  # of the hypervolume's box: a gap that adds less is left alone
CALM = 2  # rounds that hardly add anything, and the front is done
SEEN = 64  # places at which builds are compared
BEYOND = 6  # points tried beyond each end of a build in a round
HAIR = 1e-9  # of the front's width
LOSS = 1e-5  # share of the hypervolume that a front may lose when it is thinned for the record
_BETWEEN = (0.3, 0.7)  # of the way from one point of the front to the next
_REACH = (-6.0, -1.0)  # of moves around a point, as powers of ten of the range


@dataclass(frozen=True)
class Refined:
    """A front off the grid, sorted by its objectives, `rows.ordinals` counting the points judged, and how it was found.

    rated : points judged. builds : on the front; tried: builds looked at. course : hypervolume after each round of
    filling, as a share of the last. still : whether it had stopped growing when the front was done.
    """

    front: Rows
    rated: int
    builds: int
    tried: int
    course: tuple[float, ...]
    still: bool


def refine(
    problem: Problem, starts: Array, seed: np.random.SeedSequence, workers: int = 1, settle: Settle | None = None,
    most: int = MOST, still: float = STILL, progress: Progress | None = None,
) -> Refined:
    """Move the continuous variables of a front off their steps.

    Parameters
    ----------
    problem : with at least one continuous axis.
    starts : (n, axes), the front on the grid and what lies near it.
    seed : of all random numbers.
    workers : number of processes.
    settle : moves points to values that can be written down; none: they stay as they are drawn.
    most : points of the front, about, at which filling stops.
    still : share of the hypervolume.
    progress : called with the number of points of the front and `most`.

    Raises
    ------
    ValueError
        If no axis is continuous.
    """
    if all(axis.discrete for axis in problem.axes):
        raise ValueError("expected a continuous axis; all are discrete")
    state = _State(problem, np.random.default_rng(seed), workers, settle or (lambda points: points))
    state.judge(starts)
    state.race(np.unique(state.builds.of(starts), axis=0))
    state.fill(COARSE, still)
    state.challenge()
    while len(fresh := state.fresh_builds()):
        state.race(fresh)
        state.fill(COARSE, still)
        state.challenge()
    course, done = state.fill(most, still, progress)
    front = thinned(state.front, LOSS)
    on_front = len(np.unique(state.builds.of(front.points), axis=0)) if len(front) else 0
    if progress is not None:
        progress(most, most)
    return Refined(front, state.rated, on_front, len(state.tried), course, done)


@dataclass
class _State:
    """The front so far, and what it takes to go on."""

    problem: Problem
    random: np.random.Generator
    workers: int
    settle: Settle
    rated: int = 0
    tried: set[bytes] = field(default_factory=set)
    kept: Rows | None = None
    hair: Array | None = None  # (k,) what is no difference in an objective

    @property
    def builds(self) -> Builds:
        return Builds(self.problem.axes)

    @property
    def front(self) -> Rows:
        assert self.kept is not None
        return self.kept

    def judge(self, points: Array) -> Rows:
        """Judge points in blocks; what is feasible and not beaten enters the front. The points come back judged."""
        points = self.settle(points)
        blocks = [(self.problem, points[i : i + BLOCK]) for i in range(0, len(points), BLOCK)] or [
            (self.problem, points)
        ]
        with closing(in_order(_judged, blocks, self.workers)) as parts:
            rows = Rows.join(list(parts))
        rows = Rows(np.arange(self.rated, self.rated + len(rows)), rows.points, rows.objectives, rows.margins, rows.tie)
        self.rated += len(rows)
        good = rows.take(missed(rows) == 0.0)
        known = good if self.kept is None else Rows.join([self.kept, good])
        if self.hair is None and len(known):
            self.hair = HAIR * width_of(known.objectives[nondominated(known.objectives)])
        self.kept = front_of_rows(known, self.hair)
        return rows

    def fresh_builds(self) -> Array:
        """Neighbours of the builds on the front that were never tried."""
        if not len(self.front):
            return np.empty((0, len(self.builds.lists)))
        near = self.builds.neighbours(np.unique(self.builds.of(self.front.points), axis=0))
        return near[[build.tobytes() not in self.tried for build in near]]

    def race(self, builds: Array) -> None:
        """Move builds towards the front; those too far behind for the moves still to come are left out."""
        self.tried |= {build.tobytes() for build in builds}
        c, low, high = len(self.builds.free), self.builds.low, self.builds.high
        strata = np.argsort(self.random.random((len(builds), PLACES, c)), axis=1)
        places = low + (strata + self.random.random(strata.shape)) / PLACES * (high - low)
        reach, count = 1.0 / PLACES, PLACES
        best, score = places[:, :0].reshape(len(builds), 0, c), np.empty((len(builds), 0))
        for _ in range(HALVINGS):
            if not len(builds):
                return
            rows = self.judge(self.builds.points(np.repeat(builds, count, axis=0), places.reshape(-1, c)))
            places = np.concatenate([best, rows.points[:, self.builds.free].reshape(-1, count, c)], axis=1)
            score = np.concatenate([score, self._behind(rows).reshape(-1, count)], axis=1)
            at, each = np.argmin(score, axis=1), np.arange(len(builds))
            best, score = places[each, at][:, None], score[each, at][:, None]
            near = score[:, 0] <= SLOPE * reach
            builds, best, score, count = builds[near], best[near], score[near], CHILDREN
            moves = self.random.uniform(-reach, reach, (len(builds), count, c))
            places = best + moves * (high - low)
            reach /= 2

    def _behind(self, rows: Rows) -> Array:
        """How far points are behind the front, in widths of it, and what they miss of the requirements."""
        front = self.front.objectives
        score = missed(rows)
        if not len(front):
            return score
        anchors = front[np.linspace(0, len(front) - 1, min(ANCHORS, len(front))).astype(np.int64)]
        sound = np.flatnonzero(np.isfinite(score))
        score[sound] += depth_behind(rows.objectives[sound], anchors, width_of(front))
        return score

    def challenge(self) -> None:
        """Rate a build at the places of another on the front that is nowhere seen to be better than it.

        All are seen at the same places. What is then beaten was on the front only because that was coarse.
        """
        points, ranges = self.front.points, self.builds.high - self.builds.low
        builds, of = np.unique(self.builds.of(points), axis=0, return_inverse=True)
        if len(builds) < 2:
            return
        strata = np.argsort(self.random.random((SEEN, len(ranges))), axis=0)
        places = self.builds.low + (strata + self.random.random(strata.shape)) / SEEN * ranges
        rows = self.judge(self.builds.points(np.repeat(builds, SEEN, axis=0), np.tile(places, (len(builds), 1))))
        assert self.hair is not None
        rival = rivals_of(rows, len(builds), self.hair)[of.reshape(-1)]
        met = np.flatnonzero(rival >= 0)
        self.judge(self.builds.points(builds[rival[met]], points[met][:, self.builds.free]))

    def fill(self, most: int, still: float, progress: Progress | None = None) -> tuple[tuple[float, ...], bool]:
        """Make the front denser where that adds most, until it has `most` points or hardly grows any more."""
        if not len(self.front):
            return (), True
        corner, calm = corner_of(self.front.objectives), 0
        sizes = [self._size(corner)]
        for _ in range(ROUNDS):
            if calm == CALM or len(self.front) >= most:
                break
            self.judge(np.concatenate([self._between(corner), self._beyond(), self._around()]))
            sizes.append(self._size(corner))
            calm = calm + 1 if sizes[-1] - sizes[-2] < still * sizes[-1] else 0
            if progress is not None:
                progress(min(len(self.front), most), most)
        return tuple(size / sizes[-1] for size in sizes), calm == CALM

    def _size(self, corner: Array) -> float:
        width = corner - self.front.objectives.min(axis=0)
        return hypervolume(self.front.objectives / width, corner / width) * float(np.prod(width))

    def _between(self, corner: Array) -> Array:
        """Points between neighbours on the front of one build, where middles would add most, were it straight there.

        Mostly near the middle; every fourth anywhere, for a limit may stand between the two.
        """
        points, values = self._in_builds()
        pairs, ideal = self._pairs(self.builds.of(points)), values.min(axis=0)
        scaled = (values - ideal) / (corner - ideal)
        middles = scaled[pairs].mean(axis=1)
        gain = contributions(np.concatenate([scaled, middles]), np.ones(len(corner)))[len(scaled) :]
        best = np.argsort(-gain, kind="stable")[: max(len(points), COARSE)]
        first, second = pairs[best[gain[best] > NOTHING]].T
        share = self.random.uniform(*_BETWEEN, (len(first), 1))
        share[::4] = self.random.random((len(share[::4]), 1))
        places = points[:, self.builds.free]
        made = places[first] + share * (places[second] - places[first])
        return self.builds.points(self.builds.of(points)[first], made)

    def _pairs(self, builds: Array) -> IntArray:
        """Positions of neighbours of one build, (n, 2); with several free variables of those further on, too."""
        n = len(builds)
        steps = range(1, min(len(self.builds.free) + 1, n))
        pairs = [np.column_stack([np.arange(n - step), np.arange(step, n)]) for step in steps]
        found = np.concatenate([np.empty((0, 2), dtype=np.int64), *pairs])
        return np.asarray(found[np.all(builds[found[:, 0]] == builds[found[:, 1]], axis=1)])

    def _beyond(self) -> Array:
        """Points beyond both ends of each build, away from their neighbours on it: a limit may stand just there."""
        points, _ = self._in_builds()
        changes = np.any(np.diff(self.builds.of(points), axis=0) != 0, axis=1)
        first, last = np.flatnonzero(np.append(True, changes)), np.flatnonzero(np.append(changes, True))
        ends = np.repeat(np.concatenate([first, last]), BEYOND)
        inner = np.repeat(np.concatenate([np.minimum(first + 1, last), np.maximum(last - 1, first)]), BEYOND)
        places, ranges = points[:, self.builds.free], self.builds.high - self.builds.low
        away = (places[ends] - places[inner]) / ranges
        length = np.max(np.abs(away), axis=1, keepdims=True)
        away = np.where(length > 0, away / np.where(length > 0, length, 1.0), self.random.uniform(-1, 1, away.shape))
        reach = 10.0 ** self.random.uniform(*_REACH, (len(ends), 1))
        return self.builds.points(self.builds.of(points)[ends], places[ends] + reach * away * ranges)

    def _around(self) -> Array:
        """Points around the front."""
        points, _ = self._in_builds()
        chosen = self.random.integers(len(points), size=COARSE)
        ranges = self.builds.high - self.builds.low
        moves = self.random.uniform(-1.0, 1.0, (COARSE, len(ranges)))
        moves *= 10.0 ** self.random.uniform(*_REACH, (COARSE, 1))
        return self.builds.points(self.builds.of(points)[chosen], points[chosen][:, self.builds.free] + moves * ranges)

    def _in_builds(self) -> tuple[Array, Array]:
        """Points and objectives of the front by build, then along it."""
        rows = self.front
        order = np.lexsort((*rows.objectives.T[::-1], *self.builds.of(rows.points).T[::-1]))
        return rows.points[order], rows.objectives[order]


def _judged(problem: Problem, points: Array) -> Rows:
    made = problem.evaluate(points)
    return Rows(np.arange(len(points)), points, made.objectives, made.margins, made.tie)
