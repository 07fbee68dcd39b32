"""Fronts: which rows of an objective matrix no other row beats. Everything is minimised.

A row dominates another when it is nowhere larger and somewhere smaller; equal rows do not dominate each other.
The only importer of moocore (imported where used, it takes 0.3 s).
"""

from dataclasses import dataclass

import numpy as np

from physics.arrays import Array, BoolArray, IntArray

RASTER_CELLS = 4096  # of a screen's table; its build costs as much as a sort of the pivots


def nondominated(objectives: Array) -> BoolArray:
    """Mark the rows no other row dominates, all copies of equal rows included.

    Parameters
    ----------
    objectives : (n, k), minimised.

    Returns
    -------
    (n,) mask.

    Raises
    ------
    ValueError
        If a row holds NaN: a single one would make moocore drop good rows without a word.

    >>> nondominated(np.array([[1.0, 2.0], [2.0, 1.0], [2.0, 2.0], [1.0, 2.0]]))
    array([ True,  True, False,  True])
    """
    from moocore import is_nondominated

    mask: BoolArray = is_nondominated(_checked(objectives), keep_weakly=True)
    return mask


def layers(objectives: Array, count: int) -> IntArray:
    """Peel fronts: 1 for the front, 2 for the front without it, and so on; 0 beyond `count` layers.

    The layer of a row is the length of the longest chain of rows, each dominating the next, that ends in it.

    >>> layers(np.array([[0.0, 0.0], [1.0, 1.0], [2.0, 0.5], [3.0, 3.0]]), count=2)
    array([1, 2, 2, 0])
    """
    left = np.arange(len(objectives))
    layer = np.zeros(len(objectives), dtype=np.int64)
    for number in range(1, count + 1):
        best = nondominated(objectives[left])
        layer[left[best]] = number
        left = left[~best]
    return layer


@dataclass(frozen=True)
class Screen:
    """A quick, one-sided test for rows dominated by one of many pivots.

    A table over a raster of all objectives but the last holds the lowest last objective of the pivots that
    are nowhere above the cell. A row above that value is dominated. A row that passes may still be.

    Attributes
    ----------
    edges : the raster of each objective but the last.
    lowest : the table; its first slice along every axis, for rows below the raster, is infinite.
    """

    edges: tuple[Array, ...]
    lowest: Array

    @classmethod
    def of(cls, pivots: Array) -> "Screen":
        """The screen of pivots (n, k); of none, it lets everything pass."""
        if pivots.shape[1] == 1:
            return cls((), np.array(pivots.min(initial=np.inf)))
        cells = 1 + int(RASTER_CELLS ** (1.0 / (pivots.shape[1] - 1)))
        edges = tuple(_raster(column, cells) for column in pivots.T[:-1])
        lowest = np.full([len(edge) + 1 for edge in edges], np.inf)
        at = tuple(1 + np.searchsorted(e, x, side="left") for e, x in zip(edges, pivots.T[:-1], strict=True))
        np.minimum.at(lowest, at, pivots[:, -1])
        for axis in range(lowest.ndim):
            lowest = np.minimum.accumulate(lowest, axis=axis)
        return cls(edges, lowest)

    def passing(self, objectives: Array) -> IntArray:
        """Positions of the rows not shown to be dominated.

        >>> screen = Screen.of(np.array([[0.0, 2.0], [1.0, 1.0]]))
        >>> screen.passing(np.array([[0.5, 2.5], [0.5, 1.5], [1.0, 1.0], [7.0, 0.5], [7.0, 1.5]]))
        array([1, 2, 3])
        """
        return np.flatnonzero(objectives[:, -1] <= self.ceiling(objectives))

    def ceiling(self, objectives: Array) -> Array:
        """What the last objective (n,) must not exceed, given the others; infinite where no pivot says."""
        columns = objectives.T[:-1]
        at = tuple(np.searchsorted(e, x, side="right") for e, x in zip(self.edges, columns, strict=True))
        return np.broadcast_to(self.lowest[at], len(objectives))


def _raster(column: Array, cells: int) -> Array:
    if len(column) <= cells:
        return np.unique(column)
    ranked = np.sort(column)
    return np.unique(ranked[np.linspace(0, len(ranked) - 1, cells).astype(np.int64)])


def unique_front(objectives: Array, tie: Array) -> IntArray:
    """Positions of one row for every distinct row of objectives.

    Among equal rows the one with the lexicographically smallest tie columns stays, then the lowest position.

    Parameters
    ----------
    objectives : (n, k).
    tie : (n, t), smaller is better.

    Returns
    -------
    (m,) positions, ascending.

    >>> unique_front(np.array([[1.0, 2.0], [1.0, 2.0], [0.0, 3.0]]), np.array([[7.0], [5.0], [9.0]]))
    array([1, 2])
    """
    rows = _checked(objectives)
    alone = np.ones(len(rows), dtype=np.bool_)
    by_first = np.argsort(rows[:, 0], kind="stable")
    shared = np.flatnonzero(rows[by_first[1:], 0] == rows[by_first[:-1], 0])
    doubtful = np.unique(by_first[np.concatenate([shared, shared + 1])])
    order = doubtful[np.lexsort(np.hstack([rows[doubtful], tie[doubtful]]).T[::-1])]
    alone[order[1:]] = (rows[order[1:]] != rows[order[:-1]]).any(axis=1)
    return np.flatnonzero(alone)


def hypervolume(front: Array, reference: Array) -> float:
    """Volume of the objective space that the front dominates, up to the reference point.

    Rows not better than the reference in every objective add nothing.

    >>> hypervolume(np.array([[0.0, 1.0], [1.0, 0.0]]), np.array([2.0, 2.0]))
    3.0
    """
    from moocore import hypervolume as volume

    if len(front) == 0:
        return 0.0
    return float(volume(_checked(front), _checked(np.atleast_2d(reference))[0]))


def contributions(front: Array, reference: Array) -> Array:
    """What each row alone adds to the hypervolume (n,); nothing where another row dominates it or equals it.

    >>> contributions(np.array([[0.0, 1.0], [1.0, 0.0]]), np.array([2.0, 2.0]))
    array([1., 1.])
    """
    from moocore import hv_contributions

    if len(front) == 0:
        return np.empty(0)
    return np.asarray(hv_contributions(_checked(front), _checked(np.atleast_2d(reference))[0]))


def normalised_hypervolume(front: Array, ideal: Array, reference: Array) -> float:
    """Hypervolume as a share of the box from the ideal to the reference point.

    >>> normalised_hypervolume(np.array([[0.0, 1.0], [1.0, 0.0]]), np.zeros(2), np.array([2.0, 2.0]))
    0.75
    """
    width = np.asarray(reference) - np.asarray(ideal)
    if not (width > 0.0).all():
        raise ValueError("expected an ideal point below the reference point in every objective")
    inside = np.maximum(_checked(front), ideal)
    return hypervolume((inside - ideal) / width, np.ones(len(width)))


def knee(front: Array) -> int:
    """Position of the knee: where giving a little of one objective stops buying much of another.

    Every objective is scaled to 0..1 over the front. Through the rows best in each objective goes a
    hyperplane (a chord for two objectives); the knee lies farthest below it, on the ideal point's side.
    A front that bulges away from the ideal point has no such row, and one of its ends is returned.
    Objectives constant over the front are left out. Where the best rows span no hyperplane (one row best
    in two objectives), the plane of equal scaled sum stands in.

    Source: I. Das, On characterizing the "knee" of the Pareto curve based on normal-boundary intersection,
    Structural Optimization 18 (1999) 107-115; the maximal bulge from the hull of individual minima.

    Raises
    ------
    ValueError
        If the front is empty or holds NaN.

    >>> knee(np.array([[0.0, 1.0], [0.2, 0.3], [0.6, 0.2], [1.0, 0.0]]))
    1
    """
    rows = _checked(front)
    if len(rows) == 0:
        raise ValueError("expected a front of at least one row")
    low, width = rows.min(axis=0), np.ptp(rows, axis=0)
    scaled = (rows - low)[:, width > 0.0] / width[width > 0.0]
    if scaled.shape[1] == 0:
        return 0
    normal = _hyperplane(scaled)
    return int(np.argmax((1.0 - (scaled * normal).sum(axis=1)) / np.sqrt((normal**2).sum())))


def _hyperplane(scaled: Array) -> Array:
    """Normal w of the plane w . x = 1 through the rows best in each objective."""
    ends = scaled[[np.lexsort(np.roll(scaled, -j, axis=1).T[::-1])[0] for j in range(scaled.shape[1])]]
    # A plane through the origin, or nearly, would make a normal of rounding errors.
    if abs(np.linalg.det(ends)) < 1e-9:
        return np.ones(scaled.shape[1])
    return np.asarray(np.linalg.solve(ends, np.ones(len(ends))))


def _checked(objectives: Array) -> Array:
    rows = np.asarray(objectives, dtype=np.float64)
    if rows.ndim != 2 or rows.shape[1] == 0:
        raise ValueError(f"expected a matrix of objectives, got shape {rows.shape}")
    if np.isnan(rows).any():
        raise ValueError("expected objectives without NaN; take out what is not computable first")
    return rows
