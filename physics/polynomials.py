"""Polynomials of one variable: one, or several at once, at many places."""

from collections.abc import Sequence

import numpy as np

from physics.arrays import Array, Range

Polynomial = tuple[float, ...]  # in ascending powers


def scaled(T: Array | float, clip_to: Range, scale_range: Range) -> Array:
    """Clip T [K], then map `scale_range` to -1 .. 1: keeps the polynomials well conditioned."""
    low, high = scale_range
    t: Array = np.asanyarray(T).clip(*clip_to) - 0.5 * (low + high)
    t *= 2.0 / (high - low)
    return t


def polynomial(coefficients: Polynomial, t: Array) -> Array:
    """Polynomial in ascending powers, without a temporary for each power.

    >>> float(polynomial((1.0, 2.0, 3.0), np.asarray(2.0)))
    17.0
    """
    if len(coefficients) == 1:
        return np.full(t.shape, coefficients[0])
    total = coefficients[-1] * t
    for coefficient in coefficients[-2:0:-1]:
        total += coefficient
        total *= t
    total += coefficients[0]
    return total


def side_by_side(several: Sequence[Polynomial]) -> Array:
    """The coefficients of several polynomials as (power, polynomial).

    >>> side_by_side([(1.0, 2.0, 3.0), (5.0, 1.0)]).tolist()
    [[1.0, 5.0], [2.0, 1.0], [3.0, 0.0]]
    """
    columns = np.zeros((max(map(len, several)), len(several)))
    for column, terms in zip(columns.T, several, strict=True):
        column[: len(terms)] = terms
    return columns


def polynomials(columns: Array, t: Array) -> Array:
    """Values (..., shape of t) of polynomials (power, ...): the bits of `polynomial`, in few calls.

    >>> polynomials(side_by_side([(1.0, 2.0, 3.0), (5.0, 1.0)]), np.array([2.0, 3.0])).tolist()
    [[17.0, 34.0], [7.0, 8.0]]
    """
    coefficients = columns.reshape(columns.shape + (1,) * t.ndim)
    total: Array = coefficients[-1] * t
    for coefficient in coefficients[-2:0:-1]:
        total += coefficient
        total *= t
    total += coefficients[0]
    return total
