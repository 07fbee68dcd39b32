"""Heat soak: temperatures and ice over the schedule, and what a larger reservoir or more ice buys."""

from typing import TYPE_CHECKING, Any

import numpy as np

from optimize.report import style
from optimize.report.columns import column, label, typeset
from optimize.report.end_labels import label_ends
from optimize.report.labels import Note, place
from optimize.report.soak_data import GainPanel, SoakData, SoakTrace

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_PULL: dict[str, Any] = {"facecolor": "#f3e7dc", "edgecolor": "none", "zorder": 0}
_ROOM = 0.28  # of the time shown, to the right of it, for the names of the lines
_LINES: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("charge", "charge", {"color": style.FAILED, "linewidth": 1.7, "linestyle": "-"}),
    ("coolant", "coolant into the core", {"color": style.FRONT, "linewidth": 1.2, "linestyle": "-"}),
    ("reservoir", "reservoir", {"color": style.SHOP, "linewidth": 1.4, "linestyle": (0, (5, 2))}),
)


def draw_soak(data: SoakData, headline: str) -> "Figure":
    """A panel of temperatures for each core, one of the ice under them."""
    rows = len(data.traces)
    heights = [2.5 if rows == 1 else 1.85] * rows + ([1.25] if data.has_ice else [])
    figure = style.new_figure(0.9 + sum(heights) + (0.3 if data.has_ice and rows > 1 else 0.0), headline)
    axes = list(figure.subplots(len(heights), 1, sharex=True, squeeze=False, height_ratios=heights).flat)
    low, high = _temperatures(data)
    for ax, trace in zip(axes, data.traces, strict=False):
        _temperature_panel(ax, data, trace, rows > 1)
        ax.set_ylim(low, high)
        style.limit_line(ax, data.limit, data.limit_text, end=0.985)
    if data.has_ice:
        _ice_panel(axes[-1], data)
    first, last = data.traces[0].time[0], data.traces[0].time[-1]
    axes[-1].set(xlabel=label(data.time_title) + "; shaded: pulls", xlim=(first, last + _ROOM * (last - first)))
    figure.align_ylabels(axes)
    if data.has_ice and rows > 1:
        figure.legend(*axes[-1].get_legend_handles_labels(), loc="outside lower center", ncols=3, frameon=False,
                      handlelength=3.2)
    style.settle(figure)
    for ax, trace in zip(axes, data.traces, strict=False):
        _label_lines(ax, data, trace)
    return figure


def _temperatures(data: SoakData) -> tuple[float, float]:
    """Lowest and highest temperature of all cores, the limit among them."""
    values = np.concatenate([getattr(trace, name) for trace in data.traces for name, *_ in _LINES])
    low, high = min(float(np.nanmin(values)), data.limit), max(float(np.nanmax(values)), data.limit)
    pad = 0.1 * (high - low) or 1.0
    return low - pad, high + 1.4 * pad


def _temperature_panel(ax: "Axes", data: SoakData, trace: SoakTrace, titled: bool) -> None:
    _shade(ax, data)
    for name, _, look in _LINES:
        ax.plot(trace.time, getattr(trace, name), zorder=4, **look)
    ax.set_ylabel(f"temperature\n[{typeset(data.unit)}]")
    if titled or trace.name:
        ax.set_title(f"{trace.name}: hottest charge {trace.hottest:.1f} {typeset(data.unit)}", fontsize=8, pad=3)


def _shade(ax: "Axes", data: SoakData) -> None:
    for low, high in data.pulls:
        ax.axvspan(low, high, **_PULL)


def _ice_panel(ax: "Axes", data: SoakData) -> None:
    _shade(ax, data)
    for i, trace in enumerate(data.traces):
        ax.plot(
            trace.time, trace.ice, color=style.DUTY_COLOURS[i % 4], linestyle=style.DUTY_LINES[i % 4], label=trace.name,
            linewidth=1.3, zorder=4,
        )
    ax.set_ylabel(f"ice left\n[{typeset(column(data.ice_title).unit)}]")
    ax.set_ylim(0, 1.1 * max(float(np.nanmax(trace.ice)) for trace in data.traces))


def _label_lines(ax: "Axes", data: SoakData, trace: SoakTrace) -> None:
    """Coolant and reservoir at their ends; the charge, which ends with the last pull, where it is hottest."""
    boxes = [text.get_window_extent() for text in ax.texts]
    colours = {"coolant": style.FRONT, "reservoir": style.SHOP_TEXT}
    notes = [
        Note(text, (float(trace.time[-1]), float(getattr(trace, name)[-1])), colours[name])
        for name, text, _ in _LINES if name in colours
    ]
    label_ends(ax, notes, taken=[float(box.y0 + box.y1) / 2 for box in boxes])
    if np.isfinite(trace.hottest):
        i = int(np.nanargmax(trace.charge))
        lines = [np.column_stack([trace.time, getattr(trace, name)]) for name, *_ in _LINES]
        limit = np.column_stack([np.linspace(*ax.get_xlim(), 200), np.full(200, data.limit)])
        points = np.concatenate([*lines, limit])
        points = points[np.all(np.isfinite(points), axis=1)]
        note = Note("charge", (float(trace.time[i]), float(trace.charge[i])), style.FAILED)
        place(ax, [note], points, np.full(len(points), 3.0), clear=2.0)


def draw_soak_gains(panels: tuple[GainPanel, ...], headline: str) -> "Figure":
    """Over litres of reservoir and kilograms of ice: seconds under the limit above, the hottest charge below."""
    figure = style.new_figure(5.4, headline)
    axes = figure.subplots(2, len(panels), sharex="col", sharey="row", squeeze=False, height_ratios=(1.35, 1.0))
    for (seconds, hottest), panel in zip(axes.T, panels, strict=True):
        _gain_panel(seconds, panel, "under_limit")
        _gain_panel(hottest, panel, "hottest")
        _own_amount(seconds, hottest, panel)
        hottest.set_xlabel(label(panel.title))
    longest = max(float(np.nanmax(line.under_limit)) for panel in panels for line in panel.lines)
    axes[0, 0].set_ylim(0, 1.12 * max(longest, 1.0))
    axes[1, 0].margins(y=0.2)
    axes[0, 0].set_ylabel(f"time under the\ncharge limit [{typeset(column(panels[0].time_title).unit)}]")
    axes[1, 0].set_ylabel(f"hottest charge [{typeset(column(panels[0].hottest_title).unit)}]")
    figure.align_ylabels(axes[:, 0])
    style.settle(figure)
    for ax, panel in zip(axes[0], panels, strict=True):
        label_ends(ax, [
            Note(line.name, (float(line.amount[-1]), float(line.under_limit[-1])), style.DUTY_COLOURS[i % 4])
            for i, line in enumerate(panel.lines)
        ], 7.0)
    return figure


def _gain_panel(ax: "Axes", panel: GainPanel, values: str) -> None:
    for i, line in enumerate(panel.lines):
        ax.plot(
            line.amount, getattr(line, values), color=style.DUTY_COLOURS[i % 4], linestyle=style.DUTY_LINES[i % 4],
            marker=style.MARKS[i % len(style.MARKS)], markersize=3.5, linewidth=1.2, zorder=4,
        )
    low = min(float(line.amount[0]) for line in panel.lines)
    high = max(float(line.amount[-1]) for line in panel.lines)
    longest = max(len(line.name) for line in panel.lines)
    span = high - low or 1.0
    ax.set(xlim=(low - 0.04 * span, high + span * min(1.2, 0.1 + 0.035 * longest)))
    ax.locator_params(axis="x", nbins=7)


def _own_amount(above: "Axes", below: "Axes", panel: GainPanel) -> None:
    """What the study has, where the table tells."""
    if not np.isfinite(panel.own):
        return
    for ax in (above, below):
        ax.axvline(panel.own, color=style.MODEL, linewidth=0.9, linestyle=(0, (4, 2)), zorder=2)
    above.annotate(
        f"study: {panel.own:.4g} {typeset(column(panel.title).unit)}", (panel.own, 1.0), (0, 3),
        xycoords=("data", "axes fraction"), textcoords="offset points", ha="center", va="bottom", color=style.MODEL,
        fontsize=7.5, weight="bold",
    )
