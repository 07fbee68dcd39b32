"""What a fit says: how far each correction is known, what the rows cannot tell apart, outliers, misfit, proof."""

from dataclasses import dataclass

import numpy as np

from optimize.fitting.posterior import Posterior
from optimize.fitting.scales import Scales
from optimize.tolerance.laws import INNER_95
from physics.arrays import Array, BoolArray

INNER_90 = 1.644854
KNOWN, HARDLY = 0.7, 0.95  # of the prior's standard deviation
ALIKE = 0.8  # correlation beyond which two corrections are told only together
OUTLIER = 3.5  # standard deviations
TOLD = "told by the rows"


@dataclass(frozen=True)
class Correction:
    """One correction: what it was before (low, high) and is after (low, median, high), 95 %.

    A multiplier, an exponent, or a dimension beyond its nominal [SI]. `deviation`: of its score, 1 before.
    """

    name: str
    before: tuple[float, float]
    after: tuple[float, float, float]
    deviation: float

    @property
    def verdict(self) -> str:
        """How much the rows say of it."""
        if self.deviation < KNOWN:
            return TOLD
        return "hardly told" if self.deviation < HARDLY else "not told by the rows"


def corrections(found: Posterior, scales: Scales) -> list[Correction]:
    """Every correction before and after."""
    p, sd = len(found.names), found.deviations
    made = []
    for i, name in enumerate(found.names):
        scores = np.zeros((5, p))
        scores[:, i] = [-INNER_95, INNER_95, *(found.mean[i] + k * INNER_95 * sd[i] for k in (-1, 0, 1))]
        low, high, *after = (float(v) for v in scales.value(name, scores))
        made.append(Correction(name, (low, high), (after[0], after[1], after[2]), float(sd[i])))
    return made


def told_together(found: Posterior) -> list[tuple[str, str, float]]:
    """Pairs of corrections that the rows cannot tell apart, with their correlation."""
    sd = found.deviations
    rho = found.covariance / np.outer(sd, sd)
    pairs = [(i, j) for i in range(len(sd)) for j in range(i) if abs(rho[i, j]) > ALIKE]
    return [(found.names[j], found.names[i], float(rho[i, j])) for i, j in pairs]


def standardised(found: Posterior) -> Array:
    """Residuals over what they should scatter by after a fit (N,)."""
    left = np.diag(found.V) - np.einsum("ij,jk,ik->i", found.slopes, found.covariance, found.slopes)
    return np.asarray(found.residuals / np.sqrt(np.maximum(left, 1e-6 * np.diag(found.V))))


def outliers(found: Posterior) -> BoolArray:
    """(N,) rows that do not belong to the others."""
    return np.asarray(np.abs(standardised(found)) > OUTLIER)


def chance_of_misfit(found: Posterior) -> float:
    """Probability of a misfit as large where model and stated uncertainties hold."""
    from scipy.special import chdtrc

    return float(chdtrc(len(found.measured), found.misfit))


def widened(found: Posterior) -> float:
    """Factor on standard deviations where rows scatter more than stated (Birge's ratio; from memory), 1 at least.

    R. T. Birge, Phys. Rev. 40 (1932) 207: the root of chi-square over its degrees of freedom.
    """
    return float(np.sqrt(max(found.misfit / len(found.measured), 1.0)))


@dataclass(frozen=True)
class Prediction:
    """Rows predicted without being fitted: residuals and their standard deviation (n,)."""

    residual: Array
    deviation: Array

    @property
    def inside(self) -> BoolArray:
        """(n,) inside the 90 % interval."""
        return np.asarray(np.abs(self.residual) <= INNER_90 * self.deviation)


def left_one_out(found: Posterior) -> Prediction:
    """Every row predicted by a fit without it, all its outputs left out together; linear about the fit.

    What the row shares with those that stay tells of it too: it is predicted given them.
    """
    y = found.residuals + found.slopes @ found.mean  # what the scores must explain, the prior's mean being 0
    residual, deviation = np.empty(len(y)), np.empty(len(y))
    rows = found.measured.file * (found.measured.row.max() + 1) + found.measured.row
    for row in np.unique(rows):
        out = rows == row
        z, C, weights = _without(found, y, out)
        J = found.slopes[out] - weights @ found.slopes[~out]
        variance = found.V[np.ix_(out, out)] - weights @ found.V[np.ix_(~out, out)] + J @ C @ J.T
        residual[out] = y[out] - weights @ y[~out] - J @ z
        deviation[out] = np.sqrt(np.diag(variance))
    return Prediction(residual, deviation)


def _without(found: Posterior, y: Array, out: BoolArray) -> tuple[Array, Array, Array]:
    """Mean and covariance of the scores without some rows; how the errors of these follow from those of the others."""
    J, V = found.slopes[~out], found.V[np.ix_(~out, ~out)]
    both = np.linalg.solve(V, np.hstack([J, found.V[np.ix_(~out, out)]]))
    weighted, weights = both[:, : J.shape[1]], both[:, J.shape[1] :].T
    C = np.linalg.inv(J.T @ weighted + np.eye(J.shape[1]))
    return np.asarray(C @ (weighted.T @ y[~out])), np.asarray(C, dtype=np.float64), np.asarray(weights)


@dataclass(frozen=True)
class Validation:
    """Comparison error E = S - D of one output in one file (mean over its rows), and its standard uncertainty.

    u_val^2 = u_D^2 + u_input^2 + u_num^2 (ASME V&V 20-2009, from memory); u_num of the settled sheet is far below the
    others (0.01 K, 3e-4 of a loss) and is left out. The model's error lies within E -+ 1.96 u_val, with 95 %.
    """

    file: int
    output: str
    rows: int
    error: float
    uncertainty: float
    rms: float


def validation(found: Posterior, predicted: Array) -> list[Validation]:
    """The comparison of any predictions (N,) with the rows."""
    made = []
    outputs = np.array(found.measured.output)
    for file in np.unique(found.measured.file):
        for name in dict.fromkeys(outputs[found.measured.file == file].tolist()):
            own = (found.measured.file == file) & (outputs == name)
            n = int(own.sum())
            E = predicted[own] - found.measured.y[own]
            u = float(np.sqrt(np.ones(n) @ found.V[np.ix_(own, own)] @ np.ones(n))) / n
            made.append(Validation(int(file), name, n, float(np.mean(E)), u, float(np.sqrt(np.mean(E * E)))))
    return made
