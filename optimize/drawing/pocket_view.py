"""What the views share: the pocket as an adjacent part, flow arrows, what does not fit, titles of views."""

from itertools import pairwise
from math import atan2, degrees

from optimize.drawing.core_shape import Band, CoreShape
from optimize.drawing.figures import Figures
from optimize.drawing.primitives import Hatch, Path, Point, Primitive, Text, View, arrow_head, box, line, rectangle

STUB = 14.0  # [mm of paper] flange and lid drawn beyond the pocket


def profile(
    shape: CoreShape, view: View, pocket: tuple[float, float], core: tuple[float, float], names_left: bool = False
) -> list[Primitive]:
    """The pocket cut across: walls and floor, flange and underside of the lid drawn on beyond pocket and core."""
    depth, lid, reach = shape.pocket[2], shape.pocket[2] + shape.pocket[3], STUB / view.scale
    (low, high), ends = pocket, (min(pocket[0], core[0]) - reach, max(pocket[1], core[1]) + reach)
    walls = [(ends[0], depth), (low, depth), (low, 0.0), (high, 0.0), (high, depth), (ends[1], depth)]
    place, anchor = view.at(ends[0] if names_left else ends[1], depth)[0], "start" if names_left else "end"
    found: list[Primitive] = [
        line("POCKET", *view.many(walls)), line("POCKET", view.at(ends[0], lid), view.at(ends[1], lid)),
    ]
    crowded = any(0.0 < (v - depth) * view.scale <= 4.5 for v in (lid, shape.thickness))
    names = [(lid, "lid", 0.8), (depth, "flange", -3.4 if crowded else 0.8)]
    found += [Text("POCKET", (place, view.at(0, v)[1] + up), name, anchor=anchor) for v, name, up in names]
    return found


def beyond(view: View, u0: float, v0: float, u1: float, v1: float) -> list[Primitive]:
    """Red lines over the part that has no room."""
    corners = view.many(box(u0, v0, u1, v1))
    return [Path("MISFIT", (corners,), closed=True), Hatch("MISFIT", corners, 2.0, 135.0)]


def room_text(figures: Figures, room: float) -> str:
    """Room with its sign, or by how much it does not fit."""
    if room < 0:
        return f"does not fit by {figures.length(-room, both=False)} {figures.unit}"
    return f"room {figures.signed(room)}"


def room_layer(room: float) -> str:
    """The layer of a dimension of room: the red one where there is none."""
    return "MISFIT" if room < 0 else "DIM"


def block_arrow(tail: Point, tip: Point, wide: float = 3.2) -> Path:
    """A hollow arrow of air, straight down or up on paper."""
    (x, start), (_, end) = tail, tip
    sign = 1.0 if end > start else -1.0
    neck, half = end - sign * 2.6, wide / 2
    corners = (
        (x - half / 2, start), (x - half / 2, neck), (x - half, neck), (x, end), (x + half, neck), (x + half / 2, neck),
        (x + half / 2, start),
    )
    return Path("FLOW", (corners,), closed=True)


def flow_line(points: list[Point], heads: bool = True) -> list[Primitive]:
    """The way of the coolant on paper, an arrow head at its end and in the middle of each long stretch."""
    found: list[Primitive] = [line("FLOW", *points)]
    for i, (tail, tip) in enumerate(pairwise(points)):
        angle = degrees(atan2(tip[1] - tail[1], tip[0] - tail[0]))
        long = abs(tip[0] - tail[0]) + abs(tip[1] - tail[1]) > 40.0
        if i == len(points) - 2:
            found.append(arrow_head("FLOW", tip, angle, 3.5))
        if long and heads:
            for share in (0.32, 0.72):
                at = (tail[0] + share * (tip[0] - tail[0]), tail[1] + share * (tip[1] - tail[1]))
                found.append(arrow_head("FLOW", at, angle, 3.5))
    return found


def view_title(at: Point, text: str, under: str = "") -> list[Primitive]:
    """The name of a view, and what is to be said of it in a second line."""
    found: list[Primitive] = [Text("TEXT", at, text, 3.5, bold=True)]
    return [*found, Text("TEXT", (at[0], at[1] - 4.2), under)] if under else found


def metal(view: View, u0: float, v0: float, u1: float, v1: float, angle: float = 45.0) -> list[Primitive]:
    """Cut metal: outlined and hatched."""
    return [
        Path("OUTLINE", (view.many(box(u0, v0, u1, v1)),), closed=True),
        Hatch("HATCH", view.many(box(u0, v0, u1, v1)), 1.4, angle),
    ]


def bar(view: View, u0: float, v0: float, u1: float, v1: float) -> list[Primitive]:
    """A bar seen from outside: grey, with thin edges."""
    return [rectangle("METAL", view, u0, v0, u1, v1, filled=True), rectangle("THIN", view, u0, v0, u1, v1)]


def summed(shape: CoreShape, *terms: tuple[float, str]) -> Band:
    """Arithmetic sum of tolerances, each so many times."""
    found = [(count, shape.bands.get(name, (0.0, 0.0))) for count, name in terms]
    return sum(n * band[0] for n, band in found), sum(n * band[1] for n, band in found)


def stack_band(shape: CoreShape) -> Band:
    """Tolerance of the stack height: all parts of one kind come from one batch and err alike."""
    n = shape.passages
    return summed(
        shape, (n + 1, "air_fin.spacing"), (n, "coolant_fin.spacing"), (2 * n, "plate_thickness"),
        (2, "side_plate_thickness"),
    )


def overall_band(shape: CoreShape) -> Band:
    """Tolerance of the length over all."""
    return summed(shape, (1, "length"), (2, "tank_length"), (2, "tank_wall"))


def reference(figures: Figures, value: float, band: Band) -> str:
    """A length that follows from others, in the round brackets of an auxiliary dimension."""
    text = figures.length(value, band)
    outer = text.partition(" [")
    return f"({outer[0]}){outer[1]}{outer[2]}"
