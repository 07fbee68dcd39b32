"""Notes put on a run: a line each in its notes.txt, with the time, only ever added to."""

from datetime import UTC, datetime
from pathlib import Path

from optimize.errors import FinfrontError

FILE = "notes.txt"
LONGEST = 500  # letters of a note


def add_note(folder: Path, text: str, now: datetime) -> str:
    """Put a note on a run; the line written. Raises FinfrontError for no run, an empty or an endless note."""
    from optimize import runs, store

    if not (folder / runs.RECORD).is_file() and not (folder / store.FILE).is_file():
        raise FinfrontError(f"'{folder}' holds no run", do="give the folder of a run")
    line = " ".join("".join(letter if letter.isprintable() else " " for letter in text).split())
    if not line:
        raise FinfrontError("the note is empty", do="write what you want to remember in quotes")
    if len(line) > LONGEST:
        raise FinfrontError(f"the note has {len(line)} letters, more than {LONGEST}", do="make it shorter")
    told = f"{now.astimezone(UTC):%Y-%m-%d %H:%M} {line}"
    with open(folder / FILE, "ab+") as file:
        file.seek(0)
        held = file.read()
        start = "" if not held or held.endswith(b"\n") else "\n"  # behind a line that was cut off
        file.write(f"{start}{told}\n".encode())
    return told


def notes_of(folder: Path) -> list[str]:
    """The notes on a run, oldest first; none where the file cannot be read."""
    try:
        return [line for line in (folder / FILE).read_text(encoding="utf-8", errors="replace").splitlines() if line]
    except OSError:
        return []
