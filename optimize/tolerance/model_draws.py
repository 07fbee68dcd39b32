"""What nobody knows of the correlations: their bands, published or after a test, as multipliers at draws."""

import numpy as np

from optimize.study.model import Study
from optimize.tolerance.draws import FACTORS, Draws
from optimize.tolerance.laws import model_factor
from physics.arrays import Array, BoolArray
from physics.duty import ModelFactors
from physics.fins import FinFamily
from physics.rating import Rating

_EDGE = 1e-12
_INNER = 1.959964  # standard deviations that a band reaches to either side
Band = tuple[float, float]


def bands(study: Study, air: FinFamily, coolant: FinFamily) -> dict[str, Band]:
    """The band of each correlation before any test: the study's own, else what the fin families publish."""
    published = {
        "air_j": air.band_j, "air_f": air.band_f, "coolant_j": coolant.band_j, "coolant_f": coolant.band_f,
    }
    return published | study.bands


def fitted_bands(study: Study, air: FinFamily, coolant: FinFamily) -> dict[str, Band]:
    """The bands that count: after the test where the study names a fitted model, else those before it."""
    if study.fitted is None:
        return bands(study, air, coolant)
    mean, covariance = study.fitted.of(FACTORS, air.name, coolant.name)
    reach = _INNER * np.sqrt(np.diag(covariance))
    ends = [_factors(study, air, coolant, (mean + sign * reach)[None]) for sign in (-1.0, 1.0)]
    return {name: (float(ends[0][name][0]) - 1, float(ends[1][name][0]) - 1) for name in FACTORS}


def nominal_factors(study: Study, air: FinFamily, coolant: FinFamily) -> ModelFactors | None:
    """The multipliers of a fitted model at its mean; None where the study names none."""
    if study.fitted is None:
        return None
    mean, _ = study.fitted.of(FACTORS, air.name, coolant.name)
    return ModelFactors(**_factors(study, air, coolant, mean[None]))


def model_factors(study: Study, air: FinFamily, coolant: FinFamily, draws: Draws) -> ModelFactors:
    """Multipliers on the correlations of a core, one a draw; of a fitted model correlated as the test left them."""
    from scipy.special import ndtri

    scores = np.stack([ndtri(draws["model", name]) for name in FACTORS], axis=1)
    if study.fitted is not None:
        mean, covariance = study.fitted.of(FACTORS, air.name, coolant.name)
        scores = mean + scores @ np.linalg.cholesky(covariance).T
    return ModelFactors(**_factors(study, air, coolant, scores))


def _factors(study: Study, air: FinFamily, coolant: FinFamily, scores: Array) -> dict[str, Array]:
    """Multipliers (n,) at scores (n, p), p as in FACTORS."""
    from scipy.special import ndtr

    own = bands(study, air, coolant) | _fitted_scales(study, air, coolant)
    u = np.clip(ndtr(scores), _EDGE, 1 - _EDGE)
    return {name: model_factor(own[name], u[:, i]) for i, name in enumerate(FACTORS)}


def _fitted_scales(study: Study, air: FinFamily, coolant: FinFamily) -> dict[str, Band]:
    """What a score is worth where the fitted model knows the family."""
    if study.fitted is None:
        return {}
    return {name: study.fitted.bands[name] for name in study.fitted.known(air.name, coolant.name)}


def outside_fit(study: Study, air: FinFamily, coolant: FinFamily, rating: Rating) -> BoolArray:
    """(n, m) where a fitted model is used on other fins, or beyond the Reynolds numbers, than it was fitted on."""
    found: BoolArray = np.zeros(rating.flags.shape, dtype=bool)
    if study.fitted is None:
        return found
    for side, family in (("air", air), ("coolant", coolant)):
        Re, reach = rating[f"{side}_Re"], study.fitted.Re[side]
        if reach is None:  # nothing was measured of this side, and nothing is claimed
            continue
        found = found | (family.name != study.fitted.families[side]) | (Re < reach[0]) | (Re > reach[1])
    return found
