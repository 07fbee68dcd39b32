"""Polynomials of one variable: one, or several at once, at many places."""

from collections.abc import Sequence

import numpy as np

from physics.arrays import Array, Range

Polynomial = tuple[float, ...]  # in ascending powers


def scaled(T: Array | float, clip_to: Range, scale_range: Range) -> Array:
    """Clip T [K], then map `scale_range` to -1 .. 1: keeps the polynomials well conditioned."""
    low, high = scale_range
    t: Array = np.clip(T, *clip_to) - 0.5 * (low + high)
    t *= 2.0 / (high - low)
    return t


def polynomial(coefficients: Polynomial, t: Array) -> Array:
    """Polynomial in ascending powers, without a temporary for each power.

    >>> float(polynomial((1.0, 2.0, 3.0), np.asarray(2.0)))
    17.0
    """
    if len(coefficients) == 1:
        return np.full_like(t, coefficients[0])
    total = coefficients[-1] * t
    for coefficient in coefficients[-2:0:-1]:
        total += coefficient
        total *= t
    total += coefficients[0]
    return total


def padded(several: Sequence[Polynomial]) -> Array:
    """Polynomials in ascending powers as rows of one length."""
    rows = np.zeros((len(several), max(map(len, several))))
    for row, terms in zip(rows, several, strict=True):
        row[: len(terms)] = terms
    return rows


def polynomials(rows: Array, t: Array) -> Array:
    """Values (..., shape of t) of polynomials in rows (..., power): the bits of `polynomial`, in few calls.

    >>> polynomials(np.array([[1.0, 2.0, 3.0], [5.0, 1.0, 0.0]]), np.array([2.0, 3.0])).tolist()
    [[17.0, 34.0], [7.0, 8.0]]
    """
    powers = np.moveaxis(rows, -1, 0)
    coefficients = powers.reshape(powers.shape + (1,) * t.ndim)
    total: Array = coefficients[-1] * t
    for coefficient in coefficients[-2:0:-1]:
        total += coefficient
        total *= t
    total += coefficients[0]
    return total
