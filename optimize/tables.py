"""Results as tables: one row a core, columns named `output@duty [unit]` in the units the study asks for."""

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from optimize import units
from optimize.evaluate import CoreProblem
from optimize.feasibility import over_duty_points
from optimize.space import KINDS, Parameters, Space
from optimize.tolerance.copies import SHOWN
from physics.arrays import Array, IntArray
from physics.flags import Flag
from physics.outputs import OUTPUTS
from physics.rating import Rating

if TYPE_CHECKING:
    import pandas as pd


def header(name: str, kind: str, system: str, duty: str | None = None) -> str:
    """'air_pressure_drop@full_power [kPa]'.

    >>> header("air_pressure_drop", "pressure", "SI", "full_power"), header("NTU", "number", "SI")
    ('air_pressure_drop@full_power [kPa]', 'NTU')
    """
    unit = units.unit_label(kind, system)
    return name + (f"@{duty}" if duty else "") + (f" [{unit}]" if unit else "")


def core_name(ordinal: int) -> str:
    """The name a core goes by in every table and figure: its number in the search.

    >>> core_name(1234)
    'C1234'
    """
    return f"C{ordinal}"


def variable_columns(problem: CoreProblem, points: Array) -> dict[str, Array | list[str]]:
    """What varies, in display units."""
    choices = problem.space.choices(points)
    system = problem.study.units
    columns: dict[str, Array | list[str]] = {}
    for name in problem.space.names:
        values = np.broadcast_to(choices[name], (len(points),))
        if name in problem.space.words:
            columns[name] = problem.space.labels(name, values)
        else:
            columns[header(name, KINDS[name], system)] = units.to_display(values, KINDS[name], system)
    return columns


def variable_values(space: Space, core: Parameters, system: str) -> dict[str, float | str]:
    """What varies of one core (values (1,) of every variable), in display units."""
    told: dict[str, float | str] = {}
    for name in space.names:
        if name in space.words:
            told[name] = str(space.labels(name, core[name])[0])
        else:
            told[header(name, KINDS[name], system)] = float(units.to_display(core[name][0], KINDS[name], system))
    return told


def output_columns(rating: Rating, names: Iterable[str], system: str) -> dict[str, Array]:
    """Outputs of a rating in display units, one column a duty point."""
    columns: dict[str, Array] = {}
    for name in names:
        output = OUTPUTS[name]
        value = units.to_display(rating[name], output.kind, system)
        if output.per == "core":
            columns[header(name, output.kind, system)] = value
            continue
        for i, duty in enumerate(rating.duty_names):
            columns[header(name, output.kind, system, duty)] = value[:, i]
    return columns


def overall_columns(problem: CoreProblem, rating: Rating) -> dict[str, Array]:
    """Worst and weighted mean over the duty points, in display units."""
    columns, system = {}, problem.study.units
    for name, values in over_duty_points(problem.study, rating).items():
        for at, value in zip(("worst", "mean"), values, strict=True):
            kind = OUTPUTS[name].kind
            columns[header(name, kind, system, at)] = units.to_display(value, kind, system)
    return columns


def flag_words(flags: IntArray) -> list[str]:
    """Flags (n, m) of a rating as words, one text a core, over all duty points."""
    joined = np.bitwise_or.reduce(flags, axis=1)
    return [" ".join(str(flag.name).lower() for flag in Flag if int(row) & flag) for row in joined]


def core_table(
    problem: CoreProblem, ordinals: IntArray, points: Array, names: Sequence[str],
    extra: Mapping[str, Array | list[str]], overall: bool = False,
) -> "pd.DataFrame":
    """Cores with extra columns, their variables, outputs (`overall`: worst and mean of some too) and flags."""
    import pandas as pd

    rating = problem.rate_points(points, soak=any(OUTPUTS[name].needs == "soak" for name in names))
    return pd.DataFrame({
        "core": [core_name(int(i)) for i in ordinals],
        **extra,
        **variable_columns(problem, points),
        **output_columns(rating, names, problem.study.units),
        **(overall_columns(problem, rating) if overall else {}),
        "flags": flag_words(rating.flags),
    })


def rated_table(problem: CoreProblem, core: Parameters, name: str) -> "pd.DataFrame":
    """One core (columns of one value) as a row: its outputs and flags."""
    import pandas as pd

    rating = problem.rate_choices(core, 1)
    names = [n for n in problem.outputs if n in rating.values]
    columns = {**output_columns(rating, names, problem.study.units), **overall_columns(problem, rating)}
    return pd.DataFrame({"core": [name], **columns, "flags": flag_words(rating.flags)})


def key_outputs(problem: CoreProblem) -> list[str]:
    """Outputs every table of designs carries: objectives, limits, and what is always asked for."""
    asked = [o.output for o in problem.study.objectives] + [limit.output for limit in problem.study.limits]
    return list(dict.fromkeys([*asked, *SHOWN, "stack_height", "dry_mass", "filled_mass"]))


def objective_headers(problem: CoreProblem) -> list[str]:
    """Columns of the objectives, in the study's units."""
    return [header(o.output, OUTPUTS[o.output].kind, problem.study.units, o.at) for o in problem.study.objectives]


def objective_columns(problem: CoreProblem, minimised: Array) -> dict[str, Array]:
    """Objectives as searched (n, k; to be minimised) back in their own sense and display unit."""
    columns = {}
    for i, (title, o) in enumerate(zip(objective_headers(problem), problem.study.objectives, strict=True)):
        value = -minimised[:, i] if o.maximise else minimised[:, i]
        columns[title] = units.to_display(value, OUTPUTS[o.output].kind, problem.study.units)
    return columns
