"""Limits, range and misses: thin drawings of what `core_data` worked out."""

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize.report import style
from optimize.report.columns import column, label, typeset
from optimize.report.core_data import LimitData, MissData, RangeData, Strip

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_DENSE = 80  # cores; above it the front is no line to follow, and marks are smaller
_LETTER = 0.07  # [in] no letter of a pick's name is wider, on average


def draw_limits(data: LimitData, headline: str) -> "Figure":
    """Share of cores turned away by each requirement, and the part it alone turns away."""
    rows = max(len(data.names), 1)
    figure = style.new_figure(1.5 + 0.34 * rows + (0.3 if data.idle else 0), headline)
    ax = figure.subplots()
    if data.idle:
        figure.supxlabel(textwrap.fill("Turned nothing away: " + "; ".join(data.idle), 110), fontsize=7.5)
    at = np.arange(len(data.names))
    ax.barh(at, data.share, 0.66, color=style.BAR, label="cores turned away")
    ax.barh(
        at, data.alone, 0.66, color=style.FRONT, hatch="////", edgecolor="white", linewidth=0,
        label="of these, by this alone",
    )
    for y, (share, alone) in enumerate(zip(data.share, data.alone, strict=True)):
        text = f"{share_words(share)} (alone {share_words(alone)})" if alone > 0 else share_words(share)
        ax.annotate(text, (share, y), (4, 0), textcoords="offset points", va="center", fontsize=7.5)
    ax.set_yticks(at, [textwrap.fill(name, 42) for name in data.names])
    ax.set(ylim=(rows - 0.45, -0.55), xlabel=_share_of(data))
    ax.set_xticks(range(0, 101, 20))
    ax.set_xlim(0, max(float(data.share.max(initial=1.0)) * 1.32, 10.0))
    ax.grid(False, axis="y")
    ax.legend(loc="lower right", frameon=False)
    return figure


def _share_of(data: LimitData) -> str:
    which = f"{data.counted:,} cores drawn evenly" if data.drawn else f"all {data.counted:,} cores rated"
    return f"share of {which} [%]"


def share_words(share: float) -> str:
    """A share [%] that never rounds to nothing or to all.

    >>> share_words(90.856), share_words(0.0004), share_words(99.996), share_words(0.0)
    ('90.9 %', '<0.1 %', '>99.9 %', '0 %')
    """
    if share == 0 or share == 100:
        return f"{share:.0f} %"
    if share < 0.1:
        return "<0.1 %"
    return ">99.9 %" if share > 99.9 else f"{share:.1f} %"


def draw_range(data: RangeData, headline: str) -> "Figure":
    """A strip for each variable that changes along the front."""
    heights = [max(0.85, 0.26 * len(strip.names) + 0.2) if strip.names else 1.15 for strip in data.strips]
    note = textwrap.fill("the same in every front core: " + "; ".join(data.same), 100) if data.same else ""
    places = _name_places(data)
    top = 0.18 * (1 + max(level for *_, level in places))
    figure = style.new_figure(1.1 + top + sum(heights) + 0.3 * len(heights) + (0.2 if note else 0), headline)
    if not data.strips:
        ax = figure.subplots()
        ax.set_axis_off()
        ax.text(0, 0.5, note, va="center", transform=ax.transAxes)
        return figure
    panels = figure.subplots(len(heights) + 1, 1, sharex=True, height_ratios=[top, *heights])
    _name_picks(panels[0], places)
    for ax, strip in zip(panels[1:], data.strips, strict=True):
        _strip(ax, data, strip)
    panels[-1].set_xlabel(label(data.title) + (f"\n{note}" if note else ""))
    panels[-1].set_xlim(*_x_view(data))
    return figure


def _strip(ax: "Axes", data: RangeData, strip: Strip) -> None:
    for _, x in data.picks:
        ax.axvline(x, color=style.MODEL, linewidth=0.9, linestyle=(0, (4, 2)), zorder=1)
    dense = len(data.x) > _DENSE
    mark, size = ("|", 9.0) if strip.names and dense else ("s" if strip.names else "o", 2.5 if dense else 4.0)
    look: dict[str, Any] = {"marker": mark, "markersize": size, "linestyle": "none", "alpha": 0.85}
    ax.plot(data.x, strip.values, color=style.FRONT, zorder=4, **look)
    if strip.names:
        ax.set_yticks(range(len(strip.names)), strip.names)
        ax.set_ylim(-0.6, len(strip.names) - 0.4)
    else:
        ax.margins(y=0.14)
        ax.locator_params(axis="y", nbins=7, integer=bool(np.all(strip.values == np.round(strip.values))))
    c = column(strip.title)
    unit = f" [{typeset(c.unit)}]" if c.unit else ""
    ax.set_title(c.name.replace("_", " ") + unit, fontsize=8, pad=3)


def _name_places(data: RangeData) -> list[tuple[str, float, float, int]]:
    """Name, x and middle of each pick's name as shares of the width, and its level: no two names meet."""
    low, high = _x_view(data)
    ends: list[float] = []
    places = []
    for name, x in data.picks:
        at, half = (x - low) / (high - low), (len(name) + 1) * _LETTER / 2 / (0.85 * style.WIDTH)
        middle = min(max(at, half), 1 - half)
        level = next((i for i, end in enumerate(ends) if middle - half > end), len(ends))
        ends[level : level + 1] = [middle + half]
        places.append((name, at, middle, level))
    return places


def _x_view(data: RangeData) -> tuple[float, float]:
    pad = 0.03 * float(np.ptp(data.x)) or 0.05 * abs(float(data.x[0])) or 1.0
    return float(data.x.min()) - pad, float(data.x.max()) + pad


def _name_picks(ax: "Axes", places: list[tuple[str, float, float, int]]) -> None:
    """Names of the picks over their lines, one above another where they would meet."""
    ax.set(ylim=(0.0, 1.0 + max(level for *_, level in places)))
    ax.set_axis_off()
    for name, at, middle, level in places:
        ax.plot(
            [at, at], [0, level + 0.2], color=style.MODEL, linewidth=0.9, linestyle=(0, (4, 2)),
            transform=ax.get_yaxis_transform(), zorder=1,
        )
        ax.text(
            middle, level + 0.5, name, transform=ax.get_yaxis_transform(), color=style.MODEL, fontsize=7.5,
            weight="bold", ha="center", va="center",
            bbox={"boxstyle": "square,pad=0.1", "facecolor": "white", "edgecolor": "none"},
        )


def draw_misses(data: MissData, headline: str) -> "Figure":
    """By how much the nearest misses fail what; nothing is feasible."""
    figure = style.new_figure(1.6 + 0.36 * max(len(data.cores), 2), headline)
    ax = figure.subplots()
    colours = (style.FAILED, style.FRONT, style.MODEL, style.SHOP, style.INK)
    for i, (name, percent) in enumerate(data.missed.items()):
        ax.plot(
            percent, np.arange(len(percent)), marker=style.MARKS[i % len(style.MARKS)], linestyle="none", markersize=6,
            color=colours[i % len(colours)], label=name, clip_on=False, zorder=4,
        )
    names = [f"{core}  ({text})" for core, text in zip(data.cores, data.texts, strict=True)]
    ax.set_yticks(range(len(names)), names)
    ax.set(ylim=(len(names) - 0.5, -0.5), xlabel=(
        "missed by [% of the limit; a temperature: of 50 K; a clearance: of the pocket]"
    ))
    ax.set_xlim(left=0)
    figure.legend(*ax.get_legend_handles_labels(), loc="outside lower left", frameon=False, ncols=2)
    return figure
