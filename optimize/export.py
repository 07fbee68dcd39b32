"""A run's designs on their way to Optuna's dashboard."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize import runs
from optimize.errors import FinfrontError
from optimize.search.trials import Trial, write_trials
from optimize.stored_core import cores_of_read_run, problem_of_run
from physics.arrays import Array

if TYPE_CHECKING:
    import pandas as pd

_ABOUT = ("core", "layer", "feasible", "flags")


def export_trials(folder: Path, place: Path) -> int:
    """Write the designs of a finished run (front, layers behind it, samples) as an Optuna study; their number.

    Raises FinfrontError when the file is there already, or the run holds no design.
    """
    run = runs.read(folder)
    if place.exists():
        raise FinfrontError(f"'{place}' is there already", do="name another file with --out")
    try:
        objectives = [(str(o["column"]), bool(o["maximise"])) for o in run.record["objectives"]]
        variables, picks = list(run.record["variables"]), dict(run.record["picks"])
        table = run.tables["designs"].dropna(subset=[title for title, _ in objectives])
    except KeyError as missing:
        raise FinfrontError(f"the run is damaged: {missing} is missing", str(folder), "make the run again") from None
    if table.empty:
        raise FinfrontError("the run holds no designs", str(folder), "give a run that found something")
    names = [c for c in map(str, table.columns) if c.split(" [")[0] in variables]
    requirements, short = _shortfalls(run, table)
    place.parent.mkdir(parents=True, exist_ok=True)
    return write_trials(
        place, runs.run_id(run.record), {name: sorted(table[name].unique().tolist()) for name in names}, objectives,
        requirements, [
            Trial({name: row[name] for name in names}, [float(row[title]) for title, _ in objectives], missed.tolist(),
                  _about(row, picks))
            for row, missed in zip(table.to_dict("records"), short, strict=True)
        ],
    )  # fmt: skip


def _about(row: dict[Any, Any], picks: dict[str, str]) -> dict[str, Any]:
    """What is shown of a design beside its variables and objectives."""
    told = {key: "" if row[key] != row[key] else row[key] for key in _ABOUT if key in row}
    return told | {"pick": ", ".join(pick for pick, core in picks.items() if core == row["core"])}


def _shortfalls(run: runs.Run, table: "pd.DataFrame") -> tuple[tuple[str, ...], Array]:
    """Requirements, and by how much of each the designs miss it (n, q): above 0 it is missed, as Optuna counts."""
    problem = problem_of_run(run)
    cores = cores_of_read_run(problem.space, run, table["core"].tolist())
    short = -problem.evaluate_choices(cores, len(table)).margins
    # Tables hold eight digits: a core at the edge stays on the side the search saw it on
    good = (table["feasible"] == "yes").to_numpy()
    return problem.margin_names, np.where(good[:, None], np.minimum(short, 0.0), short)
