"""What nobody knows of the correlations: their bands, published or after a test, as multipliers at draws."""

import numpy as np

from optimize.study.corrections import EXPONENT_DEVIATION, EXPONENTS, FACTORS, FittedModel
from optimize.study.model import Study
from optimize.tolerance.draws import Draws
from optimize.tolerance.laws import INNER_95, factor_of_score
from physics.arrays import Array, BoolArray
from physics.duty import ModelFactors
from physics.fins import FinFamily
from physics.rating import Rating

NAMES = (*FACTORS, *EXPONENTS)
Band = tuple[float, float]


def bands(study: Study, air: FinFamily, coolant: FinFamily) -> dict[str, Band]:
    """The band of each correlation before any test: the study's own, else what the fin families publish."""
    published = {
        "air_j": air.band_j, "air_f": air.band_f, "coolant_j": coolant.band_j, "coolant_f": coolant.band_f,
    }
    return published | study.bands


def fitted_bands(study: Study, air: FinFamily, coolant: FinFamily) -> dict[str, Band]:
    """The bands that count: after the test where the study names a fitted model, else those before it.

    At the reference Reynolds numbers, where exponents say nothing.
    """
    if study.fitted is None:
        return bands(study, air, coolant)
    mean, covariance = study.fitted.of(NAMES, air.name, coolant.name)
    reach = INNER_95 * np.sqrt(np.diag(covariance))
    ends = [factors_at(study, air, coolant, (mean + sign * reach)[None]) for sign in (-1.0, 1.0)]
    return {name: (_share(ends[0], name), _share(ends[1], name)) for name in FACTORS}


def _share(factors: ModelFactors, name: str) -> float:
    return float(getattr(factors, name)[0]) - 1


def nominal_factors(study: Study, air: FinFamily, coolant: FinFamily) -> ModelFactors | None:
    """The corrections of a fitted model at its mean; None where the study names none."""
    if study.fitted is None:
        return None
    return factors_at(study, air, coolant, study.fitted.of(NAMES, air.name, coolant.name)[0][None])


def model_factors(study: Study, air: FinFamily, coolant: FinFamily, draws: Draws) -> ModelFactors:
    """Corrections of a core, one a draw; of a fitted model correlated as the test left them."""
    from scipy.special import ndtri

    known = NAMES if study.fitted is not None else FACTORS  # without a fitted model no exponent is drawn
    scores = np.stack([ndtri(draws["model", name]) for name in known], axis=1)
    if study.fitted is not None:
        mean, covariance = study.fitted.of(NAMES, air.name, coolant.name)
        scores = mean + scores @ np.linalg.cholesky(covariance).T
    return factors_at(study, air, coolant, scores)


def factors_at(study: Study, air: FinFamily, coolant: FinFamily, scores: Array) -> ModelFactors:
    """Corrections at scores (n, p), p as NAMES or FACTORS; exponents only where a fitted model knows the family."""
    fitted = study.fitted
    known = fitted.known(air.name, coolant.name) if fitted is not None else ()
    own = bands(study, air, coolant) | ({n: fitted.bands[n] for n in known if n in FACTORS} if fitted else {})
    values = {name: factor_of_score(own[name], scores[:, i]) for i, name in enumerate(FACTORS)}
    values |= {n: EXPONENT_DEVIATION * scores[:, NAMES.index(n)] for n in EXPONENTS if n in known}
    references = {f"{side}_Re": np.array([Re]) for side, Re in fitted.reference.items()} if fitted else {}
    return ModelFactors(**values, **references)


def outside_fit(fitted: FittedModel, air: FinFamily, coolant: FinFamily, rating: Rating) -> BoolArray:
    """(n, m) where a fitted model is used on other fins, or beyond the Reynolds numbers, than it was fitted on."""
    found: BoolArray = np.zeros(rating.flags.shape, dtype=bool)
    for side, family in (("air", air), ("coolant", coolant)):
        Re, reach = rating[f"{side}_Re"], fitted.Re[side]
        if reach is None:  # nothing was measured of this side, and nothing is claimed
            continue
        found = found | (family.name != fitted.families[side]) | (Re < reach[0]) | (Re > reach[1])
    return found
