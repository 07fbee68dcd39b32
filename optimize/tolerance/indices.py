"""Which tolerance an output's scatter comes from: Sobol' indices, first order and total, with bootstrap intervals."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.seeds import stream
from optimize.space import Batch, Parameters
from optimize.study.model import Tolerance
from optimize.tolerance.copies import ROWS, Copies, answers, rated
from optimize.tolerance.laws import manufactured
from physics.arrays import Array
from physics.flags import FLAG_TEXTS, Flag

RESAMPLES = 999
_EDGE = 1e-12  # no draw is nearer to 0 or 1
_CONSTANT = 1e-9  # an output that moves by less than this share of itself does not move: round-off has no causes

Function = Callable[[Array], Array]


@dataclass(frozen=True)
class Indices:
    """Sobol' indices of s outputs on d tolerances.

    Attributes
    ----------
    names : (d,) what scatters.
    outputs : (s,) what answers, as "air_pressure_drop@full_power", or the output's name alone.
    first : (s, d) share of an output's variance that goes when the tolerance does, all others staying as they are.
    total : (s, d) share that stays when all others go: `first` and every interaction.
    first_low, first_high, total_low, total_high : (s, d) their intervals. Estimates may leave 0 .. 1 by their error.
    """

    names: tuple[str, ...]
    outputs: tuple[str, ...]
    first: Array
    first_low: Array
    first_high: Array
    total: Array
    total_low: Array
    total_high: Array


def sobol(
    function: Function, names: Sequence[str], points: int, seed: np.random.SeedSequence | int, confidence: float,
    outputs: Sequence[str] = (),
) -> Indices:
    """Indices of a function of independent inputs, uniform on 0 .. 1, by scipy's `sobol_indices`.

    Saltelli et al. 2010, Computer Physics Communications 181, on scrambled Sobol' points. The intervals take the
    points as independent, which is on the safe side. An output that does not move has indices of 0.

    Parameters
    ----------
    function : (d, n) -> (s, n), called once with n = (d + 2) points.
    points : a power of two.

    Raises
    ------
    ValueError
        If a value is not finite: a variance without them is that of another question.
    """
    from scipy.stats import bootstrap, sobol_indices

    d, random = len(names), np.random.default_rng(seed)
    f_A, f_B, f_AB = _values(function, _sample(d, points, random), points)
    found = sobol_indices(func={"f_A": _padded(f_A), "f_B": _padded(f_B), "f_AB": _padded(f_AB)}, n=points)
    resampled = bootstrap(
        (np.arange(points),), _Resampled(f_A, f_B, f_AB), n_resamples=RESAMPLES, batch=100, confidence_level=confidence,
        method="percentile", vectorized=True, rng=random,
    ).confidence_interval
    shape = (len(f_A), d)
    (first_low, total_low), (first_high, total_high) = (
        np.reshape(end, (2, *shape)) for end in (resampled.low, resampled.high)
    )
    return Indices(
        tuple(names), tuple(outputs) or tuple(str(i) for i in range(len(f_A))),
        np.reshape(found.first_order, (-1, d))[:-1], first_low, first_high,
        np.reshape(found.total_order, (-1, d))[:-1], total_low, total_high,
    )


def _sample(d: int, points: int, random: np.random.Generator) -> Array:
    """Matrices A, B and A with each column from B in turn, (d, (d + 2) points)."""
    from scipy.stats.qmc import Sobol

    if points < 2 or points & (points - 1):
        raise ValueError(f"Sobol' points come in powers of two, got {points}")
    A, B = np.clip(Sobol(2 * d, bits=64, rng=random).random(points), _EDGE, 1 - _EDGE).T.reshape(2, d, points)
    mixed = np.tile(A, (d, 1, 1))
    mixed[np.arange(d), np.arange(d)] = B
    return np.concatenate([A, B, *mixed], axis=1)


def _values(function: Function, u: Array, points: int) -> tuple[Array, Array, Array]:
    """Outputs about their means at A, B (s, points) and at each mixture (d, s, points)."""
    values = np.array(np.atleast_2d(function(u)), dtype=float)
    bad = np.count_nonzero(~np.all(np.isfinite(values), axis=0))
    if bad:
        raise ValueError(f"{bad} of {u.shape[1]} points have no value: there are no indices without them")
    still = np.ptp(values, axis=1) <= _CONSTANT * np.max(np.abs(values), axis=1)
    values -= np.mean(values[:, : 2 * points], axis=1)[:, None]
    values[still] = 0.0
    parts = np.moveaxis(values.reshape(len(values), -1, points), 1, 0)
    return parts[0], parts[1], parts[2:]


def _padded(f: Array) -> Array:
    """With an output of zeros behind the others: scipy cannot do a single output of a single input."""
    return np.concatenate([f, np.zeros_like(f[..., :1, :])], axis=-2)


class _Resampled:
    """First and total indices of resampled points: every mean in them as one product with the counts of each point."""

    def __init__(self, f_A: Array, f_B: Array, f_AB: Array) -> None:
        self._s, self._points = f_A.shape
        rows = (f_B * (f_AB - f_A), 0.5 * (f_A - f_AB) ** 2, ((f_A + f_B) / 2)[None], ((f_A**2 + f_B**2) / 2)[None])
        self._rows = np.concatenate(rows).reshape(-1, self._points).T

    def __call__(self, index: Array, axis: int = -1) -> Array:
        """(batch, points) or (points,) -> (2 s d, batch) or (2 s d,)."""
        drawn = np.atleast_2d(index).astype(np.int64)
        offset = self._points * np.arange(len(drawn))[:, None]
        counts = np.bincount((drawn + offset).ravel(), minlength=drawn.size).reshape(drawn.shape)
        means = (counts @ self._rows / self._points).reshape(len(drawn), -1, self._s)
        variance = means[:, -1] - means[:, -2] ** 2
        d = (means.shape[1] - 2) // 2
        with np.errstate(divide="ignore", invalid="ignore"):
            both = np.where(variance[:, None] > 0, means[:, :-2] / variance[:, None], 0.0)
        ordered = both.reshape(len(drawn), 2, d, self._s).swapaxes(2, 3).reshape(len(drawn), -1)
        return ordered.T if np.ndim(index) > 1 else ordered[0]


def core_indices(problem: CoreProblem, choices: Parameters, points: int) -> Indices:
    """Indices of the main outputs, the objectives and the limited outputs of one core on its tolerances (shop scatter).

    Raises FinfrontError where tolerances are correlated, or copies have no numbers.
    """
    tolerances = problem.space.tolerances(choices)
    _refuse_correlated(problem, tolerances)
    nominal = problem.space.batch(choices, np.zeros(1, dtype=np.int64))
    labels = tuple(f"{output}@{at}" if at else output for output, at in answers(problem, _rated(problem, nominal)))

    def function(u: Array) -> Array:
        made = _rated(problem, _copies(nominal, tolerances, u))
        _refuse_lost(made)
        return np.stack(list(answers(problem, made).values()))

    if not tolerances:
        nothing = np.empty((len(labels), 0))
        return Indices((), labels, *(nothing,) * 6)
    seed, confidence = stream(problem.study.seed, "indices"), problem.study.scatter.confidence
    return sobol(function, tuple(tolerances), points, seed, confidence, labels)


def _refuse_correlated(problem: CoreProblem, tolerances: dict[str, Tolerance]) -> None:
    for correlation in problem.study.scatter.correlations:
        if set(correlation.between) <= set(tolerances):
            first, second = correlation.between
            raise FinfrontError(
                f"no Sobol' indices: {first} and {second} are correlated, and the indices need independent tolerances",
                "'correlations' in [scatter]", "leave the correlation out for this question",
            )


def _copies(nominal: Batch, tolerances: dict[str, Tolerance], u: Array) -> Batch:
    """Copies of a core at uniform draws (d, n)."""
    made = {
        name: manufactured(name, float(nominal.parameters[name][0]), tolerance, row)
        for (name, tolerance), row in zip(tolerances.items(), u, strict=True)
    }
    return replace(nominal, parameters=nominal.parameters | made)


def _rated(problem: CoreProblem, batch: Batch) -> Copies:
    """All copies, no more at a time than fit the memory."""
    n = max(len(value) for value in batch.parameters.values())
    parts = []
    for i in range(0, n, ROWS):
        some = {name: v if len(v) == 1 else v[i : i + ROWS] for name, v in batch.parameters.items()}
        parts.append(rated(problem, replace(batch, parameters=some), None, None))
    return Copies.join(parts)


def _refuse_lost(made: Copies) -> None:
    count = int(np.count_nonzero(made.lost))
    if not count:
        return
    bits = int(np.bitwise_or.reduce(made.lost))
    reasons = "; ".join(FLAG_TEXTS[flag] for flag in Flag if bits & flag)
    raise FinfrontError(
        f"no Sobol' indices: {count} of {len(made.lost)} copies of the core have no numbers ({reasons})",
        do="take a core farther from where that begins, or tighten its tolerances",
    )
