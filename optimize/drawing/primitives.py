"""What a drawing is made of: lines, circles, texts, hatches and dimensions on layers, in millimetres of paper.

The origin is the lower left corner of the sheet, y up. SVG and DXF are both written from the same list.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, radians, sin

Point = tuple[float, float]


@dataclass(frozen=True)
class Layer:
    """How a layer looks: line width and dashes [mm of paper], colour; `fill` is that of closed shapes on it."""

    width: float
    colour: str
    dashes: tuple[float, ...] = ()


_INK, _BLUE, _RED = "#1d2229", "#1f6a96", "#b3261e"
# Line groups of ISO 128 (0.5 with 0.25), lettering of 3.5 mm in 0.35; dashes in multiples of the narrow line
LAYERS: dict[str, Layer] = {
    "WATER": Layer(0.18, "#d6e6f2"),
    "METAL": Layer(0.18, "#c9ced4"),
    "HATCH": Layer(0.18, "#5b636e"),
    "FINS": Layer(0.18, "#3d4550"),
    "THIN": Layer(0.25, _INK),
    "HIDDEN": Layer(0.25, _INK, (3.0, 0.75)),
    "CENTRE": Layer(0.25, _INK, (6.0, 0.75, 0.25, 0.75)),
    "POCKET": Layer(0.25, "#7a4f00", (6.0, 0.75, 0.25, 0.75, 0.25, 0.75)),
    "OUTLINE": Layer(0.5, _INK),
    "FLOW": Layer(0.35, _BLUE),
    "DIM": Layer(0.25, _INK),
    "TEXT": Layer(0.35, _INK),
    "MISFIT": Layer(0.5, _RED),
    "FRAME": Layer(0.7, _INK),
}


@dataclass(frozen=True)
class Path:
    """Polylines of one layer; closed and filled where said."""

    layer: str
    runs: tuple[tuple[Point, ...], ...]
    closed: bool = False
    filled: bool = False


@dataclass(frozen=True)
class Circle:
    """A full circle."""

    layer: str
    centre: Point
    radius: float


@dataclass(frozen=True)
class Text:
    """One line of text; `height` is that of capitals, `anchor` start, middle or end, `turn` in degrees."""

    layer: str
    at: Point
    text: str
    height: float = 2.5
    anchor: str = "start"
    turn: float = 0.0
    bold: bool = False


@dataclass(frozen=True)
class Hatch:
    """Cut metal: a polygon with thin lines at `angle`, `gap` apart."""

    layer: str
    outline: tuple[Point, ...]
    gap: float = 1.2
    angle: float = 45.0


@dataclass(frozen=True)
class Dimension:
    """A linear dimension between two points, `turn` 0 or 90 degrees; `factor` is real millimetres in one of paper."""

    first: Point
    second: Point
    base: Point
    turn: float
    text: str
    factor: float
    parts: tuple["Path | Text", ...]


Primitive = Path | Circle | Text | Hatch | Dimension


@dataclass(frozen=True)
class Drawing:
    """A sheet ready to be written."""

    name: str  # of the sheet size, "A3"
    width: float
    height: float
    title: str
    about: str
    scale: str
    items: tuple[Primitive, ...]


@dataclass(frozen=True)
class View:
    """Where a view lies on the sheet: model millimetres (u, v) to paper millimetres."""

    x: float
    y: float
    scale: float

    def at(self, u: float, v: float) -> Point:
        """The point on paper."""
        return self.x + self.scale * u, self.y + self.scale * v

    def many(self, points: Sequence[Point]) -> tuple[Point, ...]:
        """Points on paper."""
        return tuple(self.at(u, v) for u, v in points)


def line(layer: str, *points: Point) -> Path:
    """An open polyline."""
    return Path(layer, (points,))


def box(u0: float, v0: float, u1: float, v1: float) -> tuple[Point, ...]:
    """Corners of a rectangle."""
    return (u0, v0), (u1, v0), (u1, v1), (u0, v1)


def rectangle(layer: str, view: View, u0: float, v0: float, u1: float, v1: float, filled: bool = False) -> Path:
    """A rectangle given in model millimetres."""
    return Path(layer, (view.many(box(u0, v0, u1, v1)),), closed=True, filled=filled)


def arrow_head(layer: str, tip: Point, angle: float, size: float = 2.5) -> Path:
    """A filled arrow head whose tip points along `angle` [degrees]."""
    a = radians(angle)
    back = (tip[0] - size * cos(a), tip[1] - size * sin(a))
    side = (-sin(a) * size / 6, cos(a) * size / 6)
    corners = (tip, (back[0] + side[0], back[1] + side[1]), (back[0] - side[0], back[1] - side[1]))
    return Path(layer, (corners,), closed=True, filled=True)


def arc_points(centre: Point, radius: float, start: float, end: float, count: int = 32) -> tuple[Point, ...]:
    """Points on an arc from `start` to `end` [degrees, counter-clockwise]."""
    steps = [radians(start + (end - start) * i / count) for i in range(count + 1)]
    return tuple((centre[0] + radius * cos(a), centre[1] + radius * sin(a)) for a in steps)
