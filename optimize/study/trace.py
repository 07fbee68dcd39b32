"""A recorded run: a CSV of time, engine speed and, if known, load; every faulty row is told."""

from dataclasses import dataclass

from optimize.study.faults import Fault
from optimize.study.measured import NUMBER, numbered_rows, row_fault
from optimize.study.toml_file import read_text
from optimize.units import quoted

COLUMNS = ["time [s]", "engine_speed [rpm]", "load"]
LEAST_ROWS = 2
RPM = 1 / 60  # rev/s


@dataclass(frozen=True)
class Recording:
    """Time from the first row [s], engine speed [rev/s], load 0..1 (1 where the file has none)."""

    time: tuple[float, ...] = ()
    engine_speed: tuple[float, ...] = ()
    load: tuple[float, ...] = ()


def read_trace(path: str) -> tuple[Recording, list[Fault], str]:
    """The recording, faults, and the text; the header first, lines with # and empty lines left out.

    Raises `UnreadableError` for a file that is no text.
    """
    text = read_text(path)
    numbered = numbered_rows(text)
    header = [cell.strip() for cell in numbered[0][1].split(",")] if numbered else []
    if header not in (COLUMNS, COLUMNS[:2]):
        place, given = (numbered[0][0], quoted(numbered[0][1])) if numbered else (1, "nothing")
        what = f"expected the header '{','.join(COLUMNS)}', got {given}"
        return Recording(), [row_fault(path, place, what, "name the columns first; load may be left out")], text
    faults, rows = _rows(path, numbered[1:], header)
    if not faults and len(rows) < LEAST_ROWS:
        what = f"expected at least {LEAST_ROWS} rows, got {len(rows)}"
        faults = [row_fault(path, numbered[-1][0], what, "a run needs a start and an end")]
    if not faults and not any(speed > 0 and load > 0 for _, speed, load in rows):
        what = "no row with an engine speed and a load above zero: nothing would heat the coolant"
        faults = [row_fault(path, numbered[-1][0], what, "record a run that pulls")]
    return (_recording(rows) if not faults else Recording()), faults, text


def _rows(path: str, numbered: list[tuple[int, str]], header: list[str]) -> tuple[list[Fault], list[list[float]]]:
    faults: list[Fault] = []
    rows: list[list[float]] = []
    for number, line in numbered:
        if what := _row(line, header, rows):
            faults.append(row_fault(path, number, what, "mend the row"))
    return faults, rows


def _row(line: str, header: list[str], rows: list[list[float]]) -> str:
    """Adds the row, or says what is wrong with it; a row out of order is still what the next is measured by."""
    cells = [cell.strip() for cell in line.split(",")]
    if len(cells) != len(header):
        return f"expected {len(header)} numbers {','.join(header)} with decimal points, got {quoted(line)}"
    for name, cell in zip(header, cells, strict=True):
        if not NUMBER.fullmatch(cell):
            return f"{name}: expected a number, got {quoted(cell)}"
    time, speed, load = (*(float(cell) for cell in cells), 1.0)[:3]
    before = rows[-1][0] if rows else None
    rows.append([time, speed, load])
    if speed < 0.0:
        return f"{header[1]}: must be at least zero, got {quoted(cells[1])}"
    if not 0.0 <= load <= 1.0:
        return f"load: must be from 0 to 1, got {quoted(cells[2])}"
    return "" if before is None or time > before else f"time must rise from row to row: {time:g} follows {before:g}"


def _recording(rows: list[list[float]]) -> Recording:
    time, speed, load = zip(*rows, strict=True)
    return Recording(tuple(t - time[0] for t in time), tuple(n * RPM for n in speed), load)
