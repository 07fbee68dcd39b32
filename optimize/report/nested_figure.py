"""The yield of the picks over what nobody knows yet: a thin drawing of what `nested_data` worked out."""

from typing import TYPE_CHECKING, Any

import numpy as np

from optimize.report import style
from optimize.report.copy_data import percent, share_text
from optimize.report.nested_data import DOTS, NestedCore, NestedData, stacked

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_ROW = 1.12  # [in]
_DOT = 1.3  # [points of yield] width of a dot
_TALLEST = 0.46  # of a row, all dots on one another
_RULE: dict[str, Any] = {"color": style.MODEL, "zorder": 3}


def draw_nested(data: NestedData, headline: str) -> "Figure":
    """A strip for each named core: dots of equal chance, P05 .. P95 and median, and the yield as published."""
    rows = len(data.cores)
    figure = style.new_figure(1.45 + _ROW * rows, headline)
    ax = figure.subplots()
    for row, core in enumerate(data.cores):
        _strip(ax, core, row)
    lowest = min((float(core.yields[0]) for core in data.cores), default=0.0)
    left = max(0.0, 10 * np.floor(lowest / 10) - 10)
    ax.set_yticks([row + 0.05 for row in range(rows)], [_name(core) for core in data.cores])
    ax.tick_params(axis="y", length=0)
    ax.set(
        xlim=(left - 0.02 * (100 - left), 100 + 0.05 * (100 - left)), ylim=(rows - 0.5, -0.6),
        xlabel=f"yield ({data.kind}): copies that meet every limit [%]",
    )
    ax.grid(False, axis="y")
    ax.set_title(_said(data), weight="normal", fontsize=8)
    return figure


def _said(data: NestedData) -> str:
    return (
        f"Each dot is one chance in {DOTS} that the yield turns out so; ticks: all {data.models} draws of the "
        "correlations' bands.\nOne of them is the truth and holds for every core built: this is not scatter from core "
        "to core.\nTriangle: the yield with the correlations as rated, with its exact interval."
    )


def _name(core: NestedCore) -> str:
    return f"{core.name.replace(', ', chr(10))}\n{core.core}" if core.name else core.core


def _strip(ax: "Axes", core: NestedCore, row: int) -> None:
    """One core: everything above its base line is the dots, everything under it the numbers."""
    places, heights = stacked(core.dots, _DOT)
    step = min(_TALLEST / max(float(heights.max()) + 1, 1), 0.05)
    ax.plot(
        places, row - 0.05 - step * heights, marker="o", markersize=3.6, linestyle="none", color=style.MODEL_FILL,
        markeredgecolor=style.MODEL, markeredgewidth=0.7, zorder=4, clip_on=False,
    )
    ax.vlines(core.yields, row + 0.02, row + 0.09, color=style.MODEL, linewidth=0.5, zorder=3)
    low, middle, high = core.spread.low, core.spread.middle, core.spread.high
    ax.plot([low, high], [row + 0.17] * 2, linewidth=2.2, solid_capstyle="butt", **_RULE)
    ax.plot([low, low, np.nan, high, high], [row + 0.13, row + 0.21, np.nan, row + 0.13, row + 0.21], **_RULE)
    ax.plot(
        middle, row + 0.17, marker="D", markersize=5, color="white", markeredgecolor=style.MODEL, markeredgewidth=1.3,
        zorder=5,
    )
    _numbers(ax, core, row)


def _numbers(ax: "Axes", core: NestedCore, row: int) -> None:
    """P05, P50 and P95 in one text at the right or left of what it speaks of; under it the yield as published."""
    ends = core.spread
    text = f"P05 {percent(ends.low)} %,  P50 {percent(ends.middle)} %,  P95 {percent(ends.high)} %"
    if core.as_published is not None:
        ax.plot(
            core.as_published.value, row + 0.275, marker="^", markersize=5.5, color=style.FRONT, zorder=6, clip_on=False
        )
        text += f";   as rated {share_text(core.as_published)}"
    ax.annotate(
        text, (0.985, row + 0.33), xycoords=("axes fraction", "data"), ha="right", va="top", fontsize=7.5,
        color=style.INK,
    )
