"""What nobody knows of the correlations: their bands, published or after a test, as multipliers at draws."""

import numpy as np

from optimize.study.corrections import EXPONENT_DEVIATION, EXPONENTS
from optimize.study.model import Study
from optimize.tolerance.draws import FACTORS, Draws
from optimize.tolerance.laws import model_factor
from physics.arrays import Array, BoolArray
from physics.duty import ModelFactors
from physics.fins import FinFamily
from physics.rating import Rating

NAMES = (*FACTORS, *EXPONENTS)
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
    """The bands that count: after the test where the study names a fitted model, else those before it.

    At the reference Reynolds numbers, where exponents say nothing.
    """
    if study.fitted is None:
        return bands(study, air, coolant)
    mean, covariance = study.fitted.of(NAMES, air.name, coolant.name)
    reach = _INNER * np.sqrt(np.diag(covariance))
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

    scores = np.stack([ndtri(draws["model", name]) for name in NAMES], axis=1)
    if study.fitted is not None:
        mean, covariance = study.fitted.of(NAMES, air.name, coolant.name)
        scores = mean + scores @ np.linalg.cholesky(covariance).T
    return factors_at(study, air, coolant, scores)


def factors_at(study: Study, air: FinFamily, coolant: FinFamily, scores: Array) -> ModelFactors:
    """Corrections at scores (n, p), p as in NAMES; exponents only those of a fitted model that knows the family."""
    fitted = study.fitted
    known = fitted.known(air.name, coolant.name) if fitted is not None else ()
    own = bands(study, air, coolant) | ({n: fitted.bands[n] for n in known if n in FACTORS} if fitted else {})
    values = {name: multiplier(own[name], scores[:, i]) for i, name in enumerate(FACTORS)}
    values |= {n: EXPONENT_DEVIATION * scores[:, NAMES.index(n)] for n in EXPONENTS if n in known}
    references = {f"{side}_Re": np.array([Re]) for side, Re in fitted.reference.items()} if fitted else {}
    return ModelFactors(**values, **references)


def multiplier(band: Band, score: Array) -> Array:
    """The multiplier of a band at scores (n,)."""
    from scipy.special import ndtr

    return model_factor(band, np.clip(ndtr(score), _EDGE, 1 - _EDGE))


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
