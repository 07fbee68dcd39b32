"""The tornado: which tolerance of a core moves what, a thin drawing of what `tornado_data` worked out."""

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize.report import style
from optimize.report.columns import number
from optimize.report.tornado_data import TornadoData, TornadoPanel, index_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_ROW = 0.34  # [in]
_BAR = 0.36  # of a row; the bars of both ends lie under each other
_ROOM = 0.62  # of the largest effect, for its number, on either side
_ENDS: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("at_low", "dimension at the low end of its tolerance", {
        "color": style.BAR, "hatch": "/////", "edgecolor": "white", "linewidth": 0,
    }),
    ("at_high", "at the high end", {"color": style.FRONT, "linewidth": 0}),
)


def draw_tornado(data: TornadoData, headline: str) -> "Figure":
    """A panel for each output, its largest tolerances on top."""
    lines = (len(data.panels) + 1) // 2
    counts = [max(len(panel.rows) for panel in data.panels[2 * i : 2 * i + 2]) for i in range(lines)]
    heights = [_ROW * max(count, 1) + 0.75 for count in counts]
    figure = style.new_figure(0.8 + sum(heights), headline)
    grid = figure.add_gridspec(lines + 1, 2, height_ratios=[0.2, *heights])
    axes = [figure.add_subplot(grid[1 + i // 2, i % 2]) for i in range(len(data.panels))]
    for i, (ax, panel) in enumerate(zip(axes, data.panels, strict=True)):
        _panel(ax, panel, counts[i // 2])
    key = figure.add_subplot(grid[0, :])
    key.set_axis_off()
    key.legend(
        *axes[0].get_legend_handles_labels(), loc="center left", bbox_to_anchor=(0.0, 0.5), frameon=False, ncols=2,
        borderaxespad=0.0,
    )
    figure.supxlabel(_said(data), fontsize=7.5)
    return figure


def _said(data: TornadoData) -> str:
    if not data.has_totals:
        text = "Bars: each dimension alone at either end of its tolerance, all others nominal."
        return f"{text}\n{textwrap.fill(f'No shares of the scatter: {data.refused}', 110)}" if data.refused else text
    return (
        "Bars: each dimension alone at either end of its tolerance, all others nominal. At the right, where worked "
        f"out:\nits share of the output's scatter from core to core (total Sobol' index), "
        f"{100 * data.confidence:.4g} % interval. Shares add up to\nmore than all where dimensions act together."
    )


def _panel(ax: "Axes", panel: TornadoPanel, rows: int) -> None:
    largest = max((row.size for row in panel.rows), default=0.0) or 1.0
    for (end, words, look), shift in zip(_ENDS, (-_BAR / 2, _BAR / 2), strict=True):
        values = np.array([getattr(row, end) for row in panel.rows])
        ax.barh(np.arange(len(values)) + shift, values, _BAR, label=words, zorder=3, **look)
        for y, value in enumerate(values):
            _number(ax, float(value), y + shift, largest)
    ax.axvline(0, color=style.INK, linewidth=0.9, zorder=4)
    ax.set_yticks(range(len(panel.rows)), [f"{r.name}\n{r.half_width}" if r.half_width else r.name for r in panel.rows])
    ax.tick_params(axis="y", length=0, labelsize=7)
    # Panels beside each other keep their rows level.
    ax.set(xlim=(-(1 + _ROOM) * largest, (1 + _ROOM) * largest), ylim=(rows - 0.35, -0.55))
    ax.locator_params(axis="x", nbins=4)
    ax.grid(False, axis="y")
    ax.spines["left"].set_visible(False)
    ax.set_xlabel(_axis_words(panel), fontsize=7.5)
    ax.set_title(f"{panel.output}\n{panel.limit or 'no limit'}", fontsize=8, pad=4)
    _totals(ax, panel)


def _axis_words(panel: TornadoPanel) -> str:
    text = f"change from nominal [{panel.unit}]" if panel.unit else "change from nominal"
    if panel.others and panel.others_size > 0:
        text += f"; {panel.others} more: at most {number(panel.others_size, 2)}"
    return text


def _number(ax: "Axes", value: float, y: float, largest: float) -> None:
    if abs(value) < 1e-3 * largest:
        return
    right = value > 0
    ax.annotate(
        f"{'+' if right else '−'}{number(abs(value), 2)}", (value, y), (3 if right else -3, 0),
        textcoords="offset points", ha="left" if right else "right", va="center", fontsize=6.5,
    )


def _totals(ax: "Axes", panel: TornadoPanel) -> None:
    """Shares of the scatter in a column at the right."""
    if all(row.total is None for row in panel.rows):
        return
    for y, row in enumerate(panel.rows):
        if row.total is not None:
            ax.annotate(
                index_text(row.total).replace(" (", "\n("), (1.02, y), xycoords=("axes fraction", "data"), va="center",
                fontsize=7, linespacing=1.05,
            )
