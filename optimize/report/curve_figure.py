"""Trade-off curves around the knee: a column for each variable, a row for each quantity, a line for each duty point."""

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize.report import style
from optimize.report.columns import column, label, typeset
from optimize.report.curve_data import CurveData, CurveRow, curve_view

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PER_FIGURE = 3
_SHORT = {
    "heat_rejected": "cooling", "air_outlet_temperature": "air outlet", "air_pressure_drop": "air loss",
    "coolant_pressure_drop": "coolant loss", "filled_mass": "filled mass",
    "d air_pressure_drop/d heat_rejected": "price: air loss\nper extra cooling",
}


def draw_curves(curves: tuple[CurveData, ...], headline: str) -> "Figure":
    """At most `PER_FIGURE` sets of curves side by side."""
    rows = curves[0].rows
    figure = style.new_figure(1.3 + 1.28 * len(rows), headline)
    panels = figure.subplots(len(rows), len(curves), sharex="col", sharey="row", squeeze=False)
    for at, curve in enumerate(curves):
        for ax, row in zip(panels[:, at], curve.rows, strict=True):
            _panel(ax, curve, row)
        panels[-1, at].set_xlabel(_foot(curve, 100 // len(curves)))
        _head(panels[0, at], curve)
    for ax, row in zip(panels[:, 0], rows, strict=True):
        unit = column(row.title).unit
        ax.set_ylabel(_SHORT[column(row.title).name] + (f"\n[{typeset(unit)}]" if unit else ""))
        ax.set_ylim(*curve_view(tuple(r for c in curves for r in c.rows if r.title == row.title)))
    for ax, row in zip(panels.flat, [row for row in rows for _ in curves], strict=True):
        _limits(ax, row)
    figure.align_ylabels(panels[:, 0])
    _legend(figure, panels[0, 0])
    return figure


def _panel(ax: "Axes", curve: CurveData, row: CurveRow) -> None:
    for low, high in curve.spans:
        ax.axvspan(low, high, facecolor="#eceef1", edgecolor="#c9ced5", hatch="////", linewidth=0, zorder=0)
    if np.isfinite(curve.own):
        ax.axvline(curve.own, color=style.MODEL, linewidth=0.9, linestyle=(0, (4, 2)), zorder=2)
    for i, (name, values) in enumerate(row.lines.items()):
        look = _look(i, len(row.lines))
        ax.plot(curve.x, values, label=name.replace("_", " "), zorder=4, **look)
        ax.plot(curve.own, np.interp(curve.own, curve.x, values), marker="D", markersize=4.5, color="white",
                markeredgecolor=look["color"], markeredgewidth=1.2, zorder=5)
    if row.title.startswith("d "):
        ax.axhline(0, color=style.SOFT, linewidth=0.8, zorder=1)
    ax.margins(x=0.02)


def _look(i: int, of: int) -> dict[str, Any]:
    """Line styles for a few lines; more are told apart by marks as well."""
    look = {"color": style.DUTY_COLOURS[i % 4], "linestyle": style.DUTY_LINES[i % 4]}
    return look if of <= len(style.DUTY_LINES) else look | {"marker": style.MARKS[i], "markevery": 0.2}


def _limits(ax: "Axes", row: CurveRow) -> None:
    low, high = ax.get_ylim()
    for value, text in row.limits:
        if low <= value <= high:
            style.limit_line(ax, value, text, end=0.95)


def _foot(curve: CurveData, width: int) -> str:
    title = label(curve.title)
    if not curve.broken:
        return title
    return title + "\n" + textwrap.fill("shaded: breaks " + "; ".join(curve.broken), width)


def _head(ax: "Axes", curve: CurveData) -> None:
    if not np.isfinite(curve.own):
        ax.set_title(curve.heading, fontsize=8)
        return
    share = (curve.own - curve.x[0]) / max(curve.x[-1] - curve.x[0], 1e-12)
    side = "left" if share < 0.2 else "right" if share > 0.8 else "center"
    ax.annotate(
        curve.heading, (curve.own, 1.0), (0, 3), xycoords=("data", "axes fraction"), textcoords="offset points",
        ha=side, va="bottom", color=style.MODEL, fontsize=7.5, weight="bold",
    )


def _legend(figure: "Figure", ax: "Axes") -> None:
    handles, names = ax.get_legend_handles_labels()
    if any(names):
        columns = 3 if len(names) > 4 else 4
        figure.legend(handles, names, loc="outside lower center", ncols=columns, frameon=False, handlelength=3.2)
