"""The workbook of one core: Specification, Bench, Calculation, Tolerances, Read me; numbers are numbers."""

from pathlib import Path

from optimize.handover import notes
from optimize.handover.bench_sheet import bench_sheet
from optimize.handover.digits import decimals
from optimize.handover.grid import Grid, Look, Value, Words
from optimize.handover.plain_text import clean, words
from optimize.handover.specification import Entry, source_lines, specification
from optimize.handover.subject import Subject
from optimize.handover.tolerance_sheet import tolerance_sheet

_SPECIFICATION = (46, 14, 12, 12, 9, 28, 12, 8, 44)
_OPTIONS = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}


def write(s: Subject, path: Path) -> Path:
    """Write the workbook; the same bytes for the same subject."""
    import xlsxwriter

    book = xlsxwriter.Workbook(str(path), _OPTIONS)
    book.set_properties({
        "title": f"{s.name}, {s.title}"[:250], "subject": "charge-cooler core: specification and bench figures",
        "author": "", "comments": notes.CAUTIONS[0], "created": s.made.replace(tzinfo=None),
    })
    look, named = Look(book), Words(s.name, s.title, s.run)
    _specification(s, Grid(book, look, "Specification", _SPECIFICATION, named))
    bench_sheet(s, book, look, named)
    widths = (54, 14, *(15 for _ in s.sheet.rating.duty_names), *((15,) if len(s.sheet.rating.duty_names) == 1 else ()))
    _calculation(s, Grid(book, look, "Calculation", widths, named, upright=len(widths) < 7))
    tolerance_sheet(s, book, look, named)
    _read_me(s, Grid(book, look, "Read me", (26, 94), named, upright=True))
    book.close()
    return path


def _specification(s: Subject, grid: Grid) -> None:
    heads = ("", "nominal", "lower", "upper", "unit", "tolerance", "half width in standard deviations", "Cp", "remark")
    grid.heads(heads, left=(4, 5, 8))
    grid.freeze()
    for section in specification(s):
        grid.heading(section.title)
        for entry in section.entries:
            _entry(grid, entry)
    grid.heading("How to read it")
    for text in notes.SPECIFICATION:
        grid.note(text)


def _entry(grid: Grid, entry: Entry) -> None:
    places, note = entry.places, "bad" if entry.note.isupper() else ""
    grid.row(
        (entry.label, entry.value, entry.low, entry.high, entry.unit, entry.law, entry.sigmas, entry.Cp, entry.note),
        (None, places, places, places, None, None, 2, 2, None), ("", _plain(entry.value), "", "", "", "", "", "", note),
    )


def _plain(value: Value) -> str:
    """The style of a value: a short text stands like a number, a long one is broken."""
    return "number" if not isinstance(value, str) or len(value) < _SPECIFICATION[1] else ""


def _calculation(s: Subject, grid: Grid) -> None:
    """The calculation sheet as numbers: the core, then group by group, a column a duty point."""
    duties = [clean(words(name), 48) for name in s.sheet.rating.duty_names]
    grid.heads(("", "unit", *duties), left=(1,))
    grid.freeze()
    grid.heading("Core as asked for")
    for name, value, unit in s.sheet.core_rows():
        value = clean(value, 60) if isinstance(value, str) else value
        places = decimals([value] if isinstance(value, float) else [], 6)
        grid.row((words(name), unit, value), (None, None, places), ("", "", _plain(value)))
    for group in s.sheet.groups():
        grid.heading(group.title)
        if group.heads and group.heads != s.sheet.rating.duty_names:
            grid.heads(("", "unit", *group.heads), left=(1,))
        for label, values, unit in group.rows:
            places = decimals(list(values))
            grid.row((label, unit, *values), (None, None, *(places for _ in values)))
    _verdicts(s, grid)


def _verdicts(s: Subject, grid: Grid) -> None:
    grid.heading("Requirements: margin as a share of the bound")
    for name, margin in s.sheet.requirements():
        verdict = ("met", "") if margin >= 0 else ("MISSED", "bad")
        grid.row((words(name), "%", 100 * margin, verdict[0]), (None, None, 2, None), ("", "", "", verdict[1]))
    grid.heading("Correlations")
    for text in source_lines(s):
        grid.note(text)
    grid.heading("Cautions")
    for text in s.sheet.cautions() or ["None: inside the range of every correlation."]:
        grid.note(text)


def _read_me(s: Subject, grid: Grid) -> None:
    for heading, rows in notes.read_me(s):
        grid.heading(heading)
        for label, text in rows:
            style = "bad" if heading == notes.CAUTION_HEADING else ""
            grid.row((label, text), 0, (style, "text"))
