"""Centrifugal pumps: head over flow through measured points, at any speed, one after the other."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from physics.arrays import Array, IntArray


@dataclass(frozen=True)
class Pump:
    """Measured curve at speed 1: flow (k,) [m3/s] from 0, head (k,) [m]; built by `pump`.

    pieces (4, k): head on each piece as a cubic in the flow from its first point, lowest power first; the last one
    is the straight line on which the curve goes on.
    """

    flow: Array
    head: Array
    pieces: Array

    def at(self, flow: Array, speed: Array | float) -> tuple[Array, Array]:
        """Head [m] and its slope over flow [s/m2] at a flow >= 0 [m3/s] and a share of the curve's speed.

        Affinity laws: H = s^2 H0(V/s); a pump at rest gives no head. Beyond the last point the curve goes on
        straight, so the head falls through zero.

        >>> head, slope = pump([0.0, 1e-3], [10.0, 6.0]).at(np.array([0.0005, 0.003]), 1.0)
        >>> head.tolist(), slope.tolist()
        ([8.0, -2.0], [-4000.0, -4000.0])
        """
        s = _as_one(np.asarray(speed, dtype=float))
        flow_at_one = flow * (1 / np.where(s > 0, s, 1.0))
        piece = self._piece(flow_at_one)
        # Indices are in range by construction: "clip" spares numpy a copy to check them.
        c0, c1, c2, c3 = (np.take(c, piece, mode="clip") for c in self.pieces)
        x = flow_at_one - np.take(self.flow, piece, mode="clip")
        head = ((c3 * x + c2) * x + c1) * x + c0
        slope = (3 * c3 * x + 2 * c2) * x + c1
        return s * s * head, s * slope

    def _piece(self, flow: Array) -> IntArray:
        """Which piece a flow is on: points at or below it, counted: a bisection takes six to ten times as long."""
        passed = np.zeros(flow.shape, dtype=np.int8 if len(self.flow) < 128 else np.int64)
        for point in self.flow[1:]:
            passed += flow >= point
        return passed.astype(np.int64)

    def shutoff(self, speed: Array | float) -> Array:
        """Head without flow [m]."""
        return np.asarray(np.square(speed) * self.head[0])

    def reach(self, speed: Array | float) -> Array:
        """Flow at which no head is left [m3/s].

        >>> float(pump([0.0, 1e-3], [10.0, 6.0]).reach(0.5))
        0.00125
        """
        return np.asarray(speed * self._reach)

    @property
    def _reach(self) -> float:
        return float(self.flow[-1] - self.head[-1] / self.pieces[1, -1])


def _as_one(speed: Array) -> Array:
    """Equal speeds as a single one: numpy is slow on rows of a few duty points."""
    first = speed.flat[0]
    return np.asarray(first) if speed.ndim and np.all(speed == first) else speed


def pump(flow: Sequence[float] | Array, head: Sequence[float] | Array) -> Pump:
    """The pump through its points (k,), k >= 2: flow [m3/s] rising from 0, head [m] nowhere rising and never below 0.

    Monotone cubics after Fritsch & Butland 1984 as in scipy's PchipInterpolator. The end slope is at least the last
    chord's, so that the curve goes on to zero. ValueError for any other points.
    """
    V, H = (np.array(values, dtype=float) for values in (flow, head))
    if V.ndim != 1 or V.shape != H.shape or len(V) < 2 or not np.all(np.isfinite([V, H])):
        raise ValueError("a pump needs two or more points of flow and head, as many of each, all finite")
    if V[0] != 0 or np.any(np.diff(V) <= 0):
        raise ValueError(f"the flow of a pump rises from zero, point by point: {V.tolist()}")
    if H[-1] < 0 or np.any(np.diff(H) > 0):
        raise ValueError(f"the head of a pump nowhere rises with flow and is nowhere below zero: {H.tolist()}")
    if H[-1] == H[-2]:
        raise ValueError(f"the head of a pump falls to its last point, or nobody knows where it ends: {H.tolist()}")
    return Pump(V, H, _cubics(V, H))


def _cubics(V: Array, H: Array) -> Array:
    """Coefficients (4, k) of the pieces from point to point, and of the line after the last."""
    h, chord = np.diff(V), np.diff(H) / np.diff(V)
    d = _slopes(h, chord)
    curved = np.array([H[:-1], d[:-1], (3 * chord - 2 * d[:-1] - d[1:]) / h, (d[:-1] + d[1:] - 2 * chord) / h**2])
    return np.column_stack([curved, [H[-1], d[-1], 0.0, 0.0]])


def _slopes(h: Array, chord: Array) -> Array:
    """Slope at each point from the widths and the chords of the pieces; all chords <= 0.

    Inside: weighted harmonic mean of the neighbouring chords (0 where one is flat); ends: three points, limited.
    """
    if len(h) == 1:
        return np.repeat(chord, 2)
    left, right = 2 * h[1:] + h[:-1], h[1:] + 2 * h[:-1]
    falls = (chord[:-1] < 0) & (chord[1:] < 0)
    before, after = np.where(falls, chord[:-1], -1.0), np.where(falls, chord[1:], -1.0)
    inner = np.where(falls, (left + right) / (left / before + right / after), 0.0)
    first = _end_slope(h[0], h[1], chord[0], chord[1])
    last = min(_end_slope(h[-1], h[-2], chord[-1], chord[-2]), float(chord[-1]))
    return np.array([first, *inner, last])


def _end_slope(h: float, next_h: float, chord: float, next_chord: float) -> float:
    """One-sided three-point slope, never rising; always below twice the chord, so that the piece falls throughout."""
    return float(min(((2 * h + next_h) * chord - h * next_chord) / (h + next_h), 0.0))


def in_series(pumps: Iterable[Pump], flow: Array, speed: Array | float) -> tuple[Array, Array]:
    """Head [m] and its slope over flow [s/m2] of pumps one after the other at the same speed: both add up.

    >>> two = [pump([0.0, 1e-3], [10.0, 6.0])] * 2
    >>> [float(x[0]) for x in in_series(two, np.array([0.0005]), 1.0)]
    [16.0, -8000.0]
    """
    heads, slopes = zip(*(one.at(flow, speed) for one in pumps), strict=True)
    return np.asarray(sum(heads)), np.asarray(sum(slopes))
