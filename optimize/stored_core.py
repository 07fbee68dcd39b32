"""A core of a finished run, by its name or as a pick, to values of the design variables."""

from pathlib import Path

import numpy as np

from optimize import runs, units
from optimize.errors import FinfrontError
from optimize.space import KINDS, Parameters, Space
from optimize.tables import header
from optimize.typed_core import fixed_values


def core_of_run(space: Space, folder: Path, name: str) -> Parameters:
    """A core of a finished run by its name (C123) or the name of a pick, as the run's tables hold it.

    Raises FinfrontError when the run has no such core, or varies other things than the study.
    """
    return core_of_read_run(space, runs.read(folder), name)


def core_of_read_run(space: Space, run: runs.Run, name: str) -> Parameters:
    """The same of a run already read, for whoever wants many of its cores."""
    folder = run.folder
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
