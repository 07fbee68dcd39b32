"""Margins of copies as quadratics in what was made: share of good copies at any tolerances, without rating again."""

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from physics.arrays import Array, IntArray

_CROSSED = 8  # strongest tolerances, whose products enter
_ROWS_A_TERM = 4  # copies there must be for each term


@dataclass(frozen=True)
class Surface:
    """Quadratics of the margins that can fail, p terms, in deviations (value - centre)/scale.

    Attributes
    ----------
    centre, scale : (d,).
    pairs : (k, 2) tolerances whose products are terms.
    terms : (p, r) coefficients: 1, deviations, squares, products.
    threshold : (r,) margin from which a requirement counts as met: 0, or half way where it only knows yes and no.
    spread : (r,) standard deviation of each margin, what a miss is measured against.
    fit_error : share of the copies fitted that the surface judges otherwise than the rating.
    lost : copies without margins, left out of the fit.
    """

    centre: Array
    scale: Array
    pairs: IntArray
    terms: Array
    threshold: Array
    spread: Array
    fit_error: float
    lost: int

    def spare(self, values: Array) -> Array:
        """What each copy (n, d) has to spare at the requirement it is worst at (n,), in spreads; negative: it fails."""
        if not self.terms.shape[1]:
            return np.full(len(values), np.inf)
        margins = _features((values - self.centre) / self.scale, self.pairs) @ self.terms
        return np.asarray(np.min((margins - self.threshold) / self.spread, axis=1))


def fit(values: Array, margins: Array) -> Surface:
    """Least squares on copies: values made (n, d), margins (n, q); a copy with a NaN is left out and counted.

    Where all are, the surface takes every copy to fail.
    """
    sound = ~np.any(np.isnan(margins), axis=1)
    x, m = (values[sound], margins[sound]) if np.any(sound) else (values, np.full((len(values), 1), -1.0))
    centre, scale = np.mean(x, axis=0), np.std(x, axis=0)
    scale = np.where(scale > 1e-12 * np.abs(centre), scale, np.inf)  # what does not move has no deviation
    m = m[:, ~np.all((m == m[0]) & (m >= 0), axis=0)]
    z, spread = (x - centre) / scale, np.std(m, axis=0)
    spread = np.where(spread > 0, spread, 1.0)
    pairs = _pairs(z, m / spread)
    terms = np.linalg.lstsq(_features(z, pairs), m, rcond=None)[0]
    threshold = np.array([_threshold(column) for column in m.T])
    surface = Surface(centre, scale, pairs, terms, threshold, spread, 0.0, int(np.count_nonzero(~sound)))
    wrong = float(np.mean((surface.spare(x) >= 0) != np.all(m >= 0, axis=1)))
    return Surface(centre, scale, pairs, terms, threshold, spread, wrong, surface.lost)


def _threshold(margin: Array) -> float:
    """Half way between the two values of a margin that has only two."""
    low, high = np.min(margin), np.max(margin)
    return float(low + high) / 2 if low < 0 <= high and np.all((margin == low) | (margin == high)) else 0.0


def _pairs(z: Array, margins: Array) -> IntArray:
    """Pairs of the tolerances that move some margin most, as many as the copies can tell apart."""
    n, d = z.shape
    if not margins.shape[1]:
        return np.empty((0, 2), dtype=np.int64)
    slopes = np.linalg.lstsq(np.column_stack([np.ones(n), z]), margins, rcond=None)[0][1:]
    strongest = np.argsort(-np.max(np.abs(slopes), axis=1), kind="stable")
    room = n // _ROWS_A_TERM - 1 - 2 * d
    count = next(k for k in range(min(_CROSSED, d), -1, -1) if k * (k - 1) // 2 <= max(room, 0))
    return np.array(list(combinations(sorted(strongest[:count]), 2)), dtype=np.int64).reshape(-1, 2)


def _features(z: Array, pairs: IntArray) -> Array:
    return np.column_stack([np.ones(len(z)), z, z**2, z[:, pairs[:, 0]] * z[:, pairs[:, 1]]])
