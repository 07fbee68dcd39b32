"""Fronts of several runs over each other, and a range of cores over one front."""

from collections.abc import Sequence
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import numpy as np

from optimize.report import style
from optimize.report.columns import label
from optimize.report.labels import Note, place
from physics.arrays import Array

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_LINES = ("-", (0, (5, 2)), (0, (1, 1.6)), (0, (5, 1.5, 1, 1.5)))
_COLOURS = (style.FRONT, style.MODEL, style.SHOP, style.SOFT, style.FAILED)


class _Front(Protocol):
    """What is drawn of a run: its name, objectives (n, k), the cores' names, and those with a name by it."""

    @property
    def name(self) -> str: ...
    @property
    def values(self) -> Array: ...
    @property
    def cores(self) -> tuple[str, ...]: ...
    @property
    def picks(self) -> dict[str, str]: ...


def write_compare_figure(
    fronts: Sequence[_Front], titles: Sequence[str], title: str, folder: Path
) -> list[Path]:
    """Draw the fronts into a folder, the pairs of objectives where there are three; the files written."""
    pairs = list(combinations(range(len(titles)), 2))
    with style.house_style():
        figure = style.new_figure(4.9 if len(pairs) == 1 else 3.5, f"{title}: fronts compared")
        panels = np.ravel(figure.subplots(1, len(pairs)))
        for ax, pair in zip(panels, pairs, strict=True):
            _panel(ax, fronts, titles, pair)
        handles, names = panels[0].get_legend_handles_labels()
        figure.legend(handles, names, loc="outside lower center", ncols=2, frameon=False)
        style.settle(figure)
        if len(pairs) == 1:
            _names(panels[0], fronts)
        return style.save(figure, folder, "compare")


def _panel(ax: "Axes", fronts: Sequence[_Front], titles: Sequence[str], pair: tuple[int, int]) -> None:
    x, y = pair
    for i, front in enumerate(fronts):
        values = front.values[np.argsort(front.values[:, x], kind="stable")]
        ax.plot(
            values[:, x], values[:, y], color=_COLOURS[i % len(_COLOURS)], marker=style.MARKS[i % len(style.MARKS)],
            markersize=4.5, linewidth=1.3, linestyle=_LINES[i % len(_LINES)] if len(titles) == 2 else "none",
            label=front.name, markerfacecolor="white" if i % 2 else _COLOURS[i % len(_COLOURS)],
        )
    ax.set(xlabel=label(titles[x]), ylabel=label(titles[y]))
    ax.margins(0.1)


def _names(ax: "Axes", fronts: Sequence[_Front]) -> None:
    notes, points = [], []
    for front in fronts:
        points.append(front.values[:, :2])
        for core in dict.fromkeys(front.picks.values()):
            if core in front.cores:
                at = front.values[front.cores.index(core)]
                named = ", ".join(pick for pick, c in front.picks.items() if c == core)
                if np.all(np.isfinite(at)):
                    notes.append(Note(f"{named}, {core}", (float(at[0]), float(at[1]))))
    there = np.concatenate(points)
    there = there[np.all(np.isfinite(there), axis=1)]
    place(ax, notes, there, np.ones(len(there)), 7.0, clear=3.0)


def write_range_figure(
    front: Array, chosen: dict[str, Array], titles: Sequence[str], headline: str, folder: Path
) -> list[Path]:
    """Draw a front (n, k) and the cores of a range by their names into a folder; the files written."""
    pairs = list(combinations(range(len(titles)), 2))
    with style.house_style():
        figure = style.new_figure(4.7 if len(pairs) == 1 else 3.4, headline)
        panels = np.ravel(figure.subplots(1, len(pairs)))
        for ax, (x, y) in zip(panels, pairs, strict=True):
            line = "-" if len(pairs) == 1 else "none"
            ax.plot(front[:, x], front[:, y], color=style.SOFT, lw=1.0, marker="o", markersize=3.4, linestyle=line)
            for mark, at in zip(style.MARKS[1:], chosen.values(), strict=False):
                ax.plot(at[x], at[y], marker=mark, markersize=9, color=style.FRONT, markeredgecolor="white", zorder=5)
            ax.set(xlabel=label(titles[x]), ylabel=label(titles[y]))
            ax.margins(0.1)
        style.settle(figure)
        for ax, (x, y) in zip(panels, pairs, strict=True):
            notes = [Note(name, (float(at[x]), float(at[y]))) for name, at in chosen.items()]
            place(ax, notes, front[:, [x, y]], np.ones(len(front)), 7.5, clear=4.0)
        return style.save(figure, folder, "range")
