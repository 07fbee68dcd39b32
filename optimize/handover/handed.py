"""What a run knows of a core that is handed over: its name, the record, the tables, and when it was made."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from optimize import runs
from optimize.errors import FinfrontError

if TYPE_CHECKING:
    import pandas as pd

NO_DATE = datetime(1980, 1, 1, tzinfo=UTC)  # of a core that is of no run: the same core, the same bytes
_NAME = re.compile(r"C[0-9]{1,18}")


@dataclass(frozen=True)
class Handed:
    """`name` is also that of the files; a core given by hand has no record and no tables."""

    name: str
    record: dict[str, Any] | None
    tables: "Mapping[str, pd.DataFrame] | None"

    @property
    def made(self) -> datetime:
        return made_of(self.record)


def handed(folder: Path | None, pick: str, changed: bool) -> Handed:
    """The core of a run by its name or pick; `changed` by hand it is no longer the one the run knows."""
    if folder is None:
        return Handed("core", None, None)
    run = runs.read(folder)
    known = run.record.get("picks")
    name = str(known.get(pick, pick)) if isinstance(known, dict) else pick
    if not _NAME.fullmatch(name):
        raise FinfrontError("the core has no name to call files by", str(folder), "name one of designs.csv: --pick C1")
    return Handed(f"{name}-changed", run.record, None) if changed else Handed(name, run.record, run.tables)


def made_of(record: dict[str, Any] | None) -> datetime:
    """When a run was made, UTC; `NO_DATE` for none. Raises FinfrontError where its record does not say."""
    if record is None:
        return NO_DATE
    try:
        return datetime.fromisoformat(str(record["made"])).astimezone(UTC)
    except (KeyError, ValueError):
        raise FinfrontError("the run does not say when it was made", "run.json", "make the run again") from None
