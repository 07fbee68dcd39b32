"""Figures of a rerun: the front before and after with the fate of every old core, and what each change is worth."""

from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize.report import style
from optimize.report.columns import label, requirement_words, typeset
from optimize.report.front_figure import draw_limits
from optimize.report.labels import Note, along, place
from optimize.report.rerun_data import BEATEN, DIES, NOTHING, REPAIRED, STAYS, RerunData, Worth

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Pair = tuple[int, int]

_OPEN = {"color": "white", "markersize": 5.5, "markeredgewidth": 1.3}
_MARKS: dict[str, dict[str, Any]] = {
    STAYS: {"marker": "o", "color": style.FRONT, "markersize": 5.0},
    BEATEN: {"marker": "v", "markeredgecolor": style.MODEL, **_OPEN},
    REPAIRED: {"marker": "D", "markeredgecolor": style.SHOP, **_OPEN},
    DIES: {"marker": "x", "color": style.FAILED, "markersize": 6.0, "markeredgewidth": 1.6},
}
_COLUMNS = 3


def draw_before_after(data: RerunData, headline: str) -> "Figure":
    """One plane for two objectives, their pairs for three."""
    pairs = list(combinations(range(len(data.titles)), 2))
    figure = style.new_figure(4.9 if len(pairs) == 1 else 3.4, headline)
    panels = np.ravel(figure.subplots(1, len(pairs)))
    for ax, pair in zip(panels, pairs, strict=True):
        _panel(ax, data, pair)
    handles, names = panels[0].get_legend_handles_labels()
    figure.legend(handles, names, loc="outside lower center", ncols=min(len(names), 6), frameon=False, fontsize=7.5)
    style.settle(figure)
    if len(pairs) == 1:
        _names(panels[0], data)
    return figure


def _panel(ax: "Axes", data: RerunData, pair: Pair) -> None:
    x, y = pair
    line = len(data.titles) == 2
    ax.set(xlabel=label(data.titles[x]), ylabel=label(data.titles[y]))
    ax.set(xlim=tuple(data.view[x]), ylim=tuple(data.view[y]))
    if line and data.old:
        before = np.stack([core.before for core in data.old])
        before = before[np.argsort(before[:, 0], kind="stable")]
        ax.plot(before[:, x], before[:, y], color=style.SOFT, linewidth=1.0, linestyle=(0, (4, 2)), zorder=2,
                label="front before")
    for fate, marks in _MARKS.items():
        points = np.array([core.before for core in data.old if core.fate == fate]).reshape(-1, len(data.titles))
        if len(points):
            ax.plot(points[:, x], points[:, y], linestyle="none", zorder=4, label=f"before: {fate}", **marks)
    ax.plot(
        data.front[:, x], data.front[:, y], color=style.FRONT, linewidth=1.6, marker="s", markersize=3.2,
        linestyle="-" if line else "none", zorder=5, label="front now",
    )
    draw_limits(ax, data.limits, pair)


def _names(ax: "Axes", data: RerunData) -> None:
    """Picks of the new front, and old ones with their fate."""
    notes = [Note(f"{name}, {core}", (float(at[0]), float(at[1]))) for name, core, at in data.names]
    notes += [
        Note(f"was {core.pick}: {core.fate}", (float(core.before[0]), float(core.before[1])))
        for core in data.old if core.pick and np.all(np.isfinite(core.before))
    ]
    line = along(data.front[:, :2]) if len(data.front) > 1 else data.front[:, :2]
    old = np.array([core.before[:2] for core in data.old]).reshape(-1, 2)
    points = np.concatenate([old[np.all(np.isfinite(old), axis=1)], line])
    place(ax, notes, points, np.ones(len(points)), 7.0, clear=3.0)


def draw_worth(data: RerunData, headline: str) -> "Figure":
    """A small plane for each dimension and limit: the hypervolume over what it is changed by."""
    worths = moving(data)
    rows = -(-len(worths) // _COLUMNS)
    figure = style.new_figure(0.7 + 1.75 * rows, headline)
    panels = list(np.ravel(figure.subplots(rows, _COLUMNS, squeeze=False)))
    ends = [v for worth in worths for v in worth.hypervolume - 100 if np.isfinite(v) and v > -100]
    low, high = min([*ends, -1.0]), max([*ends, 1.0])
    view = low - 0.15 * (high - low), high + 0.08 * (high - low)
    for ax, worth in zip(panels, worths, strict=False):
        _worth(ax, worth, view[0] + 0.05 * (view[1] - view[0]))
        ax.set_ylim(*view)
    for ax in panels[len(worths) :]:
        ax.set_axis_off()
    for i in range(0, len(worths), _COLUMNS):
        panels[i].set_ylabel("hypervolume [%]", fontsize=7.5)
    return figure


def moving(data: RerunData) -> tuple[Worth, ...]:
    """What changes anything; if nothing does, everything."""
    moved = tuple(worth for worth in data.worths if np.any(np.abs(worth.hypervolume - 100) > NOTHING))
    return moved or data.worths


def _worth(ax: "Axes", worth: Worth, floor: float) -> None:
    """A line over the changes; crosses at the `floor` where no core is left."""
    ax.axhline(0, color=style.RULE, linewidth=0.8, zorder=1)
    ax.axvline(0, color=style.RULE, linewidth=0.8, zorder=1)
    left = worth.hypervolume > 0
    ax.plot(
        worth.by[left], worth.hypervolume[left] - 100, color=style.FRONT, marker="o", markersize=3.2, linewidth=1.2,
        zorder=3,
    )
    if np.any(~left):
        ax.plot(worth.by[~left], np.full(np.sum(~left), floor), linestyle="none", **_MARKS[DIES])
        at = float(worth.by[~left].max())
        ax.annotate("none left", (at, floor), (6, 0), textcoords="offset points", va="center", fontsize=7,
                    color=style.FAILED)
    ax.set_title(requirement_words(worth.what.removeprefix("limit: ")), fontsize=7.5, weight="normal")
    ax.set_xlabel(f"changed by [{typeset(worth.unit)}]", fontsize=7.5)
    ax.tick_params(labelsize=7)
