"""Tolerances and bands as distributions: uniform draws in (0, 1) to manufactured values and model factors."""

import numpy as np
from scipy.special import betaincinv, ndtr, ndtri

from optimize.study.model import Tolerance
from physics.arrays import Array

_BAND_SIGMAS = 1.959964  # a published band is taken to hold 95 % of the truth
_SHARES = ("air_blockage", "coolant_blockage")
_LARGEST_SHARE = 0.9


def manufactured(name: str, nominal: float, tolerance: Tolerance, u: Array) -> Array:
    """Values of a dimension at uniform draws u, by the inverse of its law, truncated where physics demands.

    normal: standard deviation = half width / sigmas; uniform and triangular: between -+ half width. No length or
    resistance falls below zero, no blocked share leaves 0 .. 0.9.

    >>> tol = Tolerance("normal", 0.3e-3, 3.0, False)
    >>> manufactured("thickness", 0.07, tol, np.array([0.5, 0.841344746])).round(6).tolist()
    [0.07, 0.0701]
    """
    half = tolerance.half_width * (abs(nominal) if tolerance.relative else 1.0)
    if half == 0:
        return np.full_like(u, nominal)
    spread = half / tolerance.sigmas if tolerance.sigmas else half
    low = (0.0 - nominal) / spread
    high = (_LARGEST_SHARE - nominal) / spread if name in _SHARES else np.inf
    below, above = (_cumulative(tolerance.law, np.array([edge]))[0] for edge in (low, high))
    return nominal + spread * _inverse(tolerance.law, below + u * (above - below))


def _cumulative(law: str, x: Array) -> Array:
    """Of the standard law: normal (0, 1), uniform or triangular on -1 .. 1."""
    if law == "normal":
        return np.asarray(ndtr(x))
    x = np.clip(x, -1.0, 1.0)
    if law == "uniform":
        return (x + 1) / 2
    return np.where(x < 0, (1 + x) ** 2 / 2, 1 - (1 - x) ** 2 / 2)


def _inverse(law: str, u: Array) -> Array:
    if law == "normal":
        return np.asarray(ndtri(u))
    if law == "uniform":
        return 2 * u - 1
    return np.where(u < 0.5, np.sqrt(2 * u) - 1, 1 - np.sqrt(2 * (1 - u)))


def model_factor(band: tuple[float, float], u: Array) -> Array:
    """Multiplier on a correlation at uniform draws u: log-normal on either side of 1, its band holding 95 %.

    >>> model_factor((-0.20, 0.25), np.array([0.025, 0.5, 0.975])).round(4).tolist()
    [0.8, 1.0, 1.25]
    """
    score = ndtri(u) / _BAND_SIGMAS
    return np.asarray(np.exp(score * np.where(score < 0, -np.log1p(band[0]), np.log1p(band[1]))))


def share_interval(passed: int, drawn: int, confidence: float) -> tuple[float, float]:
    """Exact two-sided binomial interval (Clopper & Pearson 1934) on the share of cores that pass.

    >>> tuple(round(bound, 6) for bound in share_interval(7, 50, 0.95))
    (0.058192, 0.267396)
    """
    tail = (1 - confidence) / 2
    low = 0.0 if passed == 0 else float(betaincinv(passed, drawn - passed + 1, tail))
    high = 1.0 if passed == drawn else float(betaincinv(passed + 1, drawn - passed, 1 - tail))
    return low, high
