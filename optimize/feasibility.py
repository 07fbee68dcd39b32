"""Every requirement on a core as a signed margin, normalised by its own scale: >= 0 is good, NaN not computable."""

from dataclasses import dataclass

import numpy as np

from optimize.study.model import Limit, Objective, Study
from physics.arrays import Array, BoolArray
from physics.flags import VOID, Flag
from physics.outputs import CLEARANCES, OUTPUTS
from physics.rating import Rating

_TEMPERATURE_SCALE = 50.0  # [K] what a miss in temperature is measured against
_WORST_IS_HIGH = {
    "heat_rejected": False, "air_outlet_temperature": True, "effectiveness": False, "air_pressure_drop": True,
    "coolant_pressure_drop": True, "charge_density": False, "shaft_power": True, "core_shaft_power": True,
    "net_gain": False, "condensate_rate": True, "boiling_margin": False, "freezing_margin": False,
}
# What the margin of a clearance is a share of
CLEARANCE_SCALES = {
    "length_clearance": "pocket_length", "width_clearance": "pocket_width", "lid_clearance": "pocket_depth",
    "port_height_clearance": "pocket_depth", "port_width_clearance": "pocket_width",
    "port_flange_clearance": "pocket_depth",
}
_BANKS = "whole coolant passages in every bank"
_IN_RANGE = "inside the range of every correlation"
_RANGE_FLAGS = Flag.AIR_FIN_RANGE | Flag.COOLANT_FIN_RANGE | Flag.AIR_PROPERTIES | Flag.COOLANT_TEMPERATURE


@dataclass(frozen=True)
class Requirement:
    """One side of a limit: sign +1 for a maximum, -1 for a minimum; `at` and `of` as in `Limit`."""

    name: str
    output: str
    bound: float
    sign: float
    at: str | None
    of: str | None

    @property
    def scale(self) -> float:
        """What a margin is divided by."""
        if OUTPUTS[self.output].kind == "temperature":
            return _TEMPERATURE_SCALE
        return abs(self.bound) or 1.0


def requirements(study: Study) -> tuple[Requirement, ...]:
    """The study's limits, one requirement a side."""
    return tuple(side for limit in study.limits for side in _sides(limit))


def _sides(limit: Limit) -> list[Requirement]:
    where = f", {limit.at}" if limit.at else ""
    label = OUTPUTS[limit.output].label
    sides = []
    if limit.maximum is not None:
        sides.append(Requirement(f"{label}{where} (max)", limit.output, limit.maximum, 1.0, limit.at, limit.of))
    if limit.minimum is not None:
        sides.append(Requirement(f"{label}{where} (min)", limit.output, limit.minimum, -1.0, limit.at, limit.of))
    return sides


def margin_names(study: Study) -> tuple[str, ...]:
    """Names of the columns of `margins`: clearances, banks, range (where asked for), limits."""
    ranged = (_IN_RANGE,) if study.search.out_of_range == "refuse" else ()
    return (
        *(OUTPUTS[name].label for name in CLEARANCES), _BANKS, *ranged, *(r.name for r in requirements(study))
    )


def margins(study: Study, rating: Rating, passages: Array, passes: Array, side_by_side: Array) -> Array:
    """Signed, normalised margins (n, q), columns as in `margin_names`; memory order column by column.

    A core whose numbers at some duty point are missing or have not settled has none: NaN.
    """
    # Rounded to 1e-12 of the pocket: 2.75 in and 0.75 in must make room for 3.5 in.
    rows = [np.round(rating[name] / getattr(study.envelope, CLEARANCE_SCALES[name]), 12) for name in CLEARANCES]
    rows.append(0.0 - np.where(side_by_side > 0, np.round(passages) % passes, 0.0) / passes)
    if study.search.out_of_range == "refuse":
        rows.append(np.where(np.any(rating.flags & _RANGE_FLAGS, axis=1), -1.0, 0.0))
    for r, value in zip(requirements(study), requirement_values(study, rating), strict=True):
        rows.append(r.sign * (r.bound - value) / r.scale)
    without = np.any(rating.flags & (VOID | Flag.NOT_SETTLED), axis=1)
    return np.stack([np.where(without, np.nan, row) for row in rows]).T


def requirement_values(study: Study, rating: Rating) -> list[Array]:
    """The outputs that the requirements of the limits bound (n,), one for each."""
    return [
        at_duty(rating, r.output, r.at, worst_is_high=r.sign > 0, weights=weights_of(study))
        for r in requirements(study)
    ]


def kept_by_duty(study: Study, rating: Rating) -> dict[str, BoolArray]:
    """Requirements on the worst of all duty points: (n, m) whether each of them keeps the bound."""
    with np.errstate(invalid="ignore"):
        return {
            r.name: np.asarray(r.sign * (r.bound - rating[r.output]) >= 0)
            for r in requirements(study) if r.at == "worst" and rating[r.output].ndim == 2
        }


def at_duty(
    rating: Rating, output: str, at: str | None, worst_is_high: bool, weights: Array | None = None
) -> Array:
    """An output (n,) at a duty point, at the worst of all, or their weighted mean; as it is for outputs of the core."""
    value = rating[output]
    if value.ndim == 1 or at is None:
        return value
    if at == "worst":
        return np.asarray(np.max(value, axis=1) if worst_is_high else np.min(value, axis=1))
    if at == "mean":
        if weights is None:
            raise ValueError("a mean over duty points needs their weights")
        return np.asarray(np.sum(value * weights, axis=1) / np.sum(weights))
    return value[:, rating.duty_names.index(at)]


def objective_value(study: Study, rating: Rating, objective: Objective) -> Array:
    """An objective in its own sense and unit (n,); the worst duty of something to maximise is its lowest."""
    return at_duty(rating, objective.output, objective.at, not objective.maximise, weights_of(study))


def weights_of(study: Study) -> Array:
    """Weights of the duty points (m,)."""
    return np.array([point.weight for point in study.duty])


def over_duty_points(study: Study, rating: Rating) -> dict[str, tuple[Array, Array]]:
    """Worst and weighted mean (n,) of what is better or worse by its size, where a study has several duty points."""
    if len(study.duty) < 2:
        return {}
    weights = weights_of(study)
    return {
        name: (at_duty(rating, name, "worst", is_high), at_duty(rating, name, "mean", is_high, weights))
        for name, is_high in _WORST_IS_HIGH.items() if name in rating.values
    }
