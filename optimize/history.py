"""The runs of a folder: what each was, what it found, how far it is, what was noted on it."""

import json
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from optimize import one_writer, runs, store
from optimize.errors import FinfrontError
from optimize.notes import notes_of
from optimize.scope import scope_of


@dataclass(frozen=True)
class Entry:
    """A run in a few lines; `made` its date as text for sorting, "" where it cannot be known."""

    folder: Path
    made: str
    lines: tuple[str, ...]


def history(folder: Path) -> list[Entry]:
    """Every run directly in a folder, or the one it is, the newest first; a damaged one with what is wrong.

    Raises FinfrontError when there is no such folder.
    """
    if not folder.is_dir():
        raise FinfrontError(f"'{folder}' is no folder", do="give the folder that holds the runs")
    places = [folder] if _holds_run(folder) else [place for place in folder.iterdir() if _holds_run(place)]
    entries = [_entry(place) for place in places]
    return sorted(entries, key=lambda entry: (entry.made, entry.folder.name), reverse=True)


def _holds_run(place: Path) -> bool:
    """Whether there is a run in it; one that cannot be looked into is said to be one, so that it is told."""
    try:
        return place.is_dir() and any((place / name).exists() for name in (runs.RECORD, store.FILE))
    except OSError:
        return True


def _entry(place: Path) -> Entry:
    try:
        made, lines = _finished(place) if (place / runs.RECORD).exists() else _unfinished(place)
    except (FinfrontError, OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        what = error.what if isinstance(error, FinfrontError) else f"{type(error).__name__} {error}"
        made, lines = "", [f"cannot be read: {what}"]
    return Entry(place, made, (*lines, *(f"note {note}" for note in notes_of(place))))


def _finished(place: Path) -> tuple[str, list[str]]:
    record: dict[str, Any] = json.loads((place / runs.RECORD).read_text(encoding="utf-8"))
    scope = scope_of(record)
    how = f"certified, {scope.rated:,} ratings for" if scope.drawn else "sweep of" if scope.exact else "evolution,"
    found = (
        f"{record['study']}, seed {record['seed']}: {how} {scope.cores:,} cores, {scope.meeting}, "
        f"{record['front']:,} on the front"
    )
    if record["hypervolume"]:
        found += f", hypervolume {100 * record['hypervolume']['share']:.1f} %"
    lines = [str(record["title"]), found]
    if record["picks"]:
        lines.append(", ".join(f"{name} {core}" for name, core in record["picks"].items()))
    if "rerun" in record:
        lines.append(f"carried over from {record['rerun']['of']} of {_short(record['rerun']['made'])}")
    return _told(record["made"]), lines


def _unfinished(place: Path) -> tuple[str, list[str]]:
    with store.reading(place / store.FILE) as kept:
        state = "being written" if one_writer.is_held(place) else "stopped; the same command goes on"
        lines = [f"seed {kept.about['seed']}: {kept.about['plan']}", f"unfinished, {kept.kept} batches kept: {state}"]
        return _told(kept.about["made"]), lines


def _told(made: object) -> str:
    """A date as it was told, if it is one. Raises ValueError or TypeError for anything else."""
    return datetime.fromisoformat(str(made)).isoformat()


def text_of(entries: list[Entry]) -> str:
    """The list as text."""
    if not entries:
        return "no runs here"
    parts = []
    for entry in entries:
        parts.append(f"{_short(entry.made) if entry.made else '(no date)':16}  {entry.folder}")
        parts += [f"{'':18}{_clean(line)}" for line in entry.lines]
    return "\n".join(parts)


def _clean(text: str) -> str:
    """On one line, without what a terminal would act on."""
    return " ".join("".join(letter if letter.isprintable() else " " for letter in text).split())


def _short(made: str) -> str:
    """'2026-11-26 16:05'."""
    return f"{datetime.fromisoformat(made):%Y-%m-%d %H:%M}"
