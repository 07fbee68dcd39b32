"""Off the grid: continuous variables moved freely from a front that was found on their steps.

A build is one choice of every discrete variable; with its continuous variables free it draws a curve, or a surface,
through the objectives. Which builds are on the front: those begun with, and every build that differs from one on it in
one or two discrete variables, tried at places spread over the ranges and moved towards the front by an evolution of all
of them side by side, whose moves are halved every round and which leaves out whoever cannot catch up. Then where:
points between neighbours on the front, beyond its ends and around it, until the hypervolume stands still.

Random numbers come from one stream, drawn here, whoever judges the points; blocks are of one size and are taken in
order: the same seed gives the same front to the last bit, whatever the number of workers.

Source: I. Rechenberg, Evolutionsstrategie, 1973 (one parent, some children, the best of them stays); how far behind
the front a point is, after A. P. Wierzbicki, The use of reference objectives in multiobjective optimization, 1980
(both from memory).
"""

from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field

import numpy as np

from optimize.pareto import nondominated, unique_front
from optimize.search.builds import Builds, missing, rivals
from optimize.search.denser import across, around, between, beyond, corner_of, thinned, volume, width_of
from optimize.search.problem import Problem
from optimize.search.rows import Rows
from optimize.workers import in_order
from physics.arrays import Array

Progress = Callable[[int, int], None]
Settle = Callable[[Array], Array]

BLOCK = 4096  # points judged together
PLACES = 16  # where a build is tried first
HALVINGS = 8  # of the moves of builds that race for the front
CHILDREN = 4  # of each in a round
SLOPE = 2.0  # how far behind, in widths of the front, a build may be for each range its moves still reach
ANCHORS = 1000  # points of the front that a race is run against
SEEN = 64  # places at which builds are compared
COARSE = 512  # points of the front, about, while builds still enter it
ACROSS = 1  # points moved across the front for each point of it, where several variables are free
CALM = 2  # such rounds, and the front is done
ROUNDS = 100
HAIR = 1e-9  # of the front's width: what is no difference


@dataclass(frozen=True)
class Care:
    """How far to go, in shares of the hypervolume.

    still : a round that adds less adds hardly anything. nothing : a gap that would add less is left alone. loss : what
    the front may lose when it is thinned at the end. most : points of the front before that.
    """

    still: float = 5e-6
    nothing: float = 3e-10
    loss: float = 2e-5
    most: int = 200_000


CARE = Care()
LONG = Care(still=1e-7, nothing=2e-11, loss=0.0, most=1_000_000)  # to measure others by


@dataclass(frozen=True)
class Refined:
    """A front off the grid, sorted by its objectives, `front.ordinals` counting the points judged.

    rated : points judged. builds : on the front. tried : builds looked at. course : hypervolume before the last filling
    and after each of its rounds, as shares of the last. still : whether it had stopped growing.
    """

    front: Rows
    rated: int
    builds: int
    tried: int
    course: tuple[float, ...]
    still: bool


def refine(
    problem: Problem, starts: Array, seed: np.random.SeedSequence, workers: int = 1, settle: Settle | None = None,
    care: Care = CARE, progress: Progress | None = None,
) -> Refined:
    """Move the continuous variables of a front off their steps.

    Parameters
    ----------
    problem : with at least one continuous axis.
    starts : (n, axes), the front on the grid and what lies near it.
    seed : of all random numbers.
    workers : number of processes.
    settle : moves points to values that can be written down; none: they stay as they are drawn.
    care : how far to go.
    progress : called with the number of points judged, and that number again: how many it takes is not known before.

    Raises
    ------
    ValueError
        If no axis is continuous.
    """
    if all(axis.discrete for axis in problem.axes):
        raise ValueError("expected a continuous axis; all are discrete")
    state = _State(problem, np.random.default_rng(seed), workers, settle or (lambda points: points), care, progress)
    state.judge(starts)
    fresh = state.builds.each(starts)[0]
    while len(fresh):
        state.race(fresh)
        state.fill(COARSE)
        state.challenge()
        fresh = state.fresh_builds()
    course, done = state.fill(care.most)
    front = thinned(state.front, care.loss)
    return Refined(front, state.rated, len(state.builds.each(front.points)[0]), len(state.tried), course, done)


@dataclass
class _State:
    """The front so far, and what it takes to go on."""

    problem: Problem
    random: np.random.Generator
    workers: int
    settle: Settle
    care: Care
    progress: Progress | None
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
        starts = range(0, max(len(points), 1), BLOCK)
        told = [(self.problem, points[i : i + BLOCK], self.rated + i) for i in starts]
        with closing(in_order(_judged, told, self.workers)) as parts:
            rows = Rows.join(list(parts))
        self.rated += len(rows)
        good = rows.take(missing(rows) == 0.0)
        known = good if self.kept is None else Rows.join([self.kept, good])
        if self.hair is None and len(known):
            self.hair = HAIR * width_of(known.objectives[nondominated(known.objectives)])
        self.kept = _best(known, self.hair)
        if self.progress is not None:
            self.progress(self.rated, self.rated)
        return rows

    def fresh_builds(self) -> Array:
        """Neighbours of the builds on the front that were never tried."""
        near = self.builds.neighbours(self.builds.each(self.front.points)[0])
        return near[[build.tobytes() not in self.tried for build in near]]

    def race(self, builds: Array) -> None:
        """Move builds towards the front; those too far behind for the moves still to come are left out.

        While there is none they are moved towards where they keep every requirement, all of them.
        """
        self.tried |= {build.tobytes() for build in builds}
        places, count, reach = self.builds.spread(len(builds), PLACES, self.random), PLACES, 1.0 / PLACES
        best, behind = places[:, :0], np.empty((len(builds), 0))
        for _ in range(HALVINGS):
            if not len(builds):
                return
            rows = self.judge(self.builds.points(np.repeat(builds, count, axis=0), places.reshape(-1, places.shape[2])))
            places = np.concatenate([best, self.builds.places(rows.points).reshape(places.shape)], axis=1)
            behind = np.concatenate([behind, self._behind(rows).reshape(-1, count)], axis=1)
            each, first = np.arange(len(builds)), np.argmin(behind, axis=1)
            near = behind[each, first] <= (SLOPE * reach if len(self.front) else np.inf)
            best, behind = places[each, first][near, None], behind[each, first][near, None]
            builds, count = builds[near], CHILDREN
            moves = self.random.uniform(-reach, reach, (len(builds), count, places.shape[2]))
            places = best + moves * self.builds.ranges
            reach /= 2.0

    def _behind(self, rows: Rows) -> Array:
        """How far points are behind the front, in widths of it, and what they miss of the requirements.

        Negative where a point is ahead of it and misses nothing.
        """
        short, front = missing(rows), self.front.objectives
        if not len(front):
            return short
        anchors = front[np.linspace(0, len(front) - 1, min(ANCHORS, len(front))).astype(np.int64)]
        sound = np.flatnonzero(np.isfinite(short))
        depth = _depth(rows.objectives[sound], anchors, width_of(front))
        behind = short.copy()
        behind[sound] += np.where(short[sound] > 0.0, np.maximum(depth, 0.0), depth)
        return behind

    def challenge(self) -> None:
        """Rate a build at the places of another on the front that is nowhere seen to be better than it.

        All are seen at the same places. What is then beaten was on the front only because that was coarse.
        """
        points = self.front.points
        builds, which = self.builds.each(points)
        if len(builds) < 2:
            return
        places = np.tile(self.builds.spread(1, SEEN, self.random)[0], (len(builds), 1))
        rows = self.judge(self.builds.points(np.repeat(builds, SEEN, axis=0), places))
        assert self.hair is not None
        rival = rivals(rows, len(builds), self.hair)[which]
        met = np.flatnonzero(rival >= 0)
        self.judge(self.builds.points(builds[rival[met]], self.builds.places(points[met])))

    def fill(self, most: int) -> tuple[tuple[float, ...], bool]:
        """Make the front denser where that adds most, until it has `most` points or hardly grows any more."""
        if not len(self.front):
            return (), True
        corner, calm = corner_of(self.front.objectives), 0
        sizes = [volume(self.front.objectives, corner)]
        for _ in range(ROUNDS):
            if calm == CALM or len(self.front) >= most:
                break
            front, most_between = self.front, max(len(self.front), COARSE)
            self.judge(np.concatenate([
                between(front, self.builds, corner, most_between, self.care.nothing, self.random),
                beyond(front, self.builds, self.random), around(front, self.builds, COARSE, self.random),
                across(front, self.builds, corner, ACROSS * len(front), self.random),
            ]))
            sizes.append(volume(self.front.objectives, corner))
            calm = calm + 1 if sizes[-1] - sizes[-2] < self.care.still * sizes[-1] else 0
            if len(self.builds.free) > 1:
                # What is on the front only because it is coarse would breed more of its kind
                self.kept = thinned(self.front, self.care.still / 10)
        return tuple(size / sizes[-1] for size in sizes), calm == CALM


def _judged(problem: Problem, points: Array, first: int) -> Rows:
    made = problem.evaluate(points)
    ordinals = np.arange(first, first + len(points), dtype=np.int64)
    return Rows(ordinals, points, made.objectives, made.margins, made.tie)


def _best(rows: Rows, hair: Array | None) -> Rows:
    """The front of some rows, sorted by their objectives; of those a hair apart one, by the tie columns."""
    if not len(rows) or hair is None:
        return rows
    about = np.round(rows.objectives / hair) * hair
    index = np.flatnonzero(nondominated(about))
    index = index[unique_front(about[index], rows.tie[index])]
    return rows.take(index[np.lexsort(rows.objectives[index].T[::-1])])


def _depth(objectives: Array, anchors: Array, width: Array) -> Array:
    """How far points must be moved in all objectives at once, in widths, to be beaten by no anchor; negative ahead."""
    depth = np.full(len(objectives), -np.inf)
    columns = np.ascontiguousarray((objectives / width).T)
    for anchor in anchors / width:
        behind = columns[0] - anchor[0]
        for column, value in zip(columns[1:], anchor[1:], strict=True):
            np.minimum(behind, column - value, out=behind)
        np.maximum(depth, behind, out=depth)
    return depth
