"""A range of cores over the front it covers, and what sharing parts costs."""

from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize.report import style
from optimize.report.columns import label
from optimize.report.labels import Note, along, place
from physics.arrays import Array

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_RING: dict[str, Any] = {
    "marker": "o", "markersize": 10.5, "markerfacecolor": "none", "markeredgecolor": style.MODEL, "zorder": 4,
}


@dataclass(frozen=True)
class DrawnRange:
    """What is drawn: objectives (n, k) in display units.

    Attributes
    ----------
    front, behind : of the cores it was chosen from.
    free, chosen : of the best unshared set and of the range; `names` of the latter.
    levels : (l, 2) number of different parts and cover [%]; `at` the one chosen.
    """

    title: str
    titles: tuple[str, ...]
    front: Array
    behind: Array
    free: Array
    chosen: Array
    names: tuple[str, ...]
    levels: Array
    at: int


def write_range_figure(data: DrawnRange, folder: Path) -> list[Path]:
    """Draw a range into a folder; the files written."""
    with style.house_style():
        return style.save(draw_range(data), folder, "range")


def draw_range(data: DrawnRange) -> "Figure":
    """The plane of two objectives or the three pairs of three, and what sharing costs."""
    pairs = list(combinations(range(len(data.titles)), 2))
    figure = style.new_figure(4.6 if len(pairs) == 1 else 7.0, f"{data.title}: a range of {len(data.chosen)} cores")
    if len(pairs) == 1:
        panels = list(figure.subplots(1, 2, width_ratios=(2.2, 1.0)))
    else:
        panels = list(figure.subplots(2, 2).flat)
    for ax, pair in zip(panels, pairs, strict=False):
        _panel(ax, data, pair)
    _trade(panels[-1], data)
    handles, names = panels[0].get_legend_handles_labels()
    figure.legend(handles, names, loc="outside lower left", ncols=4, frameon=False, fontsize=7.5)
    style.settle(figure)
    for ax, pair in zip(panels, pairs, strict=False):
        _names(ax, data, pair)
    _count(panels[-1], data)
    return figure


def _panel(ax: "Axes", data: DrawnRange, pair: tuple[int, int]) -> None:
    x, y = pair
    line = "-" if len(data.titles) == 2 else "none"
    ax.plot(
        data.front[:, x], data.front[:, y], color=style.SOFT, linewidth=1.0, marker="o", markersize=3.0, linestyle=line,
        zorder=3, label="front",
    )
    ax.margins(0.12)
    view = ax.get_xlim(), ax.get_ylim()
    ax.plot(
        data.behind[:, x], data.behind[:, y], color=style.FEASIBLE, marker="o", markersize=2.2, linestyle="none",
        zorder=1, label="tried behind it",
    )
    ax.plot(data.free[:, x], data.free[:, y], linestyle="none", label="best without sharing", **_RING)
    ax.plot(
        data.chosen[:, x], data.chosen[:, y], color=style.FRONT, marker="D", markersize=6, linestyle="none", zorder=5,
        label="the range",
    )
    ax.set(xlabel=label(data.titles[x]), ylabel=label(data.titles[y]), xlim=view[0], ylim=view[1])


def _names(ax: "Axes", data: DrawnRange, pair: tuple[int, int]) -> None:
    """The cores of the range; one that has several places is named once."""
    places: dict[tuple[float, float], list[str]] = {}
    for name, row in zip(data.names, data.chosen[:, pair], strict=True):
        places.setdefault((float(row[0]), float(row[1])), []).append(name)
    notes = [Note("\n".join(names), at, bold=True) for at, names in places.items()]
    marks = np.concatenate([data.chosen[:, pair], data.free[:, pair]])
    line = along(data.front[:, pair]) if len(data.titles) == 2 else data.front[:, pair]
    weights = np.concatenate([np.full(len(marks), 8.0), np.ones(len(line))])
    place(ax, notes, np.concatenate([marks, line]), weights, 7.5, clear=3.0)


def _trade(ax: "Axes", data: DrawnRange) -> None:
    parts, cover = data.levels.T
    ax.plot(parts, cover, color=style.SOFT, marker="o", markersize=4, linewidth=1.0, zorder=3)
    ax.plot(parts[-1:], cover[-1:], linestyle="none", **_RING)
    ax.plot(parts[data.at], cover[data.at], color=style.FRONT, marker="D", markersize=6, zorder=5)
    ax.set(xlabel="different parts", ylabel="cover [%]")
    ax.set_title("What sharing costs")
    ax.margins(0.2)
    ax.set_xticks(np.arange(parts.min(), parts.max() + 1, 1 + (np.ptp(parts) > 8)))


def _count(ax: "Axes", data: DrawnRange) -> None:
    parts, cover = (float(v) for v in data.levels[data.at])
    note = Note(f"{parts:.0f} parts, {cover:.1f} %", (parts, cover), bold=True)
    points = along(data.levels) if len(data.levels) > 1 else data.levels
    place(ax, [note], points, np.ones(len(points)), 7.5, clear=3.0)
