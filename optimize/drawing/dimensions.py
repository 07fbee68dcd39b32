"""Dimensions and leaders of ISO 129: extension lines, arrows inside or outside, text above the line or beside it."""

from optimize.drawing.lettering import width
from optimize.drawing.primitives import Dimension, Path, Point, Primitive, Text, arrow_head, line

_GAP, _BEYOND, _OVER = 0.8, 1.8, 0.9  # extension line: off the part, beyond the arrow; text over its line
_ARROW = 2.5


def horizontal(
    first: Point, second: Point, y: float, text: str, factor: float, layer: str = "DIM", side: str = "right"
) -> Dimension:
    """A dimension along x on the level y; text too long for it goes to its right or left."""
    if first[0] > second[0]:
        first, second = second, first
    parts = _extensions(first, second, y, layer)
    lines = _lines(text, span := second[0] - first[0])
    needed = max(width(shown, 2.5) for shown in lines)
    parts += _arrows(first[0], second[0], y, layer, swapped=False)
    if needed + 1.0 <= span:
        middle, anchor = (first[0] + second[0]) / 2, "middle"
    else:
        reach = _ARROW * 2 if span < 4 * _ARROW else 0.0
        start = second[0] + reach if side == "right" else first[0] - reach
        end = start + (needed + 1.5) * (1 if side == "right" else -1)
        parts.append(line(layer, (second[0] if side == "right" else first[0], y), (end, y)))
        middle, anchor = (start + 1.0, "start") if side == "right" else (start - 1.0, "end")
    for shown, up in zip(lines, (_OVER, -_OVER - 2.5), strict=False):
        parts.append(Text(_lettering(layer), (middle, y + up), shown, anchor=anchor))
    return Dimension(first, second, (first[0], y), 0.0, text, factor, tuple(parts))


def vertical(
    first: Point, second: Point, x: float, text: str, factor: float, layer: str = "DIM", side: str = "up"
) -> Dimension:
    """A dimension along y on the level x, text turned by 90 degrees; text too long goes above or below."""
    if first[1] > second[1]:
        first, second = second, first
    flat = horizontal(_turned(first), _turned(second), -x, text, factor, layer, "right" if side == "up" else "left")
    parts = tuple(_part_back(part) for part in flat.parts)
    return Dimension(first, second, (x, first[1]), 90.0, text, factor, parts)


def leader(tip: Point, elbow: Point, lines: list[str], layer: str = "DIM") -> list[Primitive]:
    """An arrow to a place, with lines of text under a short shelf; the text runs away from the arrow."""
    right = elbow[0] >= tip[0]
    room = max(width(text, 2.5) for text in lines)
    end = elbow[0] + (room + 1.0) * (1 if right else -1)
    found: list[Primitive] = [line(layer, tip, elbow, (end, elbow[1])), _head_along(layer, elbow, tip)]
    for i, text in enumerate(lines):
        x = elbow[0] + (0.5 if right else -0.5)
        y = elbow[1] + _OVER if i == 0 else elbow[1] - 3.6 - 3.9 * (i - 1)
        found.append(Text(_lettering(layer), (x, y), text, anchor="start" if right else "end"))
    return found


def chain(spans: list[tuple[float, float, str]], x: float, text_x: float, factor: float) -> list[Primitive]:
    """Dimensions one above the other along y, level x, with texts to the left of `text_x` spread so that none overlap.

    Each span (from, to, text) from below.
    """
    spread, found = _spread([(low + high) / 2 for low, high, _ in spans], 4.0), []
    for (low, high, text), y in zip(spans, spread, strict=True):
        parts: list[Path | Text] = _arrows(low, high, -x, "DIM", swapped=True)
        parts.append(line("DIM", (x, (low + high) / 2), (text_x + 1.5, y), (text_x, y)))
        parts.append(Text("TEXT", (text_x - 0.6, y - 1.25), text, anchor="end"))
        found.append(Dimension((x, low), (x, high), (x, low), 90.0, text, factor, tuple(parts)))
    return list(found)


def _lines(text: str, span: float) -> list[str]:
    """One line, or what stands in square brackets under the dimension line where the whole is too long for it."""
    head, bracket, rest = text.partition(" [")
    if not bracket or width(text, 2.5) + 2 * _ARROW <= span:
        return [text]
    return [head, f"[{rest}"]


def _spread(places: list[float], gap: float) -> list[float]:
    """Places moved apart to at least `gap`, their middle kept."""
    if not places:
        return []
    moved = [places[0]]
    for place in places[1:]:
        moved.append(max(place, moved[-1] + gap))
    shift = (sum(places) - sum(moved)) / len(places)
    return [place + shift for place in moved]


def _extensions(first: Point, second: Point, y: float, layer: str) -> list[Path | Text]:
    found: list[Path | Text] = []
    for x, at in (first, second):
        if abs(y - at) > _GAP:
            sign = 1.0 if y > at else -1.0
            found.append(line(layer, (x, at + sign * _GAP), (x, y + sign * _BEYOND)))
    return found


def _arrows(low: float, high: float, level: float, layer: str, swapped: bool) -> list[Path | Text]:
    """Dimension line with arrows, outside where there is no room within; `swapped`: along y on x = -level."""
    narrow = high - low < 2.4 * _ARROW
    ends = (low - 2 * _ARROW, high + 2 * _ARROW) if narrow else (low, high)
    angles = (0.0, 180.0) if narrow else (180.0, 0.0)
    parts: list[Path | Text] = [line(layer, (ends[0], level), (ends[1], level))]
    parts += [arrow_head(layer, (x, level), angle) for x, angle in zip((low, high), angles, strict=True)]
    return [_part_back(part) for part in parts] if swapped else parts


def _turned(point: Point) -> Point:
    return point[1], -point[0]


def _back(point: Point) -> Point:
    return -point[1], point[0]


def _part_back(part: Path | Text) -> Path | Text:
    """A part drawn along x, as it lies along y."""
    if isinstance(part, Text):
        return Text(part.layer, _back(part.at), part.text, part.height, part.anchor, 90.0, part.bold)
    return Path(part.layer, tuple(tuple(_back(p) for p in run) for run in part.runs), part.closed, part.filled)


def _lettering(layer: str) -> str:
    return "TEXT" if layer == "DIM" else layer


def _head_along(layer: str, tail: Point, tip: Point) -> Path:
    from math import atan2, degrees

    return arrow_head(layer, tip, degrees(atan2(tip[1] - tail[1], tip[0] - tail[0])))
