"""Two small views of the core in its pocket, to scale: along the core, and of the tank end with its ports."""

from dataclasses import dataclass

from optimize.handover.paper import Paper
from optimize.handover.placing import INLET, Box, Opening, Placed
from optimize.report.style import BAR, FRONT, INK, MODEL, SHOP, SOFT

_GAP, _ARROW = 8.0, 6.0  # [mm] between the views, and for what enters from the left
_THIN, _THICK = 0.18, 0.35
_POCKET = (0, (9, 2, 1.5, 2, 1.5, 2))  # long dash, double dot: what lies beside


@dataclass(frozen=True)
class _View:
    """A view on paper: metres to the right and upwards, from where 0, 0 lies on the sheet [mm]."""

    x: float
    y: float
    scale: float  # [mm/m]

    def at(self, right: float, up: float) -> tuple[float, float]:
        return self.x + self.scale * right, self.y - self.scale * up


def outline(paper: Paper, found: Placed, x: float, y: float, width: float, height: float) -> None:
    """Draw both views into a frame whose upper left corner is at x, y [mm]."""
    across = _extent(found, 0), _extent(found, 1)
    tall = _extent(found, 2)
    scale = min((width - _GAP - _ARROW) / sum(b - a for a, b in across), (height - 9) / (tall[1] - tall[0]))
    top = y + 4 + scale * tall[1]
    along = _View(x + _ARROW - scale * across[0][0], top, scale)
    end = _View(x + width - scale * across[1][1], top, scale)
    for view, axis in ((along, 0), (end, 1)):
        for box in (*(tank.outside for tank in found.tanks), found.core) if axis == 0 else (found.core,):
            _box(paper, view, box, axis, BAR if box is found.core and axis == 0 else "white")
        _pocket(paper, view, found.keep_out, axis)
    _flow(paper, along, found)
    for port in found.ports:
        paper.line([end.at(*p) for p in rim(port)], FRONT if port.end == INLET else SHOP, _THICK)
    note = "to scale; dot-dashed: pocket, flange, lid. Right: the tank ends laid over one another"
    paper.text(x, y + height, note, width, 5.5, colour=SOFT)


def _extent(found: Placed, axis: int) -> tuple[float, float]:
    boxes = [found.core, found.keep_out, *(tank.outside for tank in found.tanks)]
    return min(b.low[axis] for b in boxes), max(b.high[axis] for b in boxes)


def _corners(box: Box, axis: int) -> list[tuple[float, float]]:
    (a, low), (b, high) = ((p[axis], p[2]) for p in (box.low, box.high))
    return [(a, low), (b, low), (b, high), (a, high), (a, low)]


def _box(paper: Paper, view: _View, box: Box, axis: int, fill: str) -> None:
    points = [view.at(*corner) for corner in _corners(box, axis)]
    (x1, y1), (x2, y2) = points[0], points[2]
    paper.box(x1, y2, x2 - x1, y1 - y2, INK, fill, _THICK)


def _pocket(paper: Paper, view: _View, pocket: Box, axis: int) -> None:
    paper.line([view.at(*corner) for corner in _corners(pocket, axis)], MODEL, _THIN, linestyle=_POCKET)
    paper.line([view.at(pocket.low[axis], 0.0), view.at(pocket.high[axis], 0.0)], MODEL, _THIN, linestyle=_POCKET)


def rim(port: Opening) -> list[tuple[float, float]]:
    """The rim of an opening as points (y, z) [m], closed: arcs in small steps."""
    from math import acos, cos, pi, sin

    R, y, z = port.radius, port.y, port.bottom + port.radius
    if port.shape == "D":
        half = acos(max(min((port.height - R) / R, 1.0), -1.0))  # of the part cut away, seen from the centre
        turns = [pi / 2 + half + (2 * pi - 2 * half) * i / 40 for i in range(41)]
        arc = [(y + R * cos(t), z + R * sin(t)) for t in turns]
        return [*arc, arc[0]]
    shift = (port.width - port.height) / 2 if port.shape == "slot" else 0.0
    turns = [pi / 2 + 2 * pi * i / 40 for i in range(41)]
    return [(y + R * cos(t) + (-shift if 0 < i < 21 else shift if i > 20 else -shift), z + R * sin(t))
            for i, t in enumerate(turns)] + [(y - shift, z + R)]


def _flow(paper: Paper, view: _View, found: Placed) -> None:
    """Air down through the core, coolant in and out."""
    look = {"arrowstyle": "-|>", "linewidth": 0.9, "shrinkA": 0.0, "shrinkB": 0.0, "mutation_scale": 6}
    low, high = found.core.low[2], found.core.high[2]
    for share in (0.3, 0.5, 0.7):
        right = found.core.low[0] + share * found.core.size[0]
        middle = (low + high) / 2
        start, end = view.at(right, middle + 0.3 * (high - low)), view.at(right, middle - 0.3 * (high - low))
        paper.axes.annotate("", end, start, arrowprops={**look, "color": SOFT})
    for port in found.ports:
        inner, outer = (view.at(x, port.centre) for x in (port.x[0] - port.end * 0.012, port.x[1] + port.end * 0.022))
        enters = port is found.ports[0]
        tip, tail = (inner, outer) if enters else (outer, inner)
        paper.axes.annotate("", tip, tail, arrowprops={**look, "color": FRONT if enters else SHOP})
