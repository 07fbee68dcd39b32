"""One core given by hand: KEY=VALUE pairs, or a core of a finished run, to values of the design variables."""

from pathlib import Path

import numpy as np

from optimize import runs, units
from optimize.errors import FinfrontError
from optimize.space import KINDS, Parameters, Space
from optimize.study.faults import did_you_mean
from optimize.tables import header
from physics.arrays import Array

# What a study may set to nothing; every other dimension and property is above zero
_MAY_BE_ZERO = (
    "air_blockage", "coolant_blockage", "air_fouling", "coolant_fouling", "turn_loss", "lid_loss", "plenum_loss",
)


def given_values(space: Space, pairs: list[str]) -> Parameters:
    """The values (1,) of KEY=VALUE pairs. Raises FinfrontError at the first pair that is wrong."""
    return dict(_pair(space, pair) for pair in pairs)


def typed_core(space: Space, pairs: list[str], open_names: tuple[str, ...] = ()) -> Parameters:
    """Values (1,) of every variable; what the study fixes need not be given, but may be changed.

    `open_names`: variables that will be varied, so that they need no value. Raises FinfrontError naming the first
    pair that is wrong, or every variable that is missing.
    """
    core = fixed_values(space) | given_values(space, pairs)
    missing = [name for name in space.names if name not in core and name not in open_names]
    if missing:
        raise FinfrontError(
            f"the core is not complete: {', '.join(missing)} missing",
            do="add " + " ".join(f"--core {name}={_example(space, name)}" for name in missing),
        )
    return core


def fixed_values(space: Space) -> Parameters:
    """What the study fixes."""
    return {name: space.coded(variable) for name, variable in space.variables.items() if variable.is_fixed}


def _pair(space: Space, pair: str) -> tuple[str, Array]:
    name, equals, text = (part.strip() for part in pair.partition("="))
    where = f"--core {pair}"
    if not equals:
        raise FinfrontError(f"expected KEY=VALUE, got {units.quoted(pair)}", where, "write --core thickness='70 mm'")
    if name not in space.variables:
        raise FinfrontError(f"unknown variable {units.quoted(name)}", where, did_you_mean(name, space.variables))
    return name, np.array([_value(space, name, text, where)])


def _value(space: Space, name: str, text: str, where: str) -> float:
    if name in space.words:
        if text not in space.words[name]:
            raise FinfrontError(f"unknown {name} {units.quoted(text)}", where, did_you_mean(text, space.words[name]))
        return space.code(name, text)
    try:
        value = units.parse(text, KINDS[name])
    except units.UnitError as error:
        raise FinfrontError(error.what, where, error.do) from None
    if name == "passages" and (value < 1 or value != round(value)):
        raise FinfrontError(f"passages must be a whole number from 1, got {text}", where)
    if value < 0 or (value == 0 and name not in _MAY_BE_ZERO):
        raise FinfrontError(f"{name} must be above zero, got {text}", where)
    return value


def _example(space: Space, name: str) -> str:
    """A value the study itself allows, as it would be typed."""
    variable = space.variables[name]
    value = variable.values[len(variable.values) // 2] if variable.values else variable.low
    if isinstance(value, str) or value is None:
        return f"'{value}'"
    return f"'{units.show(value, KINDS[name], space.study.units)}'"


def core_of_run(space: Space, folder: Path, name: str) -> Parameters:
    """A core of a finished run by its name (C123) or the name of a pick, as the run's tables hold it.

    Raises FinfrontError when the run has no such core, or varies other things than the study.
    """
    run = runs.read(folder)
    try:
        designs, known, system = run.tables["designs"], run.record["picks"], run.record["units"]
    except KeyError as missing:
        raise FinfrontError(f"the run is damaged: {missing} is missing", str(folder), "make the run again") from None
    wanted = known.get(name, name)
    rows = designs[designs["core"] == wanted]
    if rows.empty:
        names = ", ".join([*known, "or a core of designs.csv"])
        raise FinfrontError(f"the run has no core {units.quoted(name)}", str(folder), f"name one of: {names}")
    core = fixed_values(space)
    for key in space.names:
        column = key if key in space.words else header(key, KINDS[key], system)
        if column not in rows:
            raise FinfrontError(f"the run does not vary {key}", str(folder), "give the study this run was made from")
        core[key] = np.array([_stored(space, key, rows.iloc[0][column], system, folder)])
    return core


def _stored(space: Space, key: str, cell: object, system: str, folder: Path) -> float:
    if key not in space.words:
        value = float(units.from_display(float(str(cell)), KINDS[key], system))
        steps = space.coded(space.variables[key])  # tables hold eight digits: back to the very step
        return next((float(step) for step in steps if abs(step - value) <= 1e-7 * abs(value)), value)
    if str(cell) not in space.words[key]:
        raise FinfrontError(f"the study has no {key} {units.quoted(str(cell))}", str(folder), "use the run's own study")
    return space.code(key, str(cell))
