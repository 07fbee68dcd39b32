"""A run's designs on their way to Optuna's dashboard."""

from pathlib import Path
from typing import Any

from optimize import runs
from optimize.errors import FinfrontError
from optimize.search.trials import write_trials

_ABOUT = ("core", "layer", "feasible", "flags")


def export_trials(folder: Path, place: Path) -> int:
    """Write the designs of a finished run (front, layers behind it, samples) as an Optuna study; their number.

    Raises FinfrontError when the file is there already, or the run holds no design.
    """
    run = runs.read(folder)
    if place.exists():
        raise FinfrontError(f"'{place}' is there already", do="name another file with --out")
    table = run.tables.get("designs")
    if table is None or table.empty:
        raise FinfrontError("the run holds no designs", str(folder), "give a run that found something")
    titles = [o["column"] for o in run.record["objectives"]]
    names = [c for c in map(str, table.columns) if c.split(" [")[0] in run.record["variables"]]
    table = table.dropna(subset=titles)
    picks = {core: name for name, core in run.record["picks"].items()}
    axes = {name: sorted(table[name].unique().tolist()) for name in names}
    rows: list[tuple[dict[str, Any], list[float], dict[str, Any]]] = []
    for record in table.to_dict("records"):
        about = {key: "" if record[key] != record[key] else record[key] for key in _ABOUT if key in record}
        about["pick"] = picks.get(record["core"], "")
        rows.append(({name: record[name] for name in names}, [float(record[t]) for t in titles], about))
    place.parent.mkdir(parents=True, exist_ok=True)
    objectives = [(str(o["column"]), bool(o["maximise"])) for o in run.record["objectives"]]
    return write_trials(place, runs.run_id(run.record), axes, objectives, rows)
