"""The front of three objectives: its three pairs, the third coded by the size of the mark, and a key."""

from typing import TYPE_CHECKING

import numpy as np

from optimize.report import style
from optimize.report.columns import column, label, quantity
from optimize.report.figure_data import MODEL_SHARE, FrontData
from optimize.report.front_figure import draw_cloud, draw_limits, draw_outline, set_view
from optimize.report.labels import Note, place
from physics.arrays import Array

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_PAIRS = ((0, 1, 2), (0, 2, 1), (1, 2, 0))
_SMALLEST, _LARGEST = 3.0, 34.0
_LETTERS = "ABCDEFGH"


def draw_front_of_three(data: FrontData, headline: str) -> "Figure":
    """Each pair of objectives in a panel, and the named cores with their values in the fourth."""
    figure = style.new_figure(7.4, headline)
    panels = list(figure.subplots(2, 2).flat)
    for ax, (x, y, third) in zip(panels[:3], _PAIRS, strict=True):
        _panel(ax, data, (x, y), third)
    _key(panels[3], data)
    style.settle(figure)
    for ax, (x, y, _) in zip(panels[:3], _PAIRS, strict=True):
        _letters(ax, data, (x, y))
    return figure


def mark_sizes(values: Array) -> Array:
    """Areas of marks from smallest to largest value."""
    span = np.ptp(values)
    share = (values - values.min()) / span if span > 0 else np.full(values.shape, 0.5)
    return _SMALLEST + (_LARGEST - _SMALLEST) * share


def _panel(ax: "Axes", data: FrontData, pair: tuple[int, int], third: int) -> None:
    set_view(ax, data, pair, data.wide if data.model else data.near)
    ax.scatter(
        data.feasible[:, pair[0]], data.feasible[:, pair[1]], 3, color=style.FEASIBLE, linewidths=0, zorder=1,
        rasterized=True,
    )
    ax.scatter(
        data.front[:, pair[0]], data.front[:, pair[1]], mark_sizes(data.front[:, third]), facecolor="none",
        edgecolor=style.FRONT, linewidths=0.6, zorder=5,
    )
    named = {pick.core for pick in data.picks}
    for cloud in data.shop:
        if cloud.core in named:
            draw_cloud(ax, cloud, pair, 1.6)
    for cloud in data.model:
        draw_outline(ax, cloud, pair)
    for pick, mark in zip(data.picks, style.MARKS[1:], strict=False):
        ax.plot(
            *pick.values[list(pair)], marker=mark, markersize=6.5, color="white", markeredgecolor=style.INK,
            markeredgewidth=1.4, zorder=7,
        )
    draw_limits(ax, data.limits, pair)
    ax.locator_params(axis="x", nbins=6)
    ax.set_title(f"larger ring: more {label(data.titles[third], unit=False)}", fontsize=8, weight="normal")


def _letters(ax: "Axes", data: FrontData, pair: tuple[int, int]) -> None:
    points = np.concatenate([data.front[:, pair], *(pick.values[None, pair] for pick in data.picks)])
    weights = np.concatenate([np.full(len(data.front), 1.0), np.full(len(data.picks), 40.0)])
    notes = [
        Note(letter, (float(pick.values[pair[0]]), float(pick.values[pair[1]])), style.INK, True)
        for letter, pick in zip(_LETTERS, data.picks, strict=False)
    ]
    place(ax, notes, points, weights, 9.0)


def _key(ax: "Axes", data: FrontData) -> None:
    """Named cores, then what each mark means."""
    ax.set_axis_off()
    ax.set(xlim=(0, 1), ylim=(0, 1))
    y, step = 0.99, min(0.14, 0.56 / max(len(data.picks), 1))
    for letter, pick, mark in zip(_LETTERS, data.picks, style.MARKS[1:], strict=False):
        ax.plot(
            0.03, y - 0.025, marker=mark, markersize=6.5, color="white", markeredgecolor=style.INK, markeredgewidth=1.4
        )
        ax.text(0.09, y, f"{letter}  {pick.name}, {pick.core}", va="top", weight="bold", fontsize=8)
        values = [quantity(v, column(t).unit) for v, t in zip(pick.values, data.titles, strict=True)]
        ax.text(0.09, y - 0.055, ", ".join(values), va="top", fontsize=8)
        y -= step
    _legend(ax, data, y - 0.02)


def _legend(ax: "Axes", data: FrontData, y: float) -> None:
    rows = [
        ("o", style.FRONT, f"front, {len(data.front):,} cores"),
        ("o", style.FEASIBLE, f"feasible cores ({data.feasible_words})"),
    ]
    if data.shop:
        rows += [
            (".", style.SHOP, "what the shop controls: a named core\nas it might be built"),
            ("x", style.FAILED, "such a copy that breaks a limit"),
        ]
    for mark, colour, text in rows:
        face = "none" if colour == style.FRONT else colour
        ax.plot(0.03, y - 0.022, marker=mark, color=colour, markersize=5, linestyle="none", markerfacecolor=face)
        ax.text(0.09, y, text, va="top", fontsize=7.5)
        y -= 0.065 + 0.045 * text.count("\n")
    if data.model:
        ax.plot([0.0, 0.06], [y - 0.022] * 2, color=style.MODEL, linewidth=1.1, linestyle=(0, (3, 1.5)))
        share = f"{100 * MODEL_SHARE:.0f} %"
        text = f"what nobody knows yet: {share} of what a named\ncore may turn out to do, as correlations\nhave bands"
        ax.text(0.09, y, text, va="top", fontsize=7.5)
