"""The page to sign: dimensions with bounds, fins, passes, ports, what to accept on a bench, mass; one A4 sheet."""

from collections.abc import Sequence
from pathlib import Path

from optimize import units
from optimize.handover import notes
from optimize.handover.acceptance import guarded
from optimize.handover.bench import Stream
from optimize.handover.bench_sheet import loss_places, volume_unit
from optimize.handover.digits import shown
from optimize.handover.outline import outline
from optimize.handover.paper import WIDTH, Paper
from optimize.handover.plain_text import words
from optimize.handover.specification import Entry, Section, specification
from optimize.handover.subject import Subject
from optimize.report.style import FAILED, FRONT, INK, MODEL_FILL, RULE, SOFT, house_style

_EDGE = 12.0  # [mm]
_COLUMN = 90.5
_TOP, _BENCH_TOP, _NOTES_TOP, _SIGN_TOP = 32.0, 183.0, 246.0, 264.0
_ROW = 3.9
_SKETCH = 40.0  # height of the outline
_LEFT = ("Core block", "Tanks", "Coolant ports", "In the pocket")
_RIGHT = ("Air fin", "Turbulator", "Material", "Masses")
_PLACES = (42.0, 56.5, 68.5, 80.5)  # right ends of label room and numbers in a column
# Lines that the page leaves to the workbook
_LEFT_OUT = (
    "catalogue entry", "header", "port opening", "share of the tank end face the port opens", "fin conductivity",
    "plate conductivity", "measured j and f", "coolant free-flow area of one pass",
)
_HEADS = ("of the largest", "mass flow", "volume flow", "expected", "shop alone", "correlations alone", "look below",
          "accept to", "measured")
_BENCH = (17.0, 35.0, 54.0, 70.0, 96.0, 124.0, 143.0, 161.0, 186.0)  # right ends [mm] from the edge


def write(s: Subject, path: Path) -> Path:
    """Write the page; the same bytes for the same subject."""
    with house_style():
        return drawn(s).save(path, f"{s.name}, {s.title}")


def drawn(s: Subject) -> Paper:
    """The page, made inside `house_style`."""
    paper = Paper()
    _title(paper, s)
    sections = [_kept(section) for section in specification(s)]
    _column(paper, _EDGE, _TOP, [x for x in sections if x.title.startswith(_LEFT)])
    right = WIDTH - _EDGE - _COLUMN
    outline(paper, s.placed, right, _TOP - 1, _COLUMN, _SKETCH)
    _misses(paper, s, right, _TOP + _SKETCH - 11)
    _column(paper, right, _TOP + _SKETCH + 4, [x for x in sections if x.title.startswith(_RIGHT)])
    _bench(paper, s)
    _notes(paper, s)
    _signatures(paper)
    return paper


def _kept(section: Section) -> Section:
    """The lines that the page has room for: an offset from the middle only where there is one."""
    kept = (e for e in section.entries if e.label not in _LEFT_OUT)
    return Section(section.title, tuple(e for e in kept if e.value or not e.label.endswith("middle of the stack")))


def _misses(paper: Paper, s: Subject, x: float, y: float) -> None:
    """What the core misses of what was asked, where it does."""
    missed = [name.removeprefix("clearance, ") for name, margin in s.sheet.requirements() if not margin >= 0]
    if missed:
        text = f"MISSES WHAT WAS ASKED: {'; '.join(words(name) for name in missed)}"
        paper.lines(x, y, text, _COLUMN, 7, 3, bold=True, colour=FAILED)


def _title(paper: Paper, s: Subject) -> None:
    paper.box(0, 0, WIDTH, 25, fill=FRONT)
    name = "Core" if s.name == "core" else f"Core {s.name}"
    paper.text(_EDGE, 11, f"{name}: specification", 110, 14, bold=True, colour="white")
    paper.text(_EDGE, 19, s.title, 118, 9, colour="white")
    end, room = WIDTH - _EDGE, 62.0
    paper.text(end, 9, f"run: {s.run}", room, 7, colour="white", align="right")
    paper.text(end, 14, f"date of the run: {s.date}", room, 7, colour="white", align="right")
    unsigned = "calculated figures, not released for making until signed"
    paper.text(end, 19, unsigned, room, 7, colour="white", align="right")


def _column(paper: Paper, x: float, y: float, sections: Sequence[Section]) -> None:
    """Sections below one another, in rows as high as there is room for."""
    count = sum(len(section.entries) + 1.6 for section in sections)
    row = min(_ROW, (_BENCH_TOP - 3 - y) / count)
    for n, section in enumerate(sections):
        y += row * (1.0 if n == 0 else 1.6)
        paper.text(x, y - 0.3 * row, section.title, _COLUMN if n else _PLACES[0], 7.5, bold=True, colour=FRONT)
        for place, head in zip(_PLACES[1:], ("nominal", "lower", "upper"), strict=True):
            if n == 0:
                paper.text(x + place, y - 0.3 * row, head, 13, 6.5, colour=SOFT, align="right")
        paper.line([(x, y), (x + _COLUMN, y)], FRONT, 0.3)
        for entry in section.entries:
            y += row
            _entry(paper, x, y - 0.28 * row, entry)
            paper.line([(x, y), (x + _COLUMN, y)])


def _entry(paper: Paper, x: float, y: float, entry: Entry) -> None:
    bad = entry.note.isupper()
    colour = FAILED if bad else INK
    paper.text(x, y, entry.label, _PLACES[0], 7, bad, colour)
    if isinstance(entry.value, str):
        place = x + (_PLACES[1] if len(entry.value) < 8 else _COLUMN)
        paper.text(place, y, entry.value, _COLUMN - _PLACES[0], 7, align="right")
        return
    for place, value in zip(_PLACES[1:], (entry.value, entry.low, entry.high), strict=True):
        if value is not None:
            own = SOFT if entry.law.startswith("follows") and value is not entry.value else colour
            paper.text(x + place, y, shown(value, entry.places), 12.5, 7, colour=own, align="right")
    paper.text(x + _PLACES[-1] + 1.2, y, entry.unit, _COLUMN - _PLACES[-1] - 1.2, 6.5, colour=SOFT)


def _bench(paper: Paper, s: Subject) -> None:
    """Every flow of every stream, with room for what is measured."""
    unit = units.unit_symbol("pressure", s.problem.study.units)
    y, span = _BENCH_TOP + 3.5, WIDTH - 2 * _EDGE
    paper.text(_EDGE, y - 1.2, f"Loss of the core alone on a flow bench [{unit}]", 120, 7.5, bold=True, colour=FRONT)
    paper.line([(_EDGE, y), (_EDGE + span, y)], FRONT, 0.3)
    y += _ROW
    for place, head in zip(_BENCH, _HEADS, strict=True):
        paper.text(_EDGE + place, y - 1.1, head, 26, 6.5, colour=SOFT, align="right")
    for stream in s.bench:
        y = _stream(paper, s, stream, y, span)


def _stream(paper: Paper, s: Subject, stream: Stream, y: float, span: float) -> float:
    y, system = y + _ROW, s.problem.study.units
    paper.text(_EDGE, y - 1.1, notes.stream_title(stream, system), span, 7, bold=True)
    volume, size = volume_unit(stream, system)
    mass = units.unit_symbol("mass flow", system)

    def loss(value: float) -> float:
        return float(units.to_display(value, "pressure", system))

    places = loss_places(stream, system)
    for accepted in guarded(stream, s.guard):
        y, point = y + _ROW, accepted.point
        flow, rate = float(units.to_display(point.mass_flow, "mass flow", system)), point.volume_flow / size
        ends = [shown(loss(v), places) for v in (accepted.low, accepted.high)] if accepted.possible else ["-", "-"]
        bands = [" .. ".join(shown(loss(v), places) for v in band) for band in (point.shop, point.model)]
        cells = (
            f"{100 * point.share:.0f} %", f"{flow:.4g} {mass}", f"{rate:.4g} {volume}", shown(loss(point.loss), places),
            *bands, *ends,
        )
        paper.box(_EDGE + _BENCH[5] + 2, y - _ROW, _BENCH[7] - _BENCH[5] - 0.5, _ROW, fill=MODEL_FILL)
        paper.box(_EDGE + _BENCH[7] + 2.5, y - _ROW, _BENCH[8] - _BENCH[7] - 2.5, _ROW, edge=SOFT)
        for i, (place, cell) in enumerate(zip(_BENCH, cells, strict=False)):
            paper.text(_EDGE + place, y - 1.1, cell, 26, 7, bold=i >= 6, align="right")
        paper.line([(_EDGE, y), (_EDGE + span, y)])
    return y


def _notes(paper: Paper, s: Subject) -> None:
    span, y = WIDTH - 2 * _EDGE, _NOTES_TOP
    later = ", ".join(f"{x.name if x.name == 'air' else x.fluid} {notes.later_cores(x)}" for x in s.bench)
    text = (
        "Bounds in grey follow from the others: of lengths the arithmetic sum, else 95 % of copies; without bounds: "
        f"no tolerance stated. Later cores, against the first one accepted, within shop tolerances: {later}. "
        "'Look below' and 'accept to' are less a guard band: the bench's loss uncertain by "
        f"{100 * s.guard.loss:.3g} %, its flow by {100 * s.guard.flow:.3g} %. Conditions: workbook, sheet Bench."
    )
    y = paper.lines(_EDGE, y, text, span, 6.2, 3, colour=SOFT)
    paper.lines(_EDGE, y, " ".join(notes.CAUTIONS[1:]), span, 6.2, 3, colour=FAILED)


def _signatures(paper: Paper) -> None:
    span = WIDTH - 2 * _EDGE
    width = (span - 8) / 2
    for i, who in enumerate(("Supplier", "Buyer")):
        x = _EDGE + i * (width + 8)
        paper.box(x, _SIGN_TOP, width, 21, edge=FRONT)
        paper.text(x + 2, _SIGN_TOP + 4.2, who, 40, 7.5, bold=True, colour=FRONT)
        signed, dated = (x + 2, x + width * 0.66), (x + width * 0.7, x + width - 2)
        for (place, end), label in ((signed, "name and signature"), (dated, "date")):
            paper.line([(place, _SIGN_TOP + 16.5), (end, _SIGN_TOP + 16.5)], SOFT, 0.2)
            paper.text(place, _SIGN_TOP + 19.4, label, 40, 6, colour=SOFT)
    paper.line([(_EDGE, 290), (_EDGE + span, 290)], RULE)
    paper.text(_EDGE, 293.2, "Made by a program from the design data.", span, 6, colour=SOFT)
