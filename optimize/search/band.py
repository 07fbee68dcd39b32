"""The band near a front: every core whose copies may be on the front of the copies.

A core's copies are worse than the core by something between the least and the most that copies lose. So a core is out
of the game once another, which surely keeps the limits with its copies too, is better than it by more than the
difference of the two. Like the archive, bands of blocks merge in any order to the band of all.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from optimize.pareto import Screen, nondominated
from optimize.search.rows import Rows
from physics.arrays import Array, BoolArray, IntArray

MOST = 100_000  # cores; of more the nearest to the front are kept, and the band is said not to be whole


@dataclass(frozen=True)
class BandRule:
    """How wide a band must be.

    Attributes
    ----------
    width : (k,) most by which one core's copies may lose more than another's, in each objective.
    spare : (q,) margin a core must have for its copies surely to keep the requirement.
    short : (q,) margin a core may lack although its copies, on the whole, keep the requirement; mostly 0.
    """

    width: Array
    spare: Array
    short: Array


@dataclass(frozen=True)
class Band:
    """Cores that may be on the front of the copies.

    Attributes
    ----------
    rule : what it was made by.
    rows : the cores, sorted by ordinal number.
    anchors : (a, k) objectives of the best cores that surely keep the requirements: what rules others out.
    whole : whether all of the band is in it.
    """

    rule: BandRule
    rows: Rows
    anchors: Array
    whole: bool

    @classmethod
    def of(cls, rule: BandRule, rows: Rows, before: "Band | None" = None) -> "Band":
        """The band of one batch; what the anchors of `before`, which it will be merged with, rule out is left out."""
        possible = np.all(rows.margins >= -rule.short, axis=1) & np.all(np.isfinite(rows.objectives), axis=1)
        sure = possible & np.all(rows.margins >= rule.spare, axis=1)
        anchors = _best(rows.objectives[sure])
        known = anchors if before is None else np.concatenate([anchors, before.anchors])
        index = np.flatnonzero(possible)
        index = index[_ruled_in(rows.objectives[index], known, rule)]
        return cls(rule, rows.take(index), anchors, before is None or before.whole)


    def without(self, before: "Band") -> "Band":
        """Without what the anchors of `before`, which it will be merged with, rule out."""
        known = np.concatenate([self.anchors, before.anchors])
        return replace(self, rows=self.rows.take(_ruled_in(self.rows.objectives, known, self.rule)))


def merge_bands(bands: Sequence[Band]) -> Band:
    """The band of all cores of several bands of one rule."""
    rule = bands[0].rule
    anchors = _best(np.concatenate([band.anchors for band in bands]))
    rows = Rows.join([band.rows for band in bands])
    rows = rows.take(np.argsort(rows.ordinals, kind="stable"))
    rows = rows.take(_ruled_in(rows.objectives, anchors, rule))
    whole = all(band.whole for band in bands) and len(rows) <= MOST
    if len(rows) > MOST:
        nearest = np.argpartition(_depth(rows.objectives, anchors, rule), MOST)[:MOST]
        rows = rows.take(np.sort(nearest))
    return Band(rule, rows, anchors, whole)


def _best(objectives: Array) -> Array:
    return np.unique(objectives[nondominated(objectives)], axis=0) if len(objectives) else objectives


def _ruled_in(objectives: Array, anchors: Array, rule: BandRule) -> IntArray:
    """Positions of the rows that no anchor is better than by more than the width in every objective."""
    if not len(anchors):
        return np.arange(len(objectives))
    left = Screen.of(anchors + rule.width).passing(objectives)
    beaten = np.zeros(len(left), dtype=bool)
    for anchor in anchors + rule.width:
        beaten |= _all_above(objectives[left], anchor)
    return np.asarray(left[~beaten])


def _all_above(objectives: Array, anchor: Array) -> BoolArray:
    above = np.ones(len(objectives), dtype=bool)
    for column, bound in zip(objectives.T, anchor, strict=True):
        above &= column > bound
    return above


def _depth(objectives: Array, anchors: Array, rule: BandRule) -> Array:
    """How deep in the band a row lies: 0 on the front of the anchors, 1 where it is ruled out.

    Without anchors the front of the rows themselves is taken.
    """
    depth = np.full(len(objectives), -np.inf)
    for anchor in anchors if len(anchors) else _best(objectives):
        depth = np.maximum(depth, np.min((objectives - anchor) / rule.width, axis=1))
    return depth
