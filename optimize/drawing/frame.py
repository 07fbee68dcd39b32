"""The sheet: frame with zones and centring marks (ISO 5457), title block (ISO 7200), first-angle symbol (ISO 5456-2).

All three from memory of the standards.
"""

from dataclasses import dataclass

from optimize.drawing.lettering import fit, sized, width, wrap
from optimize.drawing.primitives import Circle, Path, Point, Primitive, Text, box, line

SHEETS = {"A3": (420.0, 297.0), "A2": (594.0, 420.0)}
LEFT, EDGE = 20.0, 10.0  # margins: filing edge, the others
TITLE_WIDTH, TITLE_HEIGHT = 180.0, 58.0
_ZONE, _BORDER = 50.0, 5.0
CAUTION = (
    "Drawn by a program from the design data; check before making; not a released drawing.",
    "Hot coolant under pressure: a leak reaches the engine. Defer to tests, codes, licensed practice.",
)


@dataclass(frozen=True)
class Entry:
    """What the title block says, ready to print."""

    title: str
    core: str
    run: str
    made: str
    scale: str
    units: str
    material: str
    mass: str
    coolant: str
    sheet: str


def frame(sheet: str) -> list[Primitive]:
    """Frame, zones of 50 mm from the middle, centring marks."""
    W, H = SHEETS[sheet]
    inner = box(LEFT, EDGE, W - EDGE, H - EDGE)
    outer = box(LEFT - _BORDER, EDGE - _BORDER, W - EDGE + _BORDER, H - EDGE + _BORDER)
    found: list[Primitive] = [Path("FRAME", (inner,), closed=True), Path("THIN", (outer,), closed=True)]
    x, y = W / 2, H / 2
    marks = [line("FRAME", (x, v), (x, v + up * (EDGE + 5))) for v, up in ((0.0, 1), (H, -1))]
    found += [*marks, line("FRAME", (0.0, y), (LEFT + 5, y)), line("FRAME", (W, y), (W - EDGE - 5, y))]
    return found + _zones(W, H, True) + _zones(W, H, False)


def _zones(W: float, H: float, along: bool) -> list[Primitive]:
    """Numbers along the sheet, letters (without I and O) up it."""
    low, high, whole = (LEFT, W - EDGE, W) if along else (EDGE, H - EDGE, H)
    count = round(whole / _ZONE / 2) * 2
    names = [str(i + 1) for i in range(count)] if along else list("ABCDEFGHJKLMNP"[:count])[::-1]
    cuts = [low, *(whole / 2 + (i - count / 2) * _ZONE for i in range(1, count)), high]
    found: list[Primitive] = []
    for i, name in enumerate(names):
        middle = (cuts[i] + cuts[i + 1]) / 2
        for side in (0, 1):
            place = _border(middle, side, (W, H), along)
            found.append(Text("TEXT", (place[0], place[1] - 1.25), name, anchor="middle"))
            if i:
                a = _border(cuts[i], side, (W, H), along)
                reach = ((0, _BORDER / 2), (_BORDER / 2, 0))[not along]
                found.append(line("THIN", (a[0] - reach[0], a[1] - reach[1]), (a[0] + reach[0], a[1] + reach[1])))
    return found


def _border(place: float, side: int, size: tuple[float, float], along: bool) -> Point:
    """Middle of the border strip at a place along one of the two sides."""
    low = (EDGE if along else LEFT) - _BORDER / 2
    high = (size[1] if along else size[0]) - EDGE + _BORDER / 2
    across = (low, high)[side]
    return (place, across) if along else (across, place)


def first_angle(at: Point) -> list[Primitive]:
    """The symbol of first-angle projection: a cone from its side, and from its small end on the right."""
    x, y = at
    side = ((x, y - 2.5), (x, y + 2.5), (x + 8, y + 4), (x + 8, y - 4))
    found: list[Primitive] = [Path("OUTLINE", (side,), closed=True), line("CENTRE", (x - 1.5, y), (x + 9.5, y))]
    found += [Circle("OUTLINE", (x + 15.5, y), 2.5), Circle("OUTLINE", (x + 15.5, y), 4.0)]
    return [*found, line("CENTRE", (x + 10.5, y), (x + 20.5, y)), line("CENTRE", (x + 15.5, y - 5), (x + 15.5, y + 5))]


def title_block(sheet: str, entry: Entry) -> list[Primitive]:
    """The block in the lower right corner, 180 mm wide."""
    x, y = SHEETS[sheet][0] - EDGE - TITLE_WIDTH, EDGE
    found: list[Primitive] = [Path("OUTLINE", (box(x, y, x + TITLE_WIDTH, y + TITLE_HEIGHT),), closed=True)]
    found += [line("THIN", (x, y + v), (x + TITLE_WIDTH, y + v)) for v in (10.0, 20.0, 36.0, 46.0)]
    found += [Text("TEXT", (x + 3, y + 52.6 - 4.6 * i), text) for i, text in enumerate(CAUTION)]
    for v, cells in _rows(entry):
        found += _cells(x, y + v, cells)
    found += first_angle((x + 42.0 + 4.5, y + 41.0))
    return found + _title(x, y + 20.0, entry)


def _rows(entry: Entry) -> list[tuple[float, tuple[tuple[str, str, float], ...]]]:
    """Rows of fields from above: level, then name, text and width of each."""
    return [
        (36.0, (("scale", entry.scale, 42.0), ("projection", "", 30.0), ("units", entry.units, 60.0),
                ("tolerances", "as shown", 28.0), ("size", entry.sheet, 20.0))),
        (10.0, (("material", entry.material, 76.0), ("dry mass", entry.mass, 52.0),
                ("coolant inside", entry.coolant, 52.0))),
        (0.0, (("run", entry.run, 66.0), ("date", entry.made, 38.0), ("status", "not released", 30.0),
               ("checked", "", 26.0), ("sheet", "1/1", 20.0))),
    ]  # fmt: skip


def _cells(x: float, y: float, cells: tuple[tuple[str, str, float], ...]) -> list[Primitive]:
    """A row of fields, their names small above what they say."""
    found: list[Primitive] = []
    for i, (name, text, wide) in enumerate(cells):
        if i:
            found.append(line("THIN", (x, y), (x, y + 10.0)))
        if name != "projection":
            found.append(Text("TEXT", (x + 1.5, y + 7.0), name, 1.8))
        shown, height = sized(text, wide - 3.0, (3.5, 2.5))
        found.append(Text("TEXT", (x + 1.5, y + 1.9), shown, height))
        x += wide
    return found


def _title(x: float, y: float, entry: Entry) -> list[Primitive]:
    """Title on the left in one or two lines, core on the right."""
    core, height = sized(entry.core, 46.0, (5.0, 3.5, 2.5), bold=True)
    found: list[Primitive] = [
        line("THIN", (x + 130, y), (x + 130, y + 16)), Text("TEXT", (x + 131.5, y + 12.6), "core", 1.8),
        Text("TEXT", (x + 131.5, y + 4.5), core, height, bold=True), Text("TEXT", (x + 1.5, y + 12.6), "title", 1.8),
    ]
    if width(fit(entry.title, 5.0, 1e9), 5.0, bold=True) <= 127:
        return [*found, Text("TEXT", (x + 1.5, y + 4.5), fit(entry.title, 5.0, 127, True), 5.0, bold=True)]
    lines = wrap(entry.title, 3.5, 127, 2, bold=True)
    return found + [Text("TEXT", (x + 1.5, y + 7.2 - 5.4 * i), text, 3.5, bold=True) for i, text in enumerate(lines)]
