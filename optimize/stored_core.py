"""Cores of a finished run, by their names or as picks, to values of the design variables."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize import runs, units
from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.space import KINDS, Parameters, Space
from optimize.study.load import load
from optimize.tables import header
from optimize.typed_core import fixed_values
from physics.arrays import Array

if TYPE_CHECKING:
    import pandas as pd


def problem_of_run(run: runs.Run) -> CoreProblem:
    """The problem a run solved, from the study and the catalogues in its folder. Raises FinfrontError if it cannot."""
    try:
        seed = int(run.record["seed"])
    except (KeyError, TypeError, ValueError):
        what = "the run is damaged: its record has no seed"
        raise FinfrontError(what, str(run.folder), "make the run again") from None
    return CoreProblem(replace(load(run.folder / "study.toml"), seed=seed))


def core_of_run(space: Space, folder: Path, name: str) -> Parameters:
    """A core of a finished run by its name (C123) or the name of a pick, as the run's tables hold it.

    Raises FinfrontError when the run has no such core, or varies other things than the study.
    """
    return core_of_read_run(space, runs.read(folder), name)


def core_of_read_run(space: Space, run: runs.Run, name: str) -> Parameters:
    """The same of a run already read, for whoever wants many of its cores."""
    return cores_of_read_run(space, run, [name])


def cores_of_read_run(space: Space, run: runs.Run, names: Sequence[str]) -> Parameters:
    """Several cores of a run at once, as values (n,) of every variable, (1,) of what the study fixes."""
    folder = run.folder
    try:
        designs, known, system = run.tables["designs"], run.record["picks"], run.record["units"]
    except KeyError as missing:
        raise FinfrontError(f"the run is damaged: {missing} is missing", str(folder), "make the run again") from None
    rows = _with_off_grid(designs, run).drop_duplicates("core").set_index("core")
    wanted = [known.get(name, name) for name in names]
    absent = [name for name, core in zip(names, wanted, strict=True) if core not in rows.index]
    if absent:
        told = ", ".join([*known, "or a core of designs.csv" + " or off_grid.csv" * ("off_grid" in run.tables)])
        raise FinfrontError(f"the run has no core {units.quoted(absent[0])}", str(folder), f"name one of: {told}")
    rows, cores = rows.loc[wanted], fixed_values(space)
    for key in space.names:
        column = key if key in space.words else header(key, KINDS[key], system)
        if column not in rows:
            raise FinfrontError(f"the run does not vary {key}", str(folder), "give the study this run was made from")
        cores[key] = _stored(space, key, rows[column].tolist(), system, folder)
    return cores


def _with_off_grid(designs: "pd.DataFrame", run: runs.Run) -> "pd.DataFrame":
    """The designs of a run, and what it found off the grid."""
    import pandas as pd

    moved = run.tables.get("off_grid")
    return designs if moved is None else pd.concat([designs, moved], join="inner", ignore_index=True)


def _stored(space: Space, key: str, cells: list[Any], system: str, folder: Path) -> Array:
    if key in space.words:
        lacking = [str(cell) for cell in cells if str(cell) not in space.words[key]]
        if lacking:
            what = f"the study has no {key} {units.quoted(lacking[0])}"
            raise FinfrontError(what, str(folder), "use the run's own study")
        return np.array([space.code(key, str(cell)) for cell in cells])
    try:
        values = np.asarray(units.from_display(np.array(cells, dtype=np.float64), KINDS[key], system))
    except ValueError:
        what = f"the run is damaged: {key} holds what is no number"
        raise FinfrontError(what, str(folder), "make the run again") from None
    steps = space.coded(space.variables[key])
    if not len(steps):
        return values
    # Tables hold eight digits: back to the very step
    nearest = steps[np.argmin(np.abs(values[:, None] - steps[None, :]), axis=1)]
    return np.where(np.abs(nearest - values) <= 1e-7 * np.abs(values), nearest, values)
