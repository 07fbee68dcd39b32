"""Fronts of several runs over each other."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from optimize.report import style
from optimize.report.columns import label
from optimize.report.figure_data import LimitLine, padded
from optimize.report.front_figure import draw_limits
from optimize.report.labels import Note, along, place
from physics.arrays import Array

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LINES = ("-", (0, (5, 2)), (0, (1, 1.6)), (0, (5, 1.5, 1, 1.5)))
_COLOURS = (style.FRONT, style.MODEL, style.SHOP_TEXT, style.FAILED, style.SOFT)
_MANY = 60  # cores on a front, beyond which marks are smaller
_ROOM_BELOW = 0.05  # of the height, for labels


@dataclass(frozen=True)
class DrawnFront:
    """The front of one run: objectives (n, k) in display units, names of its cores, its picks."""

    name: str
    values: Array
    cores: tuple[str, ...]
    picks: dict[str, str]

    @property
    def computable(self) -> Array:
        """The rows that have every value."""
        return self.values[np.all(np.isfinite(self.values), axis=1)]


def compare_view(fronts: Sequence[DrawnFront]) -> Array:
    """Lowest and highest of each objective to show, (k, 2); empty where no front has values."""
    points = np.concatenate([front.computable for front in fronts])
    if not len(points):
        return np.empty((0, 2))
    view = padded(points)
    view[-1, 0] -= _ROOM_BELOW * np.ptp(view[-1])
    return view


def write_compare_figure(
    fronts: Sequence[DrawnFront], titles: Sequence[str], limits: tuple[LimitLine, ...], title: str, folder: Path
) -> list[Path]:
    """Draw the fronts into a folder; the files written, none where no front has values."""
    if not len(compare_view(fronts)):
        return []
    with style.house_style():
        return style.save(draw_fronts(fronts, titles, limits, f"{title}: fronts compared"), folder, "compare")


def draw_fronts(
    fronts: Sequence[DrawnFront], titles: Sequence[str], limits: tuple[LimitLine, ...], headline: str
) -> "Figure":
    """The plane of two objectives or the three pairs of three; limits widen it."""
    view, pairs = compare_view(fronts), list(combinations(range(len(titles)), 2))
    figure = style.new_figure(4.9 if len(pairs) == 1 else 7.0, headline)
    panels = [figure.add_subplot()] if len(pairs) == 1 else list(figure.subplots(2, 2).flat)
    for ax, pair in zip(panels, pairs, strict=False):
        _panel(ax, fronts, titles, pair)
        ax.set(xlim=tuple(view[pair[0]]), ylim=tuple(view[pair[1]]))
        draw_limits(ax, limits, pair)
    if len(pairs) > 1:
        panels[-1].set_axis_off()
        panels[-1].legend(*panels[0].get_legend_handles_labels(), loc="upper left", frameon=False)
    style.settle(figure)
    if len(pairs) == 1:
        _names(panels[0], fronts, limits)
    return figure


def _panel(ax: "Axes", fronts: Sequence[DrawnFront], titles: Sequence[str], pair: tuple[int, int]) -> None:
    x, y = pair
    size = 4.5 if max(len(front.cores) for front in fronts) <= _MANY else 3.2
    for i, front in enumerate(fronts):
        values = front.computable[np.argsort(front.computable[:, x], kind="stable")]
        colour = _COLOURS[i % len(_COLOURS)]
        ax.plot(
            values[:, x], values[:, y], color=colour, marker=style.MARKS[i % len(style.MARKS)], markersize=size,
            linewidth=1.3, linestyle=_LINES[i % len(_LINES)] if len(titles) == 2 else "none", label=front.name,
            markerfacecolor="white" if i % 2 else colour, zorder=5 - 0.01 * i,
        )
    ax.set(xlabel=label(titles[x]), ylabel=label(titles[y]))


def _names(ax: "Axes", fronts: Sequence[DrawnFront], limits: tuple[LimitLine, ...]) -> None:
    """Each front's name where it lies farthest from the others, then the cores with a name."""
    lines = [along(front.computable[np.argsort(front.computable[:, 0], kind="stable")]) for front in fronts]
    notes = []
    for i, (front, line) in enumerate(zip(fronts, lines, strict=True)):
        if len(line):
            others = [other for k, other in enumerate(lines) if k != i and len(other)]
            named = [front.values[[front.cores.index(core)]] for core in front.picks.values() if core in front.cores]
            at = _farthest(ax, line, others + named)
            notes.append(Note(front.name, at, _COLOURS[i % len(_COLOURS)], bold=True))
    for front in fronts:
        for core in dict.fromkeys(front.picks.values()):
            row = front.values[front.cores.index(core)] if core in front.cores else np.array([np.nan])
            if np.all(np.isfinite(row)):
                picks = ", ".join(pick for pick, own in front.picks.items() if own == core)
                notes.append(Note(f"{picks}, {core}", (float(row[0]), float(row[1]))))
    there = np.concatenate([*lines, *(_drawn(ax, limit) for limit in limits)])
    place(ax, notes, there, np.ones(len(there)), 7.0, clear=3.0)


def _drawn(ax: "Axes", limit: LimitLine) -> Array:
    """Points on a limit, (64, 2)."""
    along_it = np.linspace(*(ax.get_xlim() if limit.axis else ax.get_ylim()), 64)
    points = np.column_stack([along_it, np.full(64, limit.value)])
    return points if limit.axis else points[:, ::-1]


def _farthest(ax: "Axes", line: Array, others: list[Array]) -> tuple[float, float]:
    """The point of a line that is farthest from all other points on the page; its middle where there are none."""
    at = len(line) // 2
    if others:
        own, rest = ax.transData.transform(line), ax.transData.transform(np.concatenate(others)[:, :2])
        at = int(np.argmax(np.min(np.linalg.norm(own[:, None] - rest[None], axis=2), axis=1)))
    return float(line[at, 0]), float(line[at, 1])
