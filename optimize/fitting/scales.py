"""Scores to corrections: a score is standard normal before any test, as the published bands and the tolerances say."""

from dataclasses import dataclass

import numpy as np

from optimize.evaluate import CoreProblem
from optimize.space import Batch, Parameters
from optimize.study.corrections import EXPONENT_DEVIATION, EXPONENTS, FACTORS, SIDES
from optimize.study.model import LARGEST_BLOCKAGE, Tolerance
from optimize.tolerance.laws import factor_of_score
from optimize.tolerance.model_draws import bands
from physics.arrays import Array
from physics.core import Designs
from physics.duty import ModelFactors

BLOCKAGES = ("air_blockage", "coolant_blockage")
_SIGMAS = {"uniform": 3**0.5, "triangular": 6**0.5}  # half widths over standard deviations

Band = tuple[float, float]


@dataclass(frozen=True)
class Scales:
    """What a score of one is worth.

    Attributes
    ----------
    bands : of the multipliers, by `study.corrections.FACTORS`.
    blockage : standard deviation of the blocked shares of the core measured, where its study gives a tolerance.
    reference : Reynolds numbers by side, at which an exponent changes nothing.
    """

    bands: dict[str, Band]
    blockage: dict[str, float]
    reference: dict[str, float]

    @property
    def names(self) -> tuple[str, ...]:
        return (*FACTORS, *EXPONENTS, *self.blockage)

    def factors(self, scores: Array) -> ModelFactors:
        """Corrections at scores (n, p)."""
        references = {f"{side}_Re": np.array([Re]) for side, Re in self.reference.items()}
        return ModelFactors(**{name: self.value(name, scores) for name in (*FACTORS, *EXPONENTS)}, **references)

    def value(self, name: str, scores: Array) -> Array:
        """A multiplier, an exponent, or the change of a blocked share, at scores (n, p)."""
        score = scores[:, self.names.index(name)]
        if name in self.blockage:
            return np.asarray(self.blockage[name] * score)
        return np.asarray(EXPONENT_DEVIATION * score) if name in EXPONENTS else factor_of_score(self.bands[name], score)

    def blocked(self, d: Designs, scores: Array) -> dict[str, Array]:
        """Blocked shares of the core at scores (n, p)."""
        return {
            name: np.clip(getattr(d, name) + self.value(name, scores), 0.0, LARGEST_BLOCKAGE) for name in self.blockage
        }


def scales_of(problem: CoreProblem, core: Parameters, batch: Batch) -> Scales:
    """The scales of a core: bands of its fin families or of the study, tolerances of its blocked shares."""
    tolerances = problem.space.tolerances(core)
    spread = {name: _deviation(tolerances[name], float(core[name][0])) for name in BLOCKAGES if name in tolerances}
    own = bands(problem.study, batch.air_family, batch.coolant_family)
    return Scales(own, spread, dict.fromkeys(SIDES, 1.0))


def _deviation(tolerance: Tolerance, nominal: float) -> float:
    """Standard deviation of a tolerance, the larger of both sides."""
    if tolerance.law == "measured":
        return float(np.std(tolerance.deviations))
    half = max(tolerance.below, tolerance.above) * (abs(nominal) if tolerance.relative else 1.0)
    return half / (tolerance.sigmas or _SIGMAS[tolerance.law])
