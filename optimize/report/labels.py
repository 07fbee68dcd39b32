"""Labels on a figure that do not cover each other, nor, where it can be helped, what they speak of."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize.report.style import INK, SOFT
from physics.arrays import Array, BoolArray

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.text import Annotation

_ANGLES = np.deg2rad(np.arange(0, 360, 15))
_DISTANCES = (9.0, 16.0, 25.0, 36.0, 50.0, 66.0, 84.0, 104.0)  # [pt] from the point to the label's edge
_PAD = 2.0  # [pt] of air round a label
_FORBIDDEN = 1e6
_LEADER_REACH = 6.0  # [px]
_UNDER_LEADER = 0.06  # what a point under a leader weighs, against one under a label
_LINES_CROSS = 0.15  # what two leaders that cross weigh, against one under a label


@dataclass(frozen=True)
class Note:
    """A text about a point in data coordinates."""

    text: str
    at: tuple[float, float]
    colour: str = INK
    bold: bool = False
    leader: bool = True


def place(
    ax: "Axes", notes: Sequence[Note], obstacles: Array, weights: Array, size: float = 7.5, clear: float = 0.0
) -> list["Annotation"]:
    """Write notes near their points: inside the axes, off each other, off the obstacles (n, 2) by their weights (n,).

    The layout must be settled before. The first note gets the best place. Obstacles are given `clear` [pt] of air.
    """
    taken = [np.asarray(text.get_window_extent().get_points()) for text in ax.texts]
    lines: list[Array] = []
    there = ax.transData.transform(obstacles) if len(obstacles) else np.empty((0, 2))
    air = clear * figure_dpi(ax) / 72.0
    return [_place(ax, note, (there, weights, air), taken, lines, size) for note in notes]


def figure_dpi(ax: "Axes") -> float:
    """Pixels an inch of the figure the axes are in."""
    figure = ax.get_figure(root=True)
    if figure is None:
        raise ValueError("axes without a figure")
    return float(figure.dpi)


def _place(
    ax: "Axes", note: Note, field: tuple[Array, Array, float], taken: list[Array], lines: list[Array], size: float
) -> "Annotation":
    point = figure_dpi(ax) / 72.0
    written = _write(ax, note, size)
    box = written.get_window_extent()
    half = np.array([box.width, box.height]) / 2 + _PAD * point
    anchor = ax.transData.transform(note.at)
    best, lowest = np.zeros(2), np.inf
    for distance in _DISTANCES:
        for angle in _ANGLES:
            way = np.array([np.cos(angle), np.sin(angle)])
            reach = np.min(half / np.maximum(np.abs(way), 1e-9))
            centre = anchor + way * (distance * point + reach)
            cost = 0.06 * distance + _cost(ax, centre, half, anchor, field, taken, lines)
            if cost < lowest:
                best, lowest = centre, cost
    taken.append(np.array([best - half, best + half]))
    lines.append(np.array([anchor, best]))
    written.set_position(tuple((best - anchor) / point))
    return written


def _write(ax: "Axes", note: Note, size: float) -> "Annotation":
    line: dict[str, Any] = {"arrowstyle": "-", "color": SOFT, "linewidth": 0.7, "shrinkA": 0, "shrinkB": 2.5}
    written = ax.annotate(
        note.text, note.at, (0, 0), textcoords="offset points", ha="center", va="center", fontsize=size,
        color=note.colour, weight="bold" if note.bold else "normal", linespacing=1.15, zorder=8,
        arrowprops=line if note.leader else None,
        bbox={"boxstyle": "square,pad=0.12", "facecolor": "white", "edgecolor": "none", "alpha": 0.88},
    )
    written.set_in_layout(False)
    return written


def _cost(
    ax: "Axes", centre: Array, half: Array, anchor: Array, field: tuple[Array, Array, float],
    taken: list[Array], lines: list[Array],
) -> float:
    there, weights, air = field
    low, high = centre - half, centre + half
    frame = ax.get_window_extent()
    if low[0] < frame.x0 or low[1] < frame.y0 or high[0] > frame.x1 or high[1] > frame.y1:
        return _FORBIDDEN
    if any(np.all(low < box[1]) and np.all(high > box[0]) for box in taken):
        return _FORBIDDEN
    crossed = 1.0 * sum(_crosses(line, low, high) for line in lines)
    crossed += _LINES_CROSS * sum(_meet(line, np.array([anchor, centre])) for line in lines)
    crossed += sum(_crosses(np.array([anchor, centre]), *box) for box in taken)
    covered = np.all((there > low - air) & (there < high + air), axis=1)
    under = _beside(there, anchor, centre) & ~covered
    hidden = float(np.sum(weights[covered])) + _UNDER_LEADER * float(np.sum(weights[under]))
    return 400.0 * crossed + hidden


def _beside(points: Array, start: Array, end: Array) -> BoolArray:
    """Which points a leader runs over, but for those it starts from."""
    way = end - start
    along = np.clip((points - start) @ way / max(float(way @ way), 1e-9), 0.0, 1.0)
    gap = np.linalg.norm(points - start - along[:, None] * way, axis=1)
    return np.asarray((gap < _LEADER_REACH) & (np.linalg.norm(points - start, axis=1) > 3 * _LEADER_REACH))


def along(line: Array, parts: int = 8) -> Array:
    """Points on a line (n, 2), some between each two of its own, to keep labels off it."""
    if len(line) < 2:
        return line
    at = np.linspace(0, len(line) - 1, (len(line) - 1) * parts + 1)
    return np.column_stack([np.interp(at, np.arange(len(line)), line[:, i]) for i in range(line.shape[1])])


def _meet(one: Array, other: Array) -> bool:
    """Whether two leaders cross: the ends of each lie on different sides of the other."""
    return _side(one, other[0]) != _side(one, other[1]) and _side(other, one[0]) != _side(other, one[1])


def _side(line: Array, point: Array) -> bool:
    (x, y), (u, v) = line[1] - line[0], point - line[0]
    return bool(x * v > y * u)


def _crosses(line: Array, low: Array, high: Array) -> bool:
    """Whether a leader runs through a box, looked at in 24 points."""
    points = line[0] + np.linspace(0, 1, 24)[:, None] * (line[1] - line[0])
    return bool(np.any(np.all((points > low) & (points < high), axis=1)))
