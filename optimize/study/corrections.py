"""A model fitted to bench rows: scores of the corrections on the correlations, and how sure they are.

A score is standard normal under the published bands; `mean` and `covariance` are those after the test. The model knows
on which fins and over which Reynolds numbers it was fitted.
"""

import json
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from physics.arrays import Array

SIDES = ("air", "coolant")
FACTORS = ("air_j", "air_f", "coolant_j", "coolant_f", "tank_loss")
EXPONENTS = ("air_j_exponent", "air_f_exponent", "coolant_j_exponent", "coolant_f_exponent")
# Standard deviation of an exponent of Re before any test. Our judgement: the strip fins of Kays & London that the
# tests hold depart from their correlation by exponents of -0.08 to 0.06, 0.05 in the root mean square.
EXPONENT_DEVIATION = 0.05


@dataclass(frozen=True)
class FittedModel:
    """Corrections after a test.

    Attributes
    ----------
    names : of the scores, some of FACTORS and EXPONENTS. mean : (p,). covariance : (p, p).
    bands : what a score of 1.96 is worth, low and high, by name of a multiplier; an exponent's is EXPONENT_DEVIATION.
    families : of the fins, by side. Re : (low, high) that the rows reached, by side; None where none were.
    reference : Reynolds numbers of the exponents, by side.
    about : what it was fitted on, in words.
    """

    names: tuple[str, ...]
    mean: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    bands: dict[str, tuple[float, float]]
    families: dict[str, str]
    Re: dict[str, tuple[float, float] | None]
    reference: dict[str, float]
    about: str

    def known(self, air_family: str, coolant_family: str) -> tuple[str, ...]:
        """The names whose scores hold for a core of these families."""
        there = {"air": air_family == self.families["air"], "coolant": coolant_family == self.families["coolant"]}
        return tuple(name for name in self.names if there.get(name.split("_")[0], True))

    def of(self, names: tuple[str, ...], air_family: str, coolant_family: str) -> tuple[Array, Array]:
        """Mean and covariance of the scores of `names`, for a core of these families: as before where it knows none."""
        known = [name for name in names if name in self.known(air_family, coolant_family)]
        mean, covariance = np.zeros(len(names)), np.eye(len(names))
        here, own = ([source.index(n) for n in known] for source in (names, self.names))
        mean[here] = np.array(self.mean)[own]
        covariance[np.ix_(here, here)] = np.array(self.covariance)[np.ix_(own, own)]
        return mean, covariance


def as_toml(model: FittedModel) -> str:
    """The text of the file."""
    lines = [
        "# Corrections fitted to bench rows; a study uses them by: [model] fitted = \"this file\"",
        f"about = {_quoted(model.about)}", "names = [" + ", ".join(_quoted(n) for n in model.names) + "]",
        f"mean = {_row(model.mean)}", "covariance = [", *(f"    {_row(r)}," for r in model.covariance), "]", "",
        "[bands]",
        *(f"{name} = {_row(band)}" for name, band in model.bands.items()), "", "[families]",
        *(f"{side} = {_quoted(name)}" for side, name in model.families.items()), "", "[reynolds]",
        *(f"{side} = {_row(Re)}" for side, Re in model.Re.items() if Re is not None), "", "[reference]",
        *(f"{side} = {float(Re)!r}" for side, Re in model.reference.items()),
    ]
    return "\n".join(lines) + "\n"


def _row(values: Iterable[float]) -> str:
    return "[" + ", ".join(f"{float(v)!r}" for v in values) + "]"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)
