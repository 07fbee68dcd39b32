"""A drawing as one self-standing <svg>: no script, no font, nothing fetched; may stand inside a page."""

from collections.abc import Iterable
from math import cos, radians, sin
from xml.sax.saxutils import escape

from optimize.drawing.lettering import CAPITALS, clean
from optimize.drawing.primitives import LAYERS, Circle, Dimension, Drawing, Hatch, Path, Point, Primitive, Text

_USUAL = 2.5  # [mm] height of most lettering
_FONT = "'DejaVu Sans',Arial,sans-serif"


def svg(drawing: Drawing) -> str:
    """The drawing as text; the same drawing gives the same text."""
    flat = list(_flat(drawing.items))
    size = f"{_n(drawing.width)} {_n(drawing.height)}"
    width, height = size.split()
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="ffd" role="img" viewBox="0 0 {size}" width="{width}mm" '
        f'height="{height}mm">'
    )
    body = [_fills(flat, drawing.height), _strokes(flat, drawing.height), _heads(flat, drawing.height)]
    texts = "".join(_text(item, drawing.height) for item in flat if isinstance(item, Text))
    return "\n".join([
        head, f"<title>{_safe(drawing.title)}</title>", f"<desc>{_safe(drawing.about)}</desc>",
        f"<style>{_style()}</style>", f'<rect class="sheet" width="{width}" height="{height}"/>',
        *body, f"<g>{texts}</g>", "</svg>", "",
    ])


def _style() -> str:
    rules = [
        ".ffd .sheet{fill:#fff}", ".ffd path,.ffd circle{fill:none;stroke-linecap:round;stroke-linejoin:round}",
        f".ffd text{{font-family:{_FONT};direction:ltr;white-space:pre;stroke:none;"
        f"font-size:{_n(_USUAL / CAPITALS)}px}}", ".ffd .b{font-weight:bold}",
    ]
    for name, layer in LAYERS.items():
        look = f"stroke:{layer.colour};stroke-width:{layer.width:g}"
        if layer.dashes:
            look += f";stroke-dasharray:{' '.join(_n(d) for d in layer.dashes)};stroke-linecap:butt"
        rules.append(f".ffd path.{name},.ffd circle.{name}{{{look}}}")
        rules.append(f".ffd path.{name}.f{{fill:{layer.colour};stroke:none}}.ffd text.{name}{{fill:{layer.colour}}}")
    return "".join(rules)


def _flat(items: Iterable[Primitive]) -> Iterable[Path | Circle | Text | Hatch]:
    for item in items:
        if isinstance(item, Dimension):
            yield from item.parts
        else:
            yield item


def _fills(items: list[Path | Circle | Text | Hatch], height: float) -> str:
    """Filled shapes that lie under all lines: metal and water."""
    return _paths(items, ("METAL", "WATER"), height, filled=True)


def _strokes(items: list[Path | Circle | Text | Hatch], height: float) -> str:
    names = [name for name in LAYERS if name not in ("METAL", "WATER")]
    return _paths(items, names, height, filled=False)


def _heads(items: list[Path | Circle | Text | Hatch], height: float) -> str:
    """Filled shapes over the lines: arrow heads and fins."""
    return _paths(items, [name for name in LAYERS if name not in ("METAL", "WATER")], height, filled=True)


def _paths(items: list[Path | Circle | Text | Hatch], names: Iterable[str], height: float, filled: bool) -> str:
    """One <path> a layer, circles beside it."""
    found = []
    for name in names:
        mine = [item for item in items if item.layer == name]
        data = "".join(
            _data(run, height, item.closed) for item in mine if isinstance(item, Path) and item.filled is filled
            for run in item.runs
        )
        if not filled:
            hatches = (run for item in mine if isinstance(item, Hatch) for run in hatch_lines(item))
            data += "".join(_data(run, height, False) for run in hatches)
            found += [
                f'<circle class="{name}" cx="{_n(c.centre[0])}" cy="{_n(height - c.centre[1])}" r="{_n(c.radius)}"/>'
                for c in mine if isinstance(c, Circle)
            ]
        if data:
            found.append(f'<path class="{name}{" f" if filled else ""}" d="{data}"/>')
    return "\n".join(found)


def _data(run: Iterable[Point], height: float, closed: bool) -> str:
    """Path data relative to the point before, in hundredths of a millimetre: short, and without drift."""
    points = [(round(100 * x), round(100 * (height - y))) for x, y in run]
    parts, (x, y) = [f"M{_h(points[0][0])}{_joined(points[0][1])}"], points[0]
    for px, py in points[1:]:
        dx, dy = px - x, py - y
        if dx or dy:
            parts.append(f"v{_h(dy)}" if not dx else f"h{_h(dx)}" if not dy else f"l{_h(dx)}{_joined(dy)}")
        x, y = px, py
    return "".join(parts) + ("z" if closed else "")


def _h(hundredths: int) -> str:
    text = f"{hundredths / 100:.2f}".rstrip("0").rstrip(".")
    return text.replace("0.", ".", 1) if text.startswith(("0.", "-0.")) else text


def _joined(hundredths: int) -> str:
    text = _h(hundredths)
    return text if text.startswith("-") else f" {text}"


def _text(item: Text, height: float) -> str:
    x, y = _n(item.at[0]), _n(height - item.at[1])
    anchor = f' text-anchor="{item.anchor}"' if item.anchor != "start" else ""
    turn = f' transform="rotate({_n(-item.turn)} {x} {y})"' if item.turn else ""
    kind = f"{item.layer} b" if item.bold else item.layer
    size = f' style="font-size:{_n(item.height / CAPITALS)}px"' if item.height != _USUAL else ""
    return f'<text class="{kind}" x="{x}" y="{y}"{size}{anchor}{turn}>{_safe(item.text)}</text>\n'


def hatch_lines(hatch: Hatch) -> list[tuple[Point, Point]]:
    """The lines of a hatch, cut at its outline: each crosses it an even number of times."""
    a = radians(hatch.angle)
    turned = [(x * cos(a) + y * sin(a), y * cos(a) - x * sin(a)) for x, y in hatch.outline]
    levels = [v for _, v in turned]
    found, k = [], int(min(levels) // hatch.gap) + 1
    while (v := k * hatch.gap) < max(levels):
        cuts = sorted(_cuts(turned, v))
        for start, end in zip(cuts[::2], cuts[1::2], strict=False):
            found.append((_turned_back(start, v, a), _turned_back(end, v, a)))
        k += 1
    return found


def _cuts(points: list[Point], v: float) -> list[float]:
    following = [*points[1:], points[0]]
    return [
        p[0] + (q[0] - p[0]) * (v - p[1]) / (q[1] - p[1])
        for p, q in zip(points, following, strict=True) if (p[1] < v) != (q[1] < v)
    ]


def _turned_back(u: float, v: float, a: float) -> Point:
    return u * cos(a) - v * sin(a), u * sin(a) + v * cos(a)


def _n(value: float) -> str:
    return _h(round(100 * value))


def _safe(text: str) -> str:
    return escape(clean(text), {'"': "&quot;", "'": "&#39;"})
