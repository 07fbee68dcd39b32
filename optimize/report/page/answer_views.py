"""Plots behind the linked views: what limits what, trade-off curves, net gain, what to tighten."""

from typing import Any

import numpy as np

from optimize.report.columns import label, words
from optimize.report.core_data import LimitData, limit_data
from optimize.report.curve_data import CURVE_ROWS, CurveData, CurveRow, curve_data, curve_view
from optimize.report.net_gain_data import has_net_gain, net_gain_data
from optimize.report.page.front_source import FrontSource
from optimize.report.page.packing import numbers
from optimize.report.page.plain_text import one_line
from optimize.report.page.plots import (
    SMALL,
    hover,
    legend_above,
    limit_lines,
    lines,
    named_ticks,
    new_plot,
    painted,
    view_range,
)
from optimize.report.page.views import said
from optimize.report.tolerance_figures import has_rows
from optimize.report.tornado_data import TornadoPanel, tornado_data
from optimize.runs import Run

MOST_BARS = 12
_DUTY_ROLES = ("front", "shop", "model", "third")


def limits_plot(run: Run) -> Any | None:
    """Share of all cores that each requirement turned away, and that it alone did."""
    data = limit_data(run)
    if not data.names:
        return None
    n = min(len(data.names), MOST_BARS)
    plot = new_plot(
        "limits", "of all cores rated [%]", "", 110 + 34 * n, SMALL, y_range=(-0.6, n - 0.4), x_range=view_range(0, 100)
    )
    named_ticks(plot.yaxis[0], [one_line(name, 44) for name in data.names[:n]][::-1])
    _bars(plot, data, n)
    legend_above(plot)
    return plot


def _bars(plot: Any, data: LimitData, n: int) -> None:
    from bokeh.models import ColumnDataSource

    source = ColumnDataSource({
        "y": [float(i) for i in range(n)], "share": numbers(data.share[:n][::-1]),
        "alone": numbers(data.alone[:n][::-1]), "name": [one_line(name, 80) for name in data.names[:n]][::-1],
    })
    away = plot.hbar("y", right="share", height=0.62, source=source, legend_label="turned away")
    alone = plot.hbar("y", right="alone", height=0.34, source=source, legend_label="by it alone", hatch_pattern="/")
    painted(away.glyph, fill_color="fill", line_color="soft")
    painted(alone.glyph, fill_color="paper", line_color="ink", hatch_color="ink")
    alone.glyph.hatch_scale = 7
    shares = [("turned away", "@share{%.3g} %"), ("by it alone", "@alone{%.3g} %")]
    hover(plot, [away], [("requirement", "@name"), *shares])


def curve_plots(run: Run) -> list[tuple[str, list[tuple[Any, str]]]]:
    """Trade-off curves around the knee: for each variable its heading and a plot with its caption a quantity."""
    if not has_rows(run, "curves") or "front" not in run.tables:
        return []
    return [(_heading(curve), _curves(i, curve)) for i, curve in enumerate(curve_data(run))]


def _heading(curve: CurveData) -> str:
    broken = f"; hatched: the core would break {'; '.join(curve.broken)}" if curve.broken else ""
    return f"{label(curve.title, unit=False)} ({curve.heading}){broken}"


def _curves(i: int, curve: CurveData) -> list[tuple[Any, str]]:
    rows = [row for row in curve.rows if row.title.partition(" [")[0] in CURVE_ROWS]
    titles = [_price(row.title) if row.title.startswith("d ") else label(row.title) for row in rows]
    return [(_curve(f"curve_{i}_{j}", curve, row, titles[j]), titles[j]) for j, row in enumerate(rows)]


def _curve(name: str, curve: CurveData, row: CurveRow, title: str) -> Any:
    """One quantity over one variable, a line for each duty point; where a requirement breaks it is hatched."""
    from bokeh.models import BoxAnnotation, Span

    low, high = curve_view((row,))
    plot = new_plot(name, label(curve.title), "", 240, SMALL, y_range=view_range(low, high))
    for left, right in curve.spans:
        box = BoxAnnotation(left=left, right=right, fill_alpha=0.0, hatch_pattern="/", hatch_scale=14, hatch_alpha=0.4,
                            line_color=None, level="underlay")
        plot.add_layout(painted(box, hatch_color="edge"))
    if np.isfinite(curve.own):
        own = Span(location=curve.own, dimension="height", line_width=1.2, line_dash=[2, 3])
        plot.add_layout(painted(own, line_color="ink"))
    drawn = lines(plot, curve.x, [(words(duty), y) for duty, y in row.lines.items()], _DUTY_ROLES)
    limit_lines(plot, [(v, text) for v, text in row.limits if low <= v <= high], across=True)
    hover(plot, drawn, [(label(curve.title), "@x{%.5g}"), (title, "@y{%.4g}")])
    return plot


def _price(title: str) -> str:
    """A slope's title in words.

    >>> _price("d air_pressure_drop/d heat_rejected [kPa/kW]")
    'air loss, total, for more heat rejected [kPa/kW]'
    """
    names, _, unit = title.removeprefix("d ").partition(" [")
    top, _, bottom = names.partition("/d ")
    return f"{words(top)}, for more {words(bottom)} [{unit}"


def gain_plot(run: Run, source: FrontSource, front: Any) -> Any | None:
    """Net gain over the reference core along the front with its two parts; from the one source."""
    if not has_net_gain(run) or not source.objectives:
        return None
    data = net_gain_data(run)
    x = source.objectives[0]
    plot = new_plot("gain", x.axis, f"{data.at} [{data.unit}]", height=330)
    series = (
        ("gain", "net gain, estimated", data.gain, "front", "circle"),
        ("engine", "more engine power, estimated", data.engine, "shop", "triangle"),
        ("shaft", "less shaft power", data.shaft, "model", "square"),
    )
    drawn = []
    for i, (key, text, values, role, mark) in enumerate(series):
        front.data[key] = numbers(values)
        dash: Any = ("solid", [7, 3], [2, 2])[i]
        line = plot.line(x.key, key, source=front, line_width=1.4, line_dash=dash, legend_label=text)
        dots = plot.scatter(
            x.key, key, source=front, size=7, marker=mark, legend_label=text, selection_line_width=2.6,
            nonselection_fill_alpha=0.35,
        )
        painted(line.glyph, line_color=role)
        line.nonselection_glyph = line.selection_glyph = None
        painted(dots.glyph, line_color=role, fill_color=role)
        painted(dots.selection_glyph, line_color="ink", fill_color="chosen")
        painted(dots.nonselection_glyph, line_color=role, fill_color=role)
        drawn.append(dots)
    hover(plot, drawn, [*said(source)[:2], *((text, f"@{key}{{%.3g}}") for key, text, *_ in series)])
    legend_above(plot)
    return plot


def tornado_plots(run: Run) -> list[tuple[Any, str]]:
    """How far each tolerance of one core moves each main output, with captions."""
    if not has_rows(run, "sensitivities"):
        return []
    panels = [panel for panel in tornado_data(run).panels if panel.rows]
    return [(_tornado(f"tornado_{i}", panel), _moved(panel)) for i, panel in enumerate(panels)]


def _moved(panel: TornadoPanel) -> str:
    limit = f" ({panel.limit})" if panel.limit else ""
    return f"{panel.output}{limit}"


def _tornado(name: str, panel: TornadoPanel) -> Any:
    from bokeh.models import ColumnDataSource

    rows = panel.rows[::-1]
    plot = new_plot(name, f"change [{panel.unit}]", "", 96 + 32 * len(rows), SMALL, y_range=(-0.6, len(rows) - 0.4))
    named_ticks(plot.yaxis[0], [one_line(f"{row.name} {row.half_width}", 40) for row in rows])
    source = ColumnDataSource({
        "y": [float(i) for i in range(len(rows))], "low": numbers(r.at_low for r in rows),
        "high": numbers(r.at_high for r in rows), "name": [one_line(r.name, 60) for r in rows],
    })
    low = plot.hbar("y", right="low", height=0.6, source=source, legend_label="at the lower end", hatch_pattern="/")
    high = plot.hbar("y", right="high", height=0.6, source=source, legend_label="at the upper end")
    painted(low.glyph, fill_color="paper", line_color="front", hatch_color="front")
    low.glyph.hatch_scale = 7
    painted(high.glyph, fill_color="shop", line_color="front")
    ends = [("tolerance", "@name"), ("at the lower end", "@low{%+.3g}"), ("at the upper end", "@high{%+.3g}")]
    hover(plot, [low, high], ends)
    legend_above(plot)
    return plot
