"""Scores to corrections: a score is standard normal before any test, as the published bands and the tolerances say."""

from dataclasses import dataclass

import numpy as np

from optimize.evaluate import CoreProblem
from optimize.handover.bench import DUCTS
from optimize.space import Batch, Parameters
from optimize.study.corrections import EXPONENT_DEVIATION, EXPONENTS, FACTORS, SIDES
from optimize.study.model import LARGEST_BLOCKAGE, Tolerance
from optimize.tolerance.laws import factor_of_score
from optimize.tolerance.model_draws import bands
from physics.arrays import Array
from physics.duty import ModelFactors

BLOCKAGES = ("air_blockage", "coolant_blockage")
_LEAST = 0.2  # of a dimension, however far a score may go
_SIGMAS = {"uniform": 3**0.5, "triangular": 6**0.5}  # half widths over standard deviations

Band = tuple[float, float]


@dataclass(frozen=True)
class Scales:
    """What a score of one is worth.

    Attributes
    ----------
    bands : of the multipliers, by `study.corrections.FACTORS`.
    shop : standard deviation of what the core measured was made of, where its study gives a tolerance [SI].
    reference : Reynolds numbers by side, at which an exponent changes nothing.
    """

    bands: dict[str, Band]
    shop: dict[str, float]
    reference: dict[str, float]

    @property
    def names(self) -> tuple[str, ...]:
        return (*FACTORS, *EXPONENTS, *self.shop)

    def factors(self, scores: Array) -> ModelFactors:
        """Corrections at scores (n, p)."""
        references = {f"{side}_Re": np.array([Re]) for side, Re in self.reference.items()}
        return ModelFactors(**{name: self.value(name, scores) for name in (*FACTORS, *EXPONENTS)}, **references)

    def value(self, name: str, scores: Array) -> Array:
        """A multiplier, an exponent, or how far a dimension is from its nominal, at scores (n, p)."""
        score = scores[:, self.names.index(name)]
        if name in self.shop:
            return np.asarray(self.shop[name] * score)
        return np.asarray(EXPONENT_DEVIATION * score) if name in EXPONENTS else factor_of_score(self.bands[name], score)

    def made(self, nominal: Parameters, scores: Array) -> Parameters:
        """Parameters of the core at scores (n, p): its nominal ones (1,) as the shop may have made them."""
        changed = {name: nominal[name] + self.value(name, scores) for name in self.shop}
        return nominal | {
            name: np.clip(value, 0.0, LARGEST_BLOCKAGE) if name in BLOCKAGES
            else np.maximum(value, _LEAST * nominal[name]) for name, value in changed.items()
        }


def scales_of(problem: CoreProblem, core: Parameters, batch: Batch) -> Scales:
    """The scales of a core: bands of its fin families or of the study, tolerances of what it is made of."""
    tolerances = problem.space.tolerances(core)
    names = [name for name in tolerances if name in batch.parameters and name not in DUCTS]
    spread = {name: _deviation(tolerances[name], float(batch.parameters[name][0])) for name in names}
    spread = {name: deviation for name, deviation in spread.items() if deviation > 0}
    own = bands(problem.study, batch.air_family, batch.coolant_family)
    return Scales(own, spread, dict.fromkeys(SIDES, 1.0))


def _deviation(tolerance: Tolerance, nominal: float) -> float:
    """Standard deviation of a tolerance, the larger of both sides."""
    if tolerance.law == "measured":
        return float(np.std(tolerance.deviations))
    half = max(tolerance.below, tolerance.above) * (abs(nominal) if tolerance.relative else 1.0)
    return half / (tolerance.sigmas or _SIGMAS[tolerance.law])
