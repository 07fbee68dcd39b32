"""Cores of one study carried over to another: as they are, and onto the values the other study allows."""

from dataclasses import dataclass

import numpy as np

from optimize.evaluate import CoreProblem
from optimize.search.problem import Evaluation
from optimize.search.sweep import BLOCK
from optimize.space import Parameters, Space
from optimize.units import quoted
from physics.arrays import Array, BoolArray

_OWN = ("core", "tanks")  # tables of a study that say what a core is; the others say what stands around it
_LINE = "loop.line"


@dataclass(frozen=True)
class Carried:
    """n cores in the values of another study, SI or its codes.

    Attributes
    ----------
    choices : (n,) or (1,) each; where a name is missing there, the first of its list stands in.
    lacks : n texts: which name the other study's catalogue lacks, "" where none.
    """

    choices: Parameters
    lacks: list[str]

    @property
    def possible(self) -> BoolArray:
        """(n,) cores whose parts all exist in the other study."""
        return np.array([not text for text in self.lacks], dtype=bool)


def carried(old: CoreProblem, choices: Parameters, n: int, new: CoreProblem) -> Carried:
    """The same n cores under a new study: their own dimensions and parts, the surroundings of the new one."""
    own = {name for key, name in _own_names(new.space)}
    lacks = [""] * n
    carried_choices: Parameters = {}
    for name in new.space.variables:
        if name not in own or name not in choices:
            carried_choices[name] = _usual(new.space, name)
        elif name in new.space.words:
            carried_choices[name] = _recoded(old.space, new.space, name, choices[name], lacks)
        else:
            carried_choices[name] = choices[name]
    return Carried(carried_choices, lacks)


def _own_names(space: Space) -> list[tuple[str, str]]:
    from optimize.space import variable_name

    keys = [v.name for v in space.variables.values()]
    return [(key, variable_name(key)) for key in keys if key.split(".")[0] in _OWN or key == _LINE]


def _usual(space: Space, name: str) -> Array:
    """What the new study fixes; of what it varies, the middle."""
    variable = space.variables[name]
    if variable.low is not None and variable.high is not None:
        return np.array([0.5 * (variable.low + variable.high)])
    values = space.coded(variable)
    return np.asarray(values[len(values) // 2 : len(values) // 2 + 1])


def _recoded(old: Space, new: Space, name: str, codes: Array, lacks: list[str]) -> Array:
    """Codes of the same names in the new study; notes who lacks one."""
    there = [new.words[name].index(word) if word in new.words[name] else -1 for word in old.words[name]]
    found = np.array(there)[codes.astype(np.int64)]
    for i in np.flatnonzero(np.broadcast_to(found < 0, len(lacks))):
        word = old.words[name][int(np.broadcast_to(codes, len(lacks))[i])]
        lacks[i] = lacks[i] or f"no {name.replace('_', ' ')} {quoted(word)} in the catalogue"
    return np.asarray(np.maximum(found, 0), dtype=np.float64)


def judged(problem: CoreProblem, choices: Parameters, n: int) -> Evaluation:
    """The verdict on n cores given by values, block by block."""
    parts = []
    for start in range(0, n, BLOCK):
        stop = min(start + BLOCK, n)
        block = {name: value if value.size == 1 else value[start:stop] for name, value in choices.items()}
        parts.append(problem.evaluate_choices(block, stop - start))
    return Evaluation(*(np.concatenate([getattr(p, name) for p in parts]) for name in ("objectives", "margins", "tie")))


def snapped(space: Space, choices: Parameters, n: int) -> tuple[Array, BoolArray]:
    """The nearest points (n, axes) of a space, and which cores (n,) had to be changed for it.

    A name that the study does not choose from is replaced by the first it does.
    """
    points, moved = np.empty((n, len(space.axes))), np.zeros(n, dtype=bool)
    for name in space.variables:
        value = np.broadcast_to(choices[name], n)
        if name not in space.names:
            moved |= value != space.coded(space.variables[name])[0]
            continue
        column, axis = space.names.index(name), space.axes[space.names.index(name)]
        if axis.size is None:
            points[:, column] = np.clip(value, axis.low, axis.high)
            moved |= points[:, column] != value
        else:
            values = space.coded(space.variables[name])
            nearest = np.argmin(np.abs(value[:, None] - values[None, :]), axis=1)
            if name in space.words:
                nearest = np.where(values[nearest] == value, nearest, 0)
            points[:, column] = nearest
            moved |= values[nearest] != value
    return points, moved
