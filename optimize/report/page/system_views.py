"""Plots of what stands around the core: pump and circuit, where the head goes, more water, heat soak."""

from typing import Any

import numpy as np

from optimize.report.columns import column, columns_of, label, typeset, words
from optimize.report.loop_data import HeadPanel, PumpPanel, head_data, pump_data
from optimize.report.page.front_source import MARKS
from optimize.report.page.packing import numbers
from optimize.report.page.plain_text import for_plot, one_line
from optimize.report.page.plots import (
    DASHES,
    HATCHES,
    SMALL,
    dressed,
    hover,
    legend_above,
    limit_lines,
    lines,
    named_ticks,
    new_plot,
    painted,
    view_range,
)
from optimize.report.soak_data import GainPanel, SoakData, gain_data, soak_data
from optimize.report.water_data import FlowCurve, water_data
from optimize.runs import Run
from physics.arrays import Array

MOST_DUTIES = 4
_ROLES = ("front", "shop", "model", "third", "failed")
_FILLS = ("front", "shop", "fill", "model", "third", "fill", "shop", "model", "paper")


def circuit_plots(run: Run) -> list[tuple[str, Any]]:
    """Pump against circuit, the head's parts, and cooling over flow, each with its heading, for each duty point."""
    if "front" not in run.tables or not columns_of(run.tables["front"], "pump_pressure_rise"):
        return []
    found: list[tuple[str, Any]] = []
    if {"flow", "pump"} <= set(run.tables):
        panels = pump_data(run)[:MOST_DUTIES]
        found += [(f"Pump and circuit, {words(p.duty)}", _pump(f"pump_{i}", p)) for i, p in enumerate(panels)]
    heads = head_data(run)[:MOST_DUTIES]
    found += [(f"Where the head goes, {words(p.duty)}", _head(f"head_{i}", p)) for i, p in enumerate(heads)]
    if "flow" in run.tables:
        curves = water_data(run).curves[:MOST_DUTIES]
        found += [(f"More water for the knee, {words(c.duty)}", _water(f"water_{i}", c)) for i, c in enumerate(curves)]
    return found


def _pump(name: str, panel: PumpPanel) -> Any:
    """The pump's curve, the circuit of each named core, and where they meet."""
    from bokeh.models import ColumnDataSource

    (x_low, x_high), (y_low, y_high) = panel.view
    plot = new_plot(
        name, label(panel.titles[0]), label(panel.titles[1]), 320, SMALL, x_range=view_range(x_low, x_high),
        y_range=view_range(y_low, y_high),
    )
    _curve(plot, panel.pump, "pump", "ink", "solid", 2.4)
    for i, system in enumerate(panel.systems):
        text = f"{system.name}, {system.core}"
        _curve(plot, system.curve, text, _ROLES[i % len(_ROLES)], DASHES[1 + i % 3], 1.5)
        at = ColumnDataSource({"x": numbers(system.point[:1]), "y": numbers(system.point[1:]), "core": [text]})
        dot = plot.scatter(
            "x", "y", source=at, size=10, marker=MARKS[i % len(MARKS)], legend_label=for_plot(text), line_width=2
        )
        painted(dot.glyph, fill_color="paper", line_color=_ROLES[i % len(_ROLES)])
        hover(plot, [dot], [("core", "@core"), ("flow", "@x{%.4g}"), ("pressure", "@y{%.4g}")])
    _legend_in_rows(plot)
    return plot


def _curve(plot: Any, points: Array, text: str, role: str, dash: Any, width: float) -> None:
    from bokeh.models import ColumnDataSource

    source = ColumnDataSource({"x": numbers(points[:, 0]), "y": numbers(points[:, 1])})
    line = plot.line("x", "y", source=source, line_width=width, line_dash=dash, legend_label=for_plot(text))
    painted(line.glyph, line_color=role)


def _legend_in_rows(plot: Any) -> None:
    """A legend of many words in two columns."""
    legend_above(plot)
    for legend in plot.legend:
        legend.ncols = 2


def _head(name: str, panel: HeadPanel) -> Any:
    """Stacked bars: parts of the pump's pressure rise of each named core."""
    from bokeh.models import ColumnDataSource

    names = [one_line(f"{pick}, {core}", 32) for pick, core in panel.picks]
    n = len(names)
    plot = new_plot(
        name, f"pressure rise of the pump [{typeset(panel.unit)}]", "", 150 + 38 * n, SMALL, y_range=(n - 0.4, -0.6)
    )
    named_ticks(plot.yaxis[0], names)
    lefts = panel.lefts
    for i, (part, values) in enumerate(panel.parts.items()):
        source = ColumnDataSource({
            "y": [float(j) for j in range(n)], "left": numbers(lefts[part]), "right": numbers(lefts[part] + values),
            "value": numbers(values), "core": names,
        })
        bar = plot.hbar("y", left="left", right="right", height=0.66, source=source, legend_label=part,
                        hatch_pattern=HATCHES[i % len(HATCHES)], hatch_scale=7)
        painted(bar.glyph, fill_color=_FILLS[i % len(_FILLS)], line_color="ink", hatch_color="ink")
        bar.glyph.fill_alpha, bar.glyph.hatch_alpha = 0.75, 0.8
        hover(plot, [bar], [("core", "@core"), (part, f"@value{{%.3g}} {typeset(panel.unit)}")])
    _legend_in_rows(plot)
    for legend in plot.legend:
        legend.ncols = 4
    return plot


def _water(name: str, curve: FlowCurve) -> Any:
    """Cooling over coolant flow, where the circuit settles, and from where on more water does not pay."""
    from bokeh.models import ColumnDataSource

    plot = new_plot(name, label(curve.titles[0]), label(curve.titles[1]), 290, SMALL)
    drawn = lines(plot, curve.flow, [("cooling", curve.heat)], ("front",))
    marks = [("the circuit gives", "square", "chosen", curve.point)]
    if curve.stops is not None:
        marks.append(("more stops paying", "inverted_triangle", "model", curve.stops))
    for text, mark, role, at in marks:
        source = ColumnDataSource({"x": numbers(at[:1]), "y": numbers(at[1:])})
        dot = plot.scatter("x", "y", source=source, size=12, marker=mark, legend_label=text, line_width=1.5)
        painted(dot.glyph, fill_color=role, line_color="ink")
    hover(plot, drawn, [(column(t).name.replace("_", " "), f"@{k}{{%.4g}}")
                        for t, k in zip(curve.titles, "xy", strict=True)])
    legend_above(plot)
    return plot


def soak_plots(run: Run) -> list[tuple[str, Any]]:
    """Temperatures over the schedule, ice left, and what more reservoir or ice buys."""
    found: list[tuple[str, Any]] = []
    if "soak" in run.tables and len(run.tables["soak"]):
        data = soak_data(run)
        found.append((f"Temperatures with {data.traces[0].name}; hatched: boost on", _soak(data)))
        if data.has_ice:
            found.append(("Ice left", _ice(data)))
    if "soak_gains" in run.tables:
        found += [
            (f"More {panel.what}: {label(panel.time_title)}", _gain(f"soak_gain_{i}", panel))
            for i, panel in enumerate(gain_data(run))
        ]
    return found


def _soak(data: SoakData) -> Any:
    trace = data.traces[0]
    plot = new_plot("soak", label(data.time_title), f"temperature [{typeset(data.unit)}]", 300, SMALL)
    _pulls(plot, data)
    series = [("charge", trace.charge), ("coolant into the core", trace.coolant), ("reservoir", trace.reservoir)]
    _thin_lines(plot, trace.time, series)
    limit_lines(plot, [(data.limit, data.limit_text)], across=True)
    legend_above(plot)
    return plot


def _ice(data: SoakData) -> Any:
    plot = new_plot("soak_ice", label(data.time_title), label(data.ice_title), 300, SMALL)
    _pulls(plot, data)
    _thin_lines(plot, data.traces[0].time, [("ice left", data.traces[0].ice)])
    for legend in plot.legend:
        legend.visible = False
    return plot


def _pulls(plot: Any, data: SoakData) -> None:
    from bokeh.models import BoxAnnotation

    for left, right in data.pulls:
        box = BoxAnnotation(left=left, right=right, fill_alpha=0.0, hatch_pattern="/", hatch_scale=14, hatch_alpha=0.4,
                            line_color=None, level="underlay")
        plot.add_layout(painted(box, hatch_color="edge"))


def _thin_lines(plot: Any, x: Array, series: list[tuple[str, Array]]) -> None:
    """Lines of many points, without marks."""
    for i, (text, y) in enumerate(series):
        _curve(plot, np.column_stack([x, y]), text, _ROLES[i], DASHES[i % len(DASHES)], 2.0)


def _gain(name: str, panel: GainPanel) -> Any:
    """Seconds under the limit over the amount; the study's own amount marked."""
    from bokeh.models import Span

    plot = new_plot(name, label(panel.title), f"[{typeset(column(panel.time_title).unit)}]", 280, SMALL)
    first = panel.lines[0]
    drawn = lines(plot, first.amount, [(one_line(line.name, 40), line.under_limit) for line in panel.lines], _ROLES)
    if np.isfinite(panel.own):
        own = Span(location=panel.own, dimension="height", line_width=1.2, line_dash=[2, 3])
        plot.add_layout(painted(own, line_color="ink"))
    hover(plot, drawn, [(label(panel.title), "@x{%.4g}"), (label(panel.time_title), "@y{%.4g}")])
    dressed(plot.xaxis[0], label(panel.title))
    return plot
