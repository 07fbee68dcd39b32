"""What a search leaves behind: the first fronts, a grey cloud, the counts and the nearest misses.

An archive of a whole search is merged from archives of its blocks. The merge is associative, and the result
does not depend on the order or the size of the blocks:

- Layers: a point of layer <= k among all points is in layer <= k of its block, because its layer is the
  length of the longest chain of points dominating one another down to it, and a block holds part of a chain.
- Samples: the points whose ordinal numbers have the smallest hash, a rule that looks at one point at a time.
- Equal objectives: one point stays, by the tie columns, then by the lowest ordinal number; of equal misses, the lowest.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optimize.pareto import Screen, layers, unique_front
from optimize.search.band import Band, BandRule, merge_bands
from optimize.search.problem import Evaluation
from optimize.search.rows import Rows, read_only
from physics.arrays import Array, BoolArray, IntArray

LAYERS = 3
FEASIBLE_SAMPLE = 4000
INFEASIBLE_SAMPLE = 1000
MISSES = 10

EVERYTHING = 2**64 - 1


@dataclass(frozen=True)
class Proof:
    """What a front that is exact without every point rated rests on: points ruled out or rated in full, and boxes."""

    points: int
    rated: int
    boxes: int


@dataclass(frozen=True)
class Archive:
    """The result of a search, or of a part of one.

    Attributes
    ----------
    kept : Rows of the first three layers among the feasible points, sorted by layer, then objectives;
        one row for equal objectives.
    layer : (n,) 1 for the front, 2, 3 for the layers behind it.
    feasible_sample, infeasible_sample : Rows of at most 4,000 and 1,000 points, sorted by ordinal number.
        The infeasible ones are computable.
    misses : Rows of the 10 infeasible, computable points of smallest shortfall, the nearest first.
    rated, feasible, not_computable : numbers of points. The others are infeasible and computable.
    violated, violated_alone : (q,) numbers of computable points that violate each margin, and only that one.
    band : of the cores that may be on the front of the copies, where a search was asked for it.
    proof : of the front, where points were ruled out unseen; counts and samples are then of points drawn evenly.
    """

    kept: Rows
    layer: IntArray
    feasible_sample: Rows
    infeasible_sample: Rows
    misses: Rows
    rated: int
    feasible: int
    not_computable: int
    violated: IntArray
    violated_alone: IntArray
    band: Band | None = None
    proof: Proof | None = None

    @property
    def ratings(self) -> int:
        """Number of points rated in full, those of a proof included."""
        return self.rated + (self.proof.rated if self.proof is not None else 0)

    @property
    def front(self) -> Rows:
        """The feasible points no other feasible point dominates."""
        return self.kept.take(self.layer == 1)

    @property
    def infeasible(self) -> int:
        """Number of points that are computable and violate a margin."""
        return self.rated - self.feasible - self.not_computable

    @classmethod
    def from_block(
        cls, points: Array, ordinals: IntArray, evaluation: Evaluation, guard: "Guard | None" = None,
        rule: BandRule | None = None,
    ) -> "Archive":
        """The archive of one batch of points.

        Parameters
        ----------
        points, ordinals : (n, axes) and (n,); an ordinal number occurs once in a search.
        evaluation : the verdict on the points.
        guard : of an archive this one will be merged with. What it rules out is left out early, which saves
            most of the work and leaves the merged result as it is.
        rule : of the band to keep, if one is wanted.
        """
        rows = Rows(ordinals, points, evaluation.objectives, evaluation.margins, evaluation.tie)
        verdict = judge(evaluation)
        guard = guard or Guard.none(evaluation.objectives.shape[1])
        feasible = np.flatnonzero(verdict.feasible)
        infeasible = np.flatnonzero(verdict.computable & ~verdict.feasible)
        candidates = feasible[_promising(rows.objectives[feasible], guard.screen)]
        kept, layer = _best_layers(rows, candidates)
        near = infeasible[_nearest(verdict.shortfall[infeasible], rows.ordinals[infeasible])]
        return cls(
            kept=kept,
            layer=layer,
            feasible_sample=_sample(rows, feasible, FEASIBLE_SAMPLE, guard.feasible_mark),
            infeasible_sample=_sample(rows, infeasible, INFEASIBLE_SAMPLE, guard.infeasible_mark),
            misses=rows.take(near),
            rated=len(rows),
            feasible=len(feasible),
            not_computable=int(np.count_nonzero(~verdict.computable)),
            violated=verdict.violated,
            violated_alone=verdict.violated_alone,
            band=Band.of(rule, rows, guard.band) if rule is not None else None,
        )


    def thinned(self, guard: "Guard") -> "Archive":
        """Without what the guard of an archive it will be merged with rules out: the merged result stays the same."""
        stay = guard.screen.passing(self.kept.objectives)
        return replace(
            self, kept=self.kept.take(stay), layer=read_only(self.layer[stay]),
            feasible_sample=_below(self.feasible_sample, guard.feasible_mark),
            infeasible_sample=_below(self.infeasible_sample, guard.infeasible_mark),
            band=self.band if self.band is None or guard.band is None else self.band.without(guard.band),
        )


@dataclass(frozen=True)
class Guard:
    """What a block need not keep, because an archive it will be merged with has better.

    Attributes
    ----------
    screen : of the last layer kept; a row dominated by it lies behind that layer.
    feasible_mark, infeasible_mark : largest hash in a full sample.
    band : of the archive.
    """

    screen: Screen
    feasible_mark: int
    infeasible_mark: int
    band: Band | None = None

    @classmethod
    def of(cls, archive: Archive) -> "Guard":
        """The guard of an archive."""
        return cls(
            Screen.of(archive.kept.objectives[archive.layer == LAYERS]),
            _mark(archive.feasible_sample, FEASIBLE_SAMPLE),
            _mark(archive.infeasible_sample, INFEASIBLE_SAMPLE),
            archive.band,
        )

    @classmethod
    def none(cls, objectives: int) -> "Guard":
        """The guard that rules nothing out."""
        return cls(Screen.of(np.empty((0, objectives))), EVERYTHING, EVERYTHING)


def merge(*archives: Archive) -> Archive:
    """One archive of the points of all of them, whatever their order.

    Raises
    ------
    ValueError
        If there is nothing to merge.
    """
    if not archives:
        raise ValueError("expected at least one archive to merge")
    best = Rows.join([a.kept for a in archives])
    kept, layer = _best_layers(best, np.arange(len(best)))
    misses = Rows.join([a.misses for a in archives])
    bands = [a.band for a in archives if a.band is not None]
    return Archive(
        kept=kept,
        layer=layer,
        feasible_sample=_joined_sample([a.feasible_sample for a in archives], FEASIBLE_SAMPLE),
        infeasible_sample=_joined_sample([a.infeasible_sample for a in archives], INFEASIBLE_SAMPLE),
        misses=misses.take(_nearest(shortfall(misses.margins), misses.ordinals)),
        rated=sum(a.rated for a in archives),
        feasible=sum(a.feasible for a in archives),
        not_computable=sum(a.not_computable for a in archives),
        violated=read_only(np.sum([a.violated for a in archives], axis=0)),
        violated_alone=read_only(np.sum([a.violated_alone for a in archives], axis=0)),
        band=merge_bands(bands) if bands else None,
    )


@dataclass(frozen=True)
class Verdict:
    """What the margins say of a batch.

    Attributes
    ----------
    computable, feasible : (n,) masks; feasible points are computable.
    shortfall : (n,) sum of the negative margins, positive, NaN where not computable.
    violated, violated_alone : (q,) numbers of computable points.
    """

    computable: BoolArray
    feasible: BoolArray
    shortfall: Array
    violated: IntArray
    violated_alone: IntArray


def judge(evaluation: Evaluation) -> Verdict:
    """Sort points into feasible, infeasible and not computable.

    A point is not computable when a margin is NaN, or an objective NaN or infinite.

    >>> verdict = judge(Evaluation(np.zeros((3, 2)), np.array([[0.0], [-0.5], [np.nan]]), np.zeros((3, 0))))
    >>> verdict.feasible, verdict.shortfall
    (array([ True, False, False]), array([0. , 0.5, nan]))
    """
    missing = shortfall(evaluation.margins)
    computable = ~np.isnan(missing)
    for objective in evaluation.objectives.T:
        computable &= np.isfinite(objective)
    missing[~computable] = np.nan
    negative = (np.ascontiguousarray(evaluation.margins.T) < 0.0) & computable
    violations = negative.sum(axis=0, dtype=np.uint16)
    lone = violations == 1
    return Verdict(
        computable=computable,
        feasible=computable & (violations == 0),
        shortfall=missing,
        violated=read_only(np.array([np.count_nonzero(row) for row in negative], dtype=np.int64)),
        violated_alone=read_only(np.array([np.count_nonzero(row & lone) for row in negative], dtype=np.int64)),
    )


def shortfall(margins: Array) -> Array:
    """Sum of the negative margins of each row, taken positive; NaN where a margin is NaN.

    >>> shortfall(np.array([[0.5, -0.25, -0.5], [1.0, 2.0, 0.0]]))
    array([0.75, 0.  ])
    """
    total, negative = np.zeros(len(margins)), np.empty(len(margins))
    # Column by column: the sum of a row is then the same in a batch of any size or memory layout.
    for column in margins.T:
        total -= np.minimum(column, 0.0, out=negative)
    return total


def hashes(ordinals: IntArray) -> NDArray[np.uint64]:
    """Scatter ordinal numbers over 0 .. 2^64-1, one to one.

    Source: the finaliser of splitmix64; G. Steele, D. Lea, C. Flood, Fast splittable pseudorandom number
    generators, OOPSLA 2014, with the constants of S. Vigna's public-domain code.
    """
    z = np.asarray(ordinals).astype(np.uint64) + np.uint64(0x9E3779B97F4A7C15)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return z ^ (z >> np.uint64(31))


def _promising(objectives: Array, screen: Screen) -> IntArray:
    """Positions of the rows that may belong to the first layers; most others are screened out."""
    left = screen.passing(objectives)
    if len(left) < 1024:
        return left
    few = objectives[left[:: len(left) // 256]]
    return left[Screen.of(few[layers(few, LAYERS) == LAYERS]).passing(objectives[left])]


def _best_layers(rows: Rows, index: IntArray) -> tuple[Rows, IntArray]:
    """The first layers among the rows at `index`, which are taken out of `rows` once, at the end."""
    index = index[np.argsort(rows.ordinals[index], kind="stable")]
    layer = layers(rows.objectives[index], LAYERS)
    index, layer = index[layer > 0], layer[layer > 0]
    single = unique_front(rows.objectives[index], rows.tie[index])
    index, layer = index[single], layer[single]
    order = np.lexsort((*rows.objectives[index].T[::-1], layer))
    return rows.take(index[order]), read_only(layer[order])


def _sample(rows: Rows, index: IntArray, size: int, mark: int) -> Rows:
    """The rows at `index` of smallest hash, at most `size`, none above `mark`."""
    marks = hashes(rows.ordinals[index])
    if mark < EVERYTHING:
        below = np.flatnonzero(marks <= np.uint64(mark))
        index, marks = index[below], marks[below]
    if len(index) > size:
        index = index[np.argpartition(marks, size - 1)[:size]]
    return rows.take(index[np.argsort(rows.ordinals[index])])


def _below(sample: Rows, mark: int) -> Rows:
    return _sample(sample, np.arange(len(sample)), len(sample), mark)


def _mark(sample: Rows, size: int) -> int:
    return EVERYTHING if len(sample) < size else int(hashes(sample.ordinals).max())


def _joined_sample(samples: list[Rows], size: int) -> Rows:
    filled = [sample for sample in samples if len(sample)]
    if len(filled) < 2:
        return (filled or samples)[0]
    rows = Rows.join(filled)
    return _sample(rows, np.arange(len(rows)), size, EVERYTHING)


def _nearest(missing: Array, ordinals: IntArray) -> IntArray:
    """Positions of the smallest shortfalls, each once: points that miss by the same are one miss, the first of them."""
    order = np.lexsort((ordinals, missing))
    fresh = np.ones(len(order), dtype=bool)
    fresh[1:] = np.diff(missing[order]) > 0.0
    return np.asarray(order[fresh][:MISSES])
