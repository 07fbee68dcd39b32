"""Trade-off curves: one or two variables around a chosen core, and what each gain costs in the other."""

from typing import TYPE_CHECKING

import numpy as np

from optimize import units
from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.space import KINDS, Parameters
from optimize.tables import flag_words, header, output_columns
from physics.arrays import Array
from physics.outputs import OUTPUTS
from physics.rating import Rating

if TYPE_CHECKING:
    import pandas as pd

CURVE_OUTPUTS = (
    "heat_rejected", "air_outlet_temperature", "air_pressure_drop", "coolant_pressure_drop", "dry_mass", "filled_mass",
)
_CONTINUOUS_STEPS = 41


def numeric_variables(problem: CoreProblem) -> list[str]:
    """What varies along a scale (no names)."""
    return [name for name in problem.space.names if name not in problem.space.words]


def curve_variables(problem: CoreProblem, names: list[str]) -> list[str]:
    """The one or two variables of a curve, checked.

    Raises FinfrontError for more than two, the same twice, or one the study does not vary along a scale.
    """
    known = numeric_variables(problem)
    for name in names:
        if name not in known:
            raise FinfrontError(
                f"cannot draw a curve over {units.quoted(name)}: the study does not vary it along a scale",
                f"--vary {name}", f"vary one of: {', '.join(known)}" if known else "give it a range in the study",
            )
    if len(names) > 2 or len(set(names)) < len(names):
        raise FinfrontError("a curve takes one or two different variables", "--vary", "run the command once for each")
    return names


def values_of(problem: CoreProblem, name: str) -> Array:
    """The values a variable takes on a curve: its own steps, or 41 between its ends."""
    variable = problem.space.variables[name]
    if variable.low is not None and variable.high is not None:
        return np.linspace(variable.low, variable.high, _CONTINUOUS_STEPS)
    return np.array([problem.space.code(name, value) for value in variable.values])


def curve(problem: CoreProblem, core: Parameters, name: str) -> tuple[Array, Rating]:
    """Values of one variable and the ratings of the core with each, all else as chosen."""
    values = values_of(problem, name)
    return values, problem.rate_choices({**core, name: values}, len(values))


def curve_table(problem: CoreProblem, core: Parameters, first: str, second: str | None = None) -> "pd.DataFrame":
    """Curves of `first`, one for each value of `second`, with the price of cooling in air loss along each."""
    import pandas as pd

    steps = values_of(problem, second) if second else np.zeros(1)
    parts = []
    for step in steps:
        at = {**core, second: np.array([step])} if second else core
        values, rating = curve(problem, at, first)
        columns = {"varied": np.full(len(values), first), **_variable(problem, first, values)}
        if second:
            columns |= _variable(problem, second, np.full(len(values), step))
        columns |= output_columns(rating, CURVE_OUTPUTS, problem.study.units) | prices(problem, rating)
        fails = failed(problem, {**at, first: values}, len(values))
        parts.append(pd.DataFrame({**columns, "fails": fails, "flags": flag_words(rating.flags)}))
    return pd.concat(parts, ignore_index=True)


def failed(problem: CoreProblem, choices: Parameters, n: int) -> list[str]:
    """The requirements each of n cores fails, as one text a core; empty for a feasible one."""
    texts = [""] * n
    for batch in problem.space.batches_of(choices, n):
        margins = problem.judge(batch, problem.rate(batch)).margins
        for i, row in zip(batch.index.tolist(), margins, strict=True):
            texts[i] = "; ".join(name for name, m in zip(problem.margin_names, row, strict=True) if not m >= 0)
    return texts


def _variable(problem: CoreProblem, name: str, values: Array) -> dict[str, Array]:
    if name in problem.space.words:
        return {name: np.array(problem.space.labels(name, values))}
    return {header(name, KINDS[name], problem.study.units): units.to_display(values, KINDS[name], problem.study.units)}


def prices(problem: CoreProblem, rating: Rating) -> dict[str, Array]:
    """What one more unit of cooling costs in air loss and in mass along a curve (NaN where cooling stands still)."""
    system = problem.study.units
    columns = {}
    for i, duty in enumerate(rating.duty_names):
        heat = units.to_display(rating["heat_rejected"][:, i], "power", system)
        for name in ("air_pressure_drop", "filled_mass"):
            kind = OUTPUTS[name].kind
            cost = rating[name][:, i] if OUTPUTS[name].per == "duty" else rating[name]
            unit = f"{units.unit_label(kind, system)}/{units.unit_label('power', system)}"
            columns[f"d {name}/d heat_rejected@{duty} [{unit}]"] = _slope(units.to_display(cost, kind, system), heat)
    return columns


def _slope(cost: Array, gain: Array) -> Array:
    if len(gain) < 2:
        return np.full(len(gain), np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = np.gradient(cost) / np.gradient(gain)
    return np.where(np.isfinite(slope), slope, np.nan)
