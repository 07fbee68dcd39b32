"""Tolerances and bands as distributions: uniform draws in (0, 1) to manufactured values and model factors."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from optimize.study.model import LARGEST_BLOCKAGE, Tolerance
from physics.arrays import Array

INNER_95 = 1.959964  # standard deviations between which 95 % of a normal law lies, as a published band is taken to
_LARGEST = {"air_blockage": LARGEST_BLOCKAGE, "coolant_blockage": LARGEST_BLOCKAGE, "humidity": 1.0}


@dataclass(frozen=True)
class _Law:
    """Distribution of a deviation from the nominal: the probabilities below and above a value, and the quantiles."""

    below: Callable[[float], float]
    above: Callable[[float], float]
    inverse: Callable[[Array], Array]


def manufactured(name: str, nominal: float, tolerance: Tolerance, u: Array) -> Array:
    """Values of a quantity at uniform draws u, by the inverse of its law, truncated where physics demands.

    normal: standard deviations of `below`/sigmas and `above`/sigmas to the two sides, of one density where they meet
    at the nominal; `bounded`: cut at both ends. uniform, triangular (peak at the nominal): from -below to +above.
    measured: each deviation as often as any other. Nothing falls below zero, no blocked share above 0.9, no humidity
    above 1. ValueError where nothing of the law is left.

    >>> tol = Tolerance("normal", 0.3e-3, 0.3e-3, 3.0, False)
    >>> manufactured("thickness", 0.07, tol, np.array([0.5, 0.841344746])).round(6).tolist()
    [0.07, 0.0701]
    """
    if tolerance.law == "measured":
        values = _possible(name, nominal + np.sort(np.array(tolerance.deviations)))
        _refuse_nothing(name, nominal, len(values))
        return np.asarray(values[np.minimum(u * len(values), len(values) - 1).astype(np.int64)])
    law = _law(nominal, tolerance)
    if law is None:
        return np.full_like(u, nominal)
    under, over = _impossible(name, nominal, law)
    _refuse_nothing(name, nominal, 1 - under - over)
    return np.clip(nominal + law.inverse(under + u * (1 - under - over)), 0.0, _largest(name))


def cut_away(name: str, nominal: float, tolerance: Tolerance) -> float:
    """The share of a law that lies beyond what physics allows, and is cut away.

    >>> round(cut_away("air_blockage", 0.01, Tolerance("uniform", 0.02, 0.02, None, False)), 9)
    0.25
    """
    if tolerance.law == "measured":
        values = nominal + np.array(tolerance.deviations)
        return 1 - len(_possible(name, values)) / len(values)
    law = _law(nominal, tolerance)
    return 0.0 if law is None else sum(_impossible(name, nominal, law))


def tightened(tolerance: Tolerance, factor: float) -> Tolerance:
    """The tolerance with all its deviations times a factor."""
    return replace(
        tolerance, below=factor * tolerance.below, above=factor * tolerance.above,
        deviations=tuple(factor * d for d in tolerance.deviations),
    )


def widest(name: str, nominal: float, tolerance: Tolerance) -> float:
    """The factor on a tolerance at which it reaches zero, twice the value, or the largest there can be.

    >>> round(widest("air_blockage", 0.04, Tolerance("triangular", 0.02, 0.02, None, False)), 9)
    2.0
    """
    scale = abs(nominal) if tolerance.relative else 1.0
    reaches = ((tolerance.below, nominal), (tolerance.above, min(nominal, _largest(name) - nominal)))
    return min((room / (scale * width) for width, room in reaches if scale * width > 0), default=np.inf)


def _largest(name: str) -> float:
    return _LARGEST.get(name.split(".")[-1], np.inf)


def _possible(name: str, values: Array) -> Array:
    return np.asarray(values[(values >= 0) & (values <= _largest(name))])


def _impossible(name: str, nominal: float, law: _Law) -> tuple[float, float]:
    """Probabilities of a value below zero and of one above the largest there can be."""
    return law.below(-nominal), law.above(_largest(name) - nominal)


def _refuse_nothing(name: str, nominal: float, left: float) -> None:
    if left <= 0:
        raise ValueError(f"{name}: nothing of the tolerance of {nominal} is physically possible")


def _law(nominal: float, tolerance: Tolerance) -> _Law | None:
    """The law of the deviation; None where nothing deviates."""
    scale = abs(nominal) if tolerance.relative else 1.0
    below, above = scale * tolerance.below, scale * tolerance.above
    if below == above == 0:
        return None
    if tolerance.law == "uniform":
        return _uniform(below, above)
    if tolerance.law == "triangular":
        return _two_pieces(below, above, _triangle, lambda q: 1 - np.sqrt(q))
    if tolerance.law != "normal" or tolerance.sigmas is None:
        raise ValueError(f"no law {tolerance.law!r} with sigmas = {tolerance.sigmas}")
    sigmas = tolerance.sigmas
    return _normal(below / sigmas, above / sigmas, sigmas if tolerance.bounded else np.inf)


def _uniform(below: float, above: float) -> _Law:
    width = below + above
    return _Law(
        lambda x: min(max((x + below) / width, 0.0), 1.0), lambda x: min(max((above - x) / width, 0.0), 1.0),
        lambda u: u * width - below,
    )


def _normal(below: float, above: float, edge: float) -> _Law:
    """Standard deviations on either side; cut off at `edge` of them."""
    from scipy.special import ndtr, ndtri

    outside = 2 * float(ndtr(-edge))
    return _two_pieces(
        below, above,
        lambda x: max(2 * float(ndtr(-x)) - outside, 0.0) / (1 - outside),
        lambda q: np.minimum(-ndtri((outside + q * (1 - outside)) / 2), edge),
    )


def _triangle(x: float) -> float:
    return (1 - min(x, 1.0)) ** 2


def _two_pieces(below: float, above: float, beyond: Callable[[float], float], reach: Callable[[Array], Array]) -> _Law:
    """A law of two halves of one height at 0, scaled by `below` and `above`; `beyond` x of |x|, and its inverse."""
    share = below / (below + above)  # the probability of the lower half

    def under(x: float) -> float:
        if x > 0:
            return 1 - over(x)
        return share * beyond(-x / below) if below > 0 else 0.0

    def over(x: float) -> float:
        if x < 0:
            return 1 - under(x)
        return (1 - share) * beyond(x / above) if above > 0 else 0.0

    def quantile(u: Array) -> Array:
        x, low = np.zeros_like(u), u < share
        if share > 0:
            x[low] = -below * reach(u[low] / share)
        if share < 1:
            x[~low] = above * reach((1 - u[~low]) / (1 - share))
        return x

    return _Law(under, over, quantile)


def model_factor(band: tuple[float, float], u: Array) -> Array:
    """Multiplier on a correlation at uniform draws u: log-normal on either side of 1, its band holding 95 %.

    >>> model_factor((-0.20, 0.25), np.array([0.025, 0.5, 0.975])).round(4).tolist()
    [0.8, 1.0, 1.25]
    """
    from scipy.special import ndtri

    return factor_of_score(band, ndtri(u))


def factor_of_score(band: tuple[float, float], score: Array) -> Array:
    """The same at standard normal scores.

    >>> factor_of_score((-0.20, 0.25), np.array([-INNER_95, 0.0, INNER_95])).round(4).tolist()
    [0.8, 1.0, 1.25]
    """
    share = score / INNER_95
    return np.asarray(np.exp(share * np.where(share < 0, -np.log1p(band[0]), np.log1p(band[1]))))
