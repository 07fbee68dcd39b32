"""One run, one folder: written once at the end of a job, read by the report, never edited.

study.toml and its catalogues as read, run.json (versions, seed, counts, seconds, picks), designs.csv, front.csv,
yield.csv, percentiles.csv, clouds.csv, nested.csv, truncated.csv, indices.csv, sensitivities.csv, budget.csv,
curves.csv, limits.csv, misses.csv, sheets.json (calculation sheets of the front), evaluated.sqlite (what the search
kept, see `optimize.store`), figures/, drawings/; with [robust] robust.csv and fallen.csv; with off_grid in [search]
off_grid.csv and off_grid_builds.csv; with a loop water.csv, flow.csv and pump.csv; with a schedule soak.csv and
soak_gains.csv; of a rerun changes.csv, fates.csv and worth.csv.
"""

import json
import platform
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

from optimize.errors import FinfrontError

if TYPE_CHECKING:
    import pandas as pd

RECORD = "run.json"
SHEETS = "sheets.json"
CORE_NAME = re.compile(r"[CX][0-9]{1,18}")  # of the search, and off the grid
TABLES = (
    "designs", "front", "yield", "percentiles", "clouds", "nested", "truncated", "robust", "fallen", "indices",
    "sensitivities", "budget", "curves", "limits", "misses", "water", "flow", "pump", "soak", "soak_gains", "changes",
    "fates", "worth", "off_grid", "off_grid_builds",
)
# Columns that may be all empty, or hold names that look like numbers ("-12")
_TEXTS = dict.fromkeys((
    "core", "pick", "flags", "fails", "air_fin", "turbulator", "passes", "port", "line", "duty", "because",
    "core_before", "pick_before", "fate", "repair", "before", "after", "field", "what", "unit",
), str)
NO_DATE = datetime(1980, 1, 1, tzinfo=UTC)  # of what is of no run: the same core, the same bytes
_PACKAGES = ("finfront", "numpy", "scipy", "pandas", "optuna", "moocore")


@dataclass(frozen=True)
class Run:
    """A finished run as read back: the record, and its tables by name (those it has)."""

    folder: Path
    record: dict[str, Any]
    tables: dict[str, "pd.DataFrame"]


def new_folder(out: Path | None, study_path: str, now: datetime) -> Path:
    """Make the folder of a run: `out`, or results/<study>-<stamp>.

    Raises FinfrontError when it exists and is not empty, or cannot be made.
    """
    folder = out or Path("results") / f"{Path(study_path).stem}-{now:%Y%m%d-%H%M%S}"
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise FinfrontError(f"'{folder}' exists and is not an empty folder", do="name another one with --out")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        what = f"cannot make the run folder '{folder}': {error.strerror}"
        raise FinfrontError(what, do="name another one with --out") from None
    return folder


def versions() -> dict[str, str]:
    """Versions of what the numbers depend on."""
    return {"python": platform.python_version()} | {name: version(name) for name in _PACKAGES}


def stamp(now: datetime) -> str:
    """UTC time of a run as text."""
    return now.astimezone(UTC).isoformat(timespec="seconds")


def run_id(record: dict[str, Any]) -> str:
    """What a run is called on paper: the study's name and when it was made (UTC).

    >>> run_id({"study": "dune_racer.toml", "made": "2026-11-25T19:08:14+00:00"})
    'dune_racer 2026-11-25 19:08'

    Raises FinfrontError when the record has neither.
    """
    try:
        study, made = Path(str(record["study"])).stem, str(record["made"])
    except KeyError as missing:
        raise FinfrontError(f"the run is damaged: {missing} is missing", RECORD, "make the run again") from None
    return f"{study} {made[:10]} {made[11:16]}"


def made_of(record: dict[str, Any] | None) -> datetime:
    """When a run was made, UTC; `NO_DATE` for none. Raises FinfrontError where its record does not say."""
    if record is None:
        return NO_DATE
    try:
        return datetime.fromisoformat(str(record["made"])).astimezone(UTC)
    except (KeyError, ValueError):
        raise FinfrontError("the run does not say when it was made", RECORD, "make the run again") from None


def write(
    folder: Path, study_text: str, files: dict[str, str], record: dict[str, Any], tables: dict[str, "pd.DataFrame"],
    sheets: dict[str, Any] | None = None,
) -> None:
    """Write a run; run.json last and at once, so that a folder without it is known to be unfinished."""
    write_study(folder, study_text, files)
    for name, table in tables.items():
        table.to_csv(folder / f"{name}.csv", index=False, float_format="%.8g")
    if sheets:
        text = json.dumps(sheets, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
        (folder / SHEETS).write_text(text + "\n", encoding="utf-8")
    beside = folder / f"{RECORD}.part"
    beside.write_text(json.dumps(record, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
    beside.replace(folder / RECORD)


def write_study(folder: Path, study_text: str, files: dict[str, str]) -> None:
    """Write the study and its files into a run folder, where they are not there yet."""
    for name, text in brought_inside(study_text, files).items():
        place = folder / name
        if not place.exists():
            place.parent.mkdir(parents=True, exist_ok=True)
            part = place.with_name(place.name + ".part")
            part.write_text(text, encoding="utf-8", newline="")
            part.replace(place)


def brought_inside(study_text: str, files: dict[str, str]) -> dict[str, str]:
    """The study and its files by their place in the run folder.

    Files keep their paths from the study's folder; what lay outside it ("../catalogues/fins.toml") loses the way up,
    and only then the study names the new place.

    >>> brought_inside('air_fins = "../a.toml"', {"../a.toml": "x"})
    {'study.toml': 'air_fins = "a.toml"', 'a.toml': 'x'}
    """
    inside = {"study.toml": study_text}
    for name, text in files.items():
        place = "/".join(part for part in PurePosixPath(name).parts if part not in ("..", "/"))
        inside["study.toml"] = inside["study.toml"].replace(f'"{name}"', f'"{place}"')
        inside[place] = text
    return inside


def check_finished(folder: Path) -> None:
    """Raises FinfrontError when the folder holds no finished run."""
    if not (folder / RECORD).is_file():
        do = "finish it by the same `finfront run` command, or name a finished run"
        raise FinfrontError(f"'{folder}' holds no finished run (no {RECORD})", do=do)


def read(folder: Path) -> Run:
    """Read a finished run back.

    Raises FinfrontError when the folder holds none, or a damaged one.
    """
    import pandas as pd

    check_finished(folder)
    record_file = folder / RECORD
    try:
        record = json.loads(record_file.read_text(encoding="utf-8"))
        places = {name: folder / f"{name}.csv" for name in TABLES}
        tables = {name: pd.read_csv(place, dtype=_TEXTS) for name, place in places.items() if place.is_file()}
        if not isinstance(record, dict):
            raise ValueError(f"{RECORD} is no record")
    except (OSError, ValueError) as error:
        raise FinfrontError(f"'{folder}' cannot be read: {error}", do="make the run again") from None
    return Run(folder, record, tables)


def read_sheets(folder: Path) -> dict[str, Any]:
    """The calculation sheets of a run by the names of their cores; none in a run that was written without them.

    Raises FinfrontError when the file is damaged.
    """
    place = folder / SHEETS
    if not place.is_file():
        return {}
    try:
        sheets = json.loads(place.read_text(encoding="utf-8"))
        if not isinstance(sheets, dict):
            raise ValueError("no sheets by name")
    except (OSError, ValueError) as error:
        raise FinfrontError(f"'{place}' cannot be read: {error}", do="make the run again") from None
    return sheets
