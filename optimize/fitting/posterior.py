"""Maximum a posteriori fit of scores to bench rows: generalised least squares with the published bands as prior.

Rows y, predictions m(z), scores z ~ N(0, 1) before the test: minimise r' V^-1 r + z' z, r = y - m(z). V holds what
was measured (each row by itself, and what all rows of a file share) and what inputs are uncertain by, through the
slopes of the predictions. The posterior is normal, of covariance (J' V^-1 J + 1)^-1.

Source: A. Tarantola, Inverse Problem Theory, SIAM 2005, section 3.2 (from memory); errors of the inputs as an
effective variance, J. Orear, Am. J. Phys. 50 (1982) 912 (from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from optimize.fitting.rigs import Bench
from optimize.fitting.scales import Scales
from physics.arrays import Array

_STEP = 0.1  # of a score, for slopes
_ROUNDS = 3  # of the covariance of the rows, which is taken at the fit
_SCORES = 6.0  # no score beyond: the law of a factor is known no further
_LEAST_FALL = 1e-10
_MOST_STEPS = 60
_HALVINGS = 12  # of a step that does not help


@dataclass(frozen=True)
class Measured:
    """All rows of all files: y (N,), and where each came from: file, row in it, and output."""

    y: Array
    file: Array
    row: Array
    output: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.y)


@dataclass(frozen=True)
class Posterior:
    """Scores after the test: mean (p,), covariance (p, p).

    Attributes
    ----------
    names : of the scores. measured : the rows. predicted : (N,) at the mean. slopes : J (N, p). V : (N, N).
    misfit : r' V^-1 r + z' z, which has a chi-square law of N degrees where model and uncertainties hold.
    """

    names: tuple[str, ...]
    mean: Array
    covariance: Array
    measured: Measured
    predicted: Array
    slopes: Array
    V: Array
    misfit: float

    @property
    def residuals(self) -> Array:
        return self.measured.y - self.predicted

    @property
    def deviations(self) -> Array:
        """Standard deviations of the scores (p,); 1 is the prior's."""
        return np.sqrt(np.diag(self.covariance))


def measured_of(parts: Sequence[Bench]) -> Measured:
    """The rows of all files, one after the other."""
    y, file, row, output = [], [], [], []
    for number, part in enumerate(parts):
        for name in part.file.outputs:
            n = len(part.file)
            y.append(part.file.values[name])
            file.append(np.full(n, number))
            row.append(np.arange(n))
            output += [name] * n
    return Measured(np.concatenate(y), np.concatenate(file), np.concatenate(row), tuple(output))


def predictions(parts: Sequence[Bench], scales: Scales, scores: Array) -> Array:
    """(n, N) at scores (n, p), in the order of `measured_of`."""
    found = [part.predicted(scales, scores) for part in parts]
    return np.concatenate([p.transpose(0, 2, 1).reshape(len(scores), -1) for p in found], axis=1)


def slopes_at(parts: Sequence[Bench], scales: Scales, z: Array) -> tuple[Array, Array]:
    """Predictions (N,) and their slopes (N, p) at scores z (p,)."""
    p = len(z)
    scores = np.concatenate([z[None], z + _STEP * np.eye(p), z - _STEP * np.eye(p)])
    m = predictions(parts, scales, scores)
    return m[0], ((m[1 : p + 1] - m[p + 1 :]) / (2 * _STEP)).T


def row_covariance(parts: Sequence[Bench], scales: Scales, z: Array) -> Array:
    """V (N, N) of the rows at scores z (p,): outputs by themselves, inputs through their slopes, what files share."""
    blocks = [errors_of(part, scales, z).covariance for part in parts]
    V = np.zeros((sum(len(b) for b in blocks),) * 2)
    at = 0
    for block in blocks:
        V[at : at + len(block), at : at + len(block)] = block
        at += len(block)
    return V


@dataclass(frozen=True)
class Errors:
    """Of the N values of a file: `own` (N, N), row by row; `shared` by all rows, quantity by quantity (N,)."""

    own: Array
    shared: dict[str, Array]

    @property
    def covariance(self) -> Array:
        """(N, N)."""
        return self.own + sum(np.outer(u, u) for u in self.shared.values())


def errors_of(part: Bench, scales: Scales, z: Array) -> Errors:
    """What the values of a file are uncertain by at scores z (p,), as standard uncertainties of its outputs."""
    file, n, outputs = part.file, len(part.file), part.file.outputs
    own, shared = np.diag(np.concatenate([file.random[name] ** 2 for name in outputs])), {}
    for i, name in enumerate(outputs):
        shared[name] = np.zeros(n * len(outputs))
        shared[name][i * n : (i + 1) * n] = file.common[name]
    same_row = np.tile(np.arange(n), len(outputs))
    for name in file.rig.inputs:
        slope = _input_slopes(part, scales, z, name)
        by_row = (slope * file.random[name][:, None]).T.ravel()
        own += np.where(same_row[:, None] == same_row[None, :], np.outer(by_row, by_row), 0.0)
        shared[name] = (slope * file.common[name][:, None]).T.ravel()
    return Errors(own, {name: u for name, u in shared.items() if np.any(u)})


def _input_slopes(part: Bench, scales: Scales, z: Array, name: str) -> Array:
    """Slopes of the outputs (N, k) over an input, taken over what it is uncertain by."""
    file = part.file
    step = np.hypot(file.random[name], file.common[name])
    if not np.any(step > 0):
        return np.zeros((len(file), len(file.outputs)))
    ends = [
        part.predicted(scales, z[None], file.values | {name: file.values[name] + sign * step})[0]
        for sign in (1.0, -1.0)
    ]
    return np.where(step[:, None] > 0, (ends[0] - ends[1]) / (2 * np.where(step > 0, step, 1.0))[:, None], 0.0)


def fitted(
    parts: Sequence[Bench], scales: Scales, start: Array | None = None, rounds: int = _ROUNDS, scatter: float = 1.0
) -> Posterior:
    """The posterior of the scores given all rows of all files, whose deviations are `scatter` times those stated."""
    rows, p = measured_of(parts), len(scales.names)
    z = np.zeros(p) if start is None else start
    for _ in range(rounds):
        V = scatter**2 * row_covariance(parts, scales, z)
        z = _minimum(parts, scales, rows.y, V, z)
    m, J = slopes_at(parts, scales, z)
    return _posterior(scales.names, rows, z, m, J, V)


def _posterior(names: tuple[str, ...], rows: Measured, z: Array, m: Array, J: Array, V: Array) -> Posterior:
    information = J.T @ np.linalg.solve(V, J) + np.eye(len(z))
    r = rows.y - m
    misfit = float(r @ np.linalg.solve(V, r) + z @ z)
    covariance = np.linalg.inv(information)
    return Posterior(names, z, (covariance + covariance.T) / 2, rows, m, J, V, misfit)


def _minimum(parts: Sequence[Bench], scales: Scales, y: Array, V: Array, z: Array) -> Array:
    """Scores at which r' V^-1 r + z' z is least: Gauss-Newton, steps halved where they do not help."""
    L = np.linalg.cholesky(V)

    def cost(m: Array, z: Array) -> float:
        w = np.linalg.solve(L, y - m)
        return float(w @ w + z @ z)

    m, J = slopes_at(parts, scales, z)
    now = cost(m, z)
    for _ in range(_MOST_STEPS):
        A, w = np.linalg.solve(L, J), np.linalg.solve(L, y - m)
        step = np.linalg.solve(A.T @ A + np.eye(len(z)), A.T @ w - z)
        shares = 0.5 ** np.arange(_HALVINGS)
        tried = np.clip(z + shares[:, None] * step, -_SCORES, _SCORES)
        costs = [cost(row, at) for row, at in zip(predictions(parts, scales, tried), tried, strict=True)]
        best = int(np.nanargmin(costs))
        if not costs[best] < now - _LEAST_FALL * (1 + now):
            break
        z, now = tried[best], costs[best]
        m, J = slopes_at(parts, scales, z)
    return z
