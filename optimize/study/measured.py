"""A measured surface: a CSV of Re, j, f; every faulty row is told."""

import re

from optimize.study.faults import Fault
from optimize.study.toml_file import read_text
from optimize.units import quoted

COLUMNS = ["Re", "j", "f"]
LEAST_ROWS = 3
Row = tuple[float, float, float]
NUMBER = re.compile(r"[+-]?(?:[0-9]{1,15}(?:\.[0-9]{0,20})?|\.[0-9]{1,20})(?:[eE][+-]?[0-9]{1,2})?")


def read_measured(path: str) -> tuple[tuple[Row, ...], list[Fault], str]:
    """Rows (Re, j, f), faults, and the text; the header "Re,j,f" first, lines with # and empty lines left out.

    Raises `UnreadableError` for a file that is no text.
    """
    text = read_text(path)
    numbered = numbered_rows(text)
    if not numbered or [cell.strip() for cell in numbered[0][1].split(",")] != COLUMNS:
        place, given = (numbered[0][0], quoted(numbered[0][1])) if numbered else (1, "nothing")
        what = f"expected the header 'Re,j,f', got {given}"
        return (), [row_fault(path, place, what, "name the columns first")], text
    faults: list[Fault] = []
    rows: list[Row] = []
    for number, line in numbered[1:]:
        fault = _row(line, rows)
        if fault:
            faults.append(row_fault(path, number, fault, "mend the row"))
    if not faults and len(rows) < LEAST_ROWS:
        what = f"expected at least {LEAST_ROWS} rows, got {len(rows)}"
        faults.append(row_fault(path, numbered[-1][0], what, "a curve needs more points"))
    return tuple(rows), faults, text


def numbered_rows(text: str) -> list[tuple[int, str]]:
    """Rows with their numbers in the file, without comments and empty lines.

    >>> numbered_rows("# made up\\nRe,j,f\\n\\n1,2,3  # first\\n")
    [(2, 'Re,j,f'), (4, '1,2,3')]
    """
    rows = [(number, line.split("#")[0].strip()) for number, line in enumerate(text.splitlines(), 1)]
    return [(number, line) for number, line in rows if line]


def _row(line: str, rows: list[Row]) -> str:
    """Adds the row, or says what is wrong with it; a row out of order is still what the next is measured by."""
    cells = [cell.strip() for cell in line.split(",")]
    if len(cells) != len(COLUMNS):
        return f"expected three numbers Re,j,f with decimal points, got {quoted(line)}"
    for name, cell in zip(COLUMNS, cells, strict=True):
        if not NUMBER.fullmatch(cell):
            return f"{name}: expected a number, got {quoted(cell)}"
        if not float(cell) > 0.0:
            return f"{name}: must be above zero, got {quoted(cell)}"
    Re, j, f = (float(cell) for cell in cells)
    before = rows[-1][0] if rows else 0.0
    rows.append((Re, j, f))
    return "" if Re > before else f"Re must rise from row to row: {Re:g} follows {before:g}"


def row_fault(path: str, row: int, what: str, do: str) -> Fault:
    return Fault(path, row, what, do, "row")

