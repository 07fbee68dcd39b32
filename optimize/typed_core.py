"""One core given by hand: KEY=VALUE pairs to values of the design variables."""

from collections.abc import Iterable

import numpy as np

from optimize import units
from optimize.errors import FinfrontError
from optimize.space import KINDS, Parameters, Space
from optimize.study.faults import did_you_mean
from optimize.study.model import LARGEST_BLOCKAGE
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
            do="add " + " ".join(f"--core {name}='{_example(space, name)}'" for name in missing),
        )
    return core


def example_pairs(space: Space, names: Iterable[str]) -> list[str]:
    """KEY=VALUE for each of the names, from the middle of what the study allows."""
    return [f"{name}={_example(space, name)}" for name in names]


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
    if name in ("air_blockage", "coolant_blockage") and value >= LARGEST_BLOCKAGE:
        raise FinfrontError(f"{name} must be below {100 * LARGEST_BLOCKAGE:g} %, got {text}", where)
    if value < 0 or (value == 0 and name not in _MAY_BE_ZERO):
        raise FinfrontError(f"{name} must be above zero, got {text}", where)
    return value


def _example(space: Space, name: str) -> str:
    """A value the study itself allows, as it would be typed."""
    variable = space.variables[name]
    value = variable.values[len(variable.values) // 2] if variable.values else variable.low
    if isinstance(value, str) or value is None:
        return str(value)
    return units.show(value, KINDS[name], space.study.units)
