"""How outputs answer to each tolerance near the nominal: slopes by central differences, and effects of its ends."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from optimize import units
from optimize.evaluate import CoreProblem
from optimize.feasibility import objective_value, requirement_values, requirements
from optimize.space import KINDS, Batch, Parameters
from optimize.study.model import Tolerance
from optimize.tolerance.copies import SHOWN
from physics.arrays import Array, BoolArray
from physics.flags import Flag
from physics.outputs import OUTPUTS
from physics.rating import Rating

# What a slope is given for, by unit system: up to a length, a step; and the words for it
_LENGTH_STEPS = {
    "SI": ((0.020, 0.01e-3, "0.01 mm"), (np.inf, 0.1e-3, "0.1 mm")),
    "US": ((0.8 * 0.0254, 0.001 * 0.0254, "0.001 in"), (np.inf, 0.01 * 0.0254, "0.01 in")),
}
_LARGEST_SHARE = 0.9  # of what may be blocked

Function = Callable[[Array], Array]


@dataclass(frozen=True)
class Sensitivities:
    """Local sensitivities of s outputs to d tolerances [SI]; NaN where a copy has no numbers.

    Attributes
    ----------
    names : (d,) what is toleranced.
    outputs : (s,) as "air_pressure_drop@full_power", or the output's name alone.
    per : (d,) the step a slope is for, as "0.01 mm" or "1 %" (of the value); "1 point" of a fraction.
    slope : (s, d) change of the output for one such step.
    at_low, at_high : (s, d) output with one dimension at the lower or upper end of its tolerance, less the nominal.
    """

    names: tuple[str, ...]
    outputs: tuple[str, ...]
    per: tuple[str, ...]
    slope: Array
    at_low: Array
    at_high: Array

    def displayed(self, system: str) -> tuple[tuple[str, ...], Array, Array, Array]:
        """Units (s,), then slope, at_low and at_high (s, d) in them; a temperature changes by K or degF."""
        kinds = [_of_change(label.partition("@")[0]) for label in self.outputs]
        factors = np.array([units.scale(kind, system)[0] for kind in kinds])[:, None]
        return (
            tuple(units.unit_label(kind, system) for kind in kinds),
            self.slope / factors, self.at_low / factors, self.at_high / factors,
        )


def _of_change(output: str) -> str:
    kind = OUTPUTS[output].kind
    return "temperature difference" if kind == "temperature" else kind


def local(
    function: Function, nominal: Array, steps: Array, low: Array, high: Array, ahead: BoolArray | None = None
) -> tuple[Array, Array, Array]:
    """Slope per step, and effects of the ends `low` and `high` of each input, (s, d) each.

    Second-order differences over one step: central, or forward where there is nothing below the nominal (`ahead`).

    Parameters
    ----------
    function : (d, n) -> (s, n), called once with n = 4 d + 1 points: one input moved at a time.
    nominal, steps, low, high : (d,); low and high are values, not deviations.
    """
    d = len(nominal)
    ahead = np.zeros(d, dtype=bool) if ahead is None else ahead
    moved = (np.where(ahead, nominal + 2 * steps, nominal - steps), nominal + steps, low, high)
    points = np.tile(nominal[:, None], (1, 4 * d + 1))
    for k, values in enumerate(moved):
        points[np.arange(d), 1 + k * d + np.arange(d)] = values
    found = np.atleast_2d(function(points))
    middle, (other, up, at_low, at_high) = found[:, :1], np.moveaxis(found[:, 1:].reshape(len(found), 4, d), 1, 0)
    slope = np.where(ahead, (4 * up - other - 3 * middle) / 2, (up - other) / 2)
    return slope, at_low - middle, at_high - middle


def core_sensitivities(problem: CoreProblem, choices: Parameters) -> Sensitivities:
    """Sensitivities of one core: main outputs at each duty point, objectives and what the limits bound."""
    tolerances, system = problem.space.tolerances(choices), problem.study.units
    batch = problem.space.batch(choices, np.zeros(1, dtype=np.int64))
    nominal = np.array([float(batch.parameters[name][0]) for name in tolerances])
    steps = [step_of(name, value, system) for name, value in zip(tolerances, nominal, strict=True)]
    sizes = np.array([size for size, _ in steps])
    ends = [_ends(name, value, t) for (name, t), value in zip(tolerances.items(), nominal, strict=True)]
    labels: list[str] = []

    def function(points: Array) -> Array:
        found = _outputs(problem, _moved(batch, tuple(tolerances), points))
        labels.extend(found)
        return np.stack([np.broadcast_to(value, points.shape[1:]) for value in found.values()])

    slope, at_low, at_high = local(
        function, nominal, sizes, np.array([low for low, _ in ends]), np.array([high for _, high in ends]),
        ahead=nominal < sizes,
    )
    return Sensitivities(tuple(tolerances), tuple(labels), tuple(text for _, text in steps), slope, at_low, at_high)


def step_of(name: str, nominal: float, system: str) -> tuple[float, str]:
    """Step [SI] that a slope is given for, and its words: what a drawing or a shop would change.

    >>> step_of("air_fin.spacing", 0.0089, "SI")[1], step_of("length", 0.286, "SI")[1], step_of("density", 2730, "US")
    ('0.01 mm', '0.1 mm', (27.3, '1 %'))
    """
    kind = column_kind(name)
    if kind == "length":
        return next((step, text) for up_to, step, text in _LENGTH_STEPS[system] if nominal < up_to)
    return (0.01, "1 point") if kind == "fraction" else (0.01 * abs(nominal), "1 %")


def column_kind(name: str) -> str:
    """Kind of unit of what a tolerance is on, by the name of its column.

    >>> column_kind("air_blockage"), column_kind("air_fin.louver_angle"), column_kind("port.bore")
    ('fraction', 'angle', 'length')
    """
    if name in KINDS:
        return KINDS[name]
    return "angle" if name.endswith("_angle") else "length"


def _ends(name: str, nominal: float, tolerance: Tolerance) -> tuple[float, float]:
    """The values at both ends of a tolerance, as far as physics allows."""
    scale = abs(nominal) if tolerance.relative else 1.0
    below, above = scale * tolerance.below, scale * tolerance.above
    if tolerance.law == "measured":
        below, above = -min(tolerance.deviations), max(tolerance.deviations)
    most = _LARGEST_SHARE if column_kind(name) == "fraction" else np.inf
    return max(nominal - below, 0.0), min(nominal + above, most)


def _moved(batch: Batch, names: tuple[str, ...], points: Array) -> Batch:
    """The core with some of its columns at points (d, n)."""
    columns = dict(zip(names, points, strict=True))
    if not columns:
        columns = {"length": np.full(points.shape[1], batch.parameters["length"][0])}
    return replace(batch, parameters=batch.parameters | columns)


def _outputs(problem: CoreProblem, batch: Batch) -> dict[str, Array]:
    """Values (n,) or (1,) of each output by label; NaN where the numbers have not settled."""
    rating, study = problem.rate(batch), problem.study
    found = {f"{name}@{duty}": rating[name][:, i] for name in SHOWN for i, duty in enumerate(problem.duty.names)}
    for objective in study.objectives:
        found.setdefault(_label(objective.output, objective.at), objective_value(study, rating, objective))
    for need, value in zip(requirements(study), requirement_values(study, rating), strict=True):
        found.setdefault(_label(need.output, need.at), value)
    return {label: np.where(_unsettled(rating), np.nan, value) for label, value in found.items()}


def _label(output: str, at: str | None) -> str:
    return f"{output}@{at}" if at else output


def _unsettled(rating: Rating) -> BoolArray:
    return np.asarray(np.any(rating.flags & Flag.NOT_SETTLED, axis=1))
