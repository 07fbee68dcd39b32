"""How sure a number from draws is: shares, percentiles, means; and the capability of a dimension.

Intervals of shares and percentiles take the draws as independent. Ours scatter less where single tolerances matter, and
hardly more where only pairs do (`tests/test_draws.py`); the interval of a mean comes from independent replicates.
"""

from functools import cache
from typing import overload

import numpy as np

from physics.arrays import Array, IntArray


@overload
def share_interval(passed: int, drawn: int, confidence: float) -> tuple[float, float]: ...
@overload
def share_interval(passed: IntArray, drawn: int, confidence: float) -> tuple[Array, Array]: ...
def share_interval(
    passed: int | IntArray, drawn: int, confidence: float
) -> tuple[float, float] | tuple[Array, Array]:
    """Exact two-sided binomial interval (Clopper & Pearson 1934) on the share of copies that pass; counts may be (n,).

    ValueError without draws, or with more passed than drawn.

    >>> tuple(round(bound, 6) for bound in share_interval(7, 50, 0.95))
    (0.058192, 0.267396)
    """
    from scipy.special import betaincinv

    count, tail = np.asarray(passed), (1 - confidence) / 2
    if drawn < 1 or np.any((count < 0) | (count > drawn)):
        raise ValueError(f"no share: {passed} of {drawn}")
    none, every = count == 0, count == drawn
    low = np.where(none, 0.0, betaincinv(np.where(none, 1, count), drawn - count + 1, tail))
    high = np.where(every, 1.0, betaincinv(count + 1, np.where(every, 1, drawn - count), 1 - tail))
    return (low, high) if count.ndim else (float(low), float(high))


def percentile(values: Array, p: float) -> float:
    """The least of the values (n,) that at least a share p of them do not exceed. ValueError with NaN among them.

    >>> percentile(np.array([3.0, 1.0, 2.0, 4.0]), 0.5)
    2.0
    """
    if np.any(np.isnan(values)):
        raise ValueError(f"{np.count_nonzero(np.isnan(values))} of {len(values)} values are NaN: no percentile")
    place = max(int(np.ceil(p * len(values) - 1e-9)) - 1, 0)
    return float(np.partition(values, place)[place])


@cache
def percentile_interval(n: int, p: float, confidence: float) -> tuple[int, int] | None:
    """Positions in n sorted draws between which the percentile lies, by scipy's `quantile_test`; None for too few.

    >>> percentile_interval(6, 0.5, 0.95), percentile_interval(5, 0.5, 0.95)  # the least n for a median
    ((0, 5), None)
    """
    from scipy.stats import quantile_test

    low, high = np.ravel(quantile_test(np.arange(n), q=0, p=p).confidence_interval(confidence))
    return None if np.isnan(low) or np.isnan(high) else (int(low), int(high))


def mean_interval(values: Array, replicate: IntArray, confidence: float) -> tuple[float, float, float]:
    """Mean of values (n,), and Student's interval from the means of their independent replicates.

    Without replicates the interval is unbounded.
    """
    from scipy.special import stdtrit

    mean, groups = float(np.mean(values)), np.unique(replicate)
    if len(groups) < 2:
        return mean, -np.inf, np.inf
    means = np.array([np.mean(values[replicate == r]) for r in groups])
    reach = float(stdtrit(len(groups) - 1, (1 + confidence) / 2) * np.std(means, ddof=1) / np.sqrt(len(groups)))
    return mean, mean - reach, mean + reach


def looks(confidence: float, count: int) -> float:
    """The confidence of each of `count` looks by which all of them hold together with `confidence` (Bonferroni).

    >>> looks(0.95, 5)
    0.99
    """
    return round(1 - (1 - confidence) / count, 12)


def capability(values: Array, low: float, high: float) -> tuple[float, float]:
    """(Cp, Cpk) of values (n,) between two specification limits, by their mean and sample standard deviation.

    Cp is the width over 6 standard deviations, Cpk the distance of the mean to the nearer limit over 3 (NIST/SEMATECH
    e-Handbook 6.1.6, from memory). A limit may be infinite; both are infinite where nothing scatters within the limits.

    >>> capability(np.array([14.0, 16.0, 18.0]), 8.0, 20.0)
    (1.0, 0.6666666666666666)
    """
    mean, deviation = float(np.mean(values)), float(np.std(values, ddof=1))
    nearer = min(high - mean, mean - low)
    if deviation == 0:
        return np.inf, float(np.copysign(np.inf, nearer))
    return (high - low) / (6 * deviation), nearer / (3 * deviation)


def ppm(capability: float) -> float:
    """Parts per million outside two limits of a normal law centred between them, whose Cp = Cpk is this.

    >>> round(ppm(1.0), 1)
    2699.8
    """
    from scipy.special import ndtr

    return 2e6 * float(ndtr(-3 * capability))
