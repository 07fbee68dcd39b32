"""The look of a plot of the page: axes, marks and colours that can be repainted for light and dark ground."""

import math
from collections.abc import Sequence
from typing import Any

from optimize.report.page.plain_text import for_plot
from optimize.report.palette import LIGHT
from physics.arrays import Array

FONT = "system-ui, 'Segoe UI', Roboto, 'Helvetica Neue', 'DejaVu Sans', Arial, sans-serif"
TOOLS = "pan,wheel_zoom,box_select,lasso_select,tap,reset,save"
SMALL = "pan,wheel_zoom,reset,save"  # of plots beside which nothing is chosen
HEIGHT = 330
DASHES: tuple[Any, ...] = ("solid", [7, 3], [2, 2], [8, 3, 2, 3])
HATCHES = (" ", "/", "x", ".", "-", "\\", "|", "+", "o")


def painted(model: Any, **roles: str) -> Any:
    """Colours of a model by their role in the palette; the page repaints whatever carries such a tag."""
    for name, role in roles.items():
        setattr(model, name, getattr(LIGHT, role))
    model.tags = [{"paint": roles}]
    return model


def new_plot(
    name: str, x_label: str, y_label: str, height: int = HEIGHT, tools: str = TOOLS, **ranges: Any
) -> Any:
    """An empty plot as wide as its place; `ranges`: x_range and y_range, those that are not left to the data."""
    from bokeh.plotting import figure

    plot = figure(
        name=name, height=height, sizing_mode="stretch_width", tools=tools, toolbar_location="above",
        active_drag="box_select" if "box_select" in tools else "auto", min_border_left=56, min_border_right=14,
        **ranges,
    )
    plot.toolbar.logo = None
    plot.toolbar.autohide = True
    if tools == SMALL:
        plot.min_border_left = 44
        plot.xaxis[0].ticker.desired_num_ticks = plot.yaxis[0].ticker.desired_num_ticks = 5
    painted(plot, background_fill_color="paper", border_fill_color="paper", outline_line_color="rule")
    for axis, text in ((plot.xaxis[0], x_label), (plot.yaxis[0], y_label)):
        dressed(axis, text)
    for grid in (plot.xgrid[0], plot.ygrid[0]):
        painted(grid, grid_line_color="rule")
        grid.grid_line_width = 0.7
    return plot


def dressed(axis: Any, text: str) -> Any:
    """An axis in the house's look; its text is never read as mathematics."""
    from bokeh.models import PlainText

    axis.axis_label = PlainText(text=for_plot(text, 70))
    axis.axis_label_text_font = axis.major_label_text_font = FONT
    axis.axis_label_text_font_style = "normal"
    axis.axis_label_text_font_size, axis.major_label_text_font_size = "12.5px", "12px"
    axis.axis_label_standoff, axis.minor_tick_line_color = 7, None
    axis.major_tick_in, axis.major_tick_out = 0, 4
    return painted(
        axis, axis_label_text_color="ink", major_label_text_color="ink", axis_line_color="soft",
        major_tick_line_color="soft",
    )


def named_ticks(axis: Any, names: Sequence[str], breaks: bool = False) -> None:
    """Names in place of the numbers 0, 1, 2 ...; with `breaks` their parts, and their units, below one another."""
    from bokeh.models import PlainText

    axis.ticker = list(range(len(names)))
    told = [for_plot(name, 44) for name in names]
    shown = [text.replace(", ", ",\n").replace(" [", "\n[") for text in told] if breaks else told
    axis.major_label_overrides = {i: PlainText(text=text) for i, text in enumerate(shown)}


def limit_lines(plot: Any, limits: Sequence[tuple[float, str]], across: bool) -> None:
    """Limits with their words, dash-dotted: a line from left to right (`across`), or from bottom to top."""
    from bokeh.models import Label, Span

    for value, text in limits:
        span = Span(location=value, dimension="width" if across else "height", line_width=1.4, line_dash=[9, 3, 2, 3])
        plot.add_layout(painted(span, line_color="failed"))
        label = Label(
            text=for_plot(text), text_font=FONT, text_font_size="11px", background_fill_alpha=0.8,
            **(_above(plot, value) if across else _beside(plot, value)),
        )
        plot.add_layout(painted(label, text_color="failed", background_fill_color="paper"))


def _above(plot: Any, value: float) -> dict[str, Any]:
    """A word on a line from left to right; under it where it runs along the top."""
    low, high = plot.y_range.start, plot.y_range.end
    top = _known(high) and _known(low) and value > high - 0.09 * (high - low)
    return {"x": 6, "x_units": "screen", "y": value, "y_offset": -17 if top else 3}


def _beside(plot: Any, value: float) -> dict[str, Any]:
    """A word along a line from bottom to top, at its upper end where that is known."""
    high = plot.y_range.end
    along: dict[str, Any] = {"y": 6, "y_units": "screen"}
    if _known(high):
        along = {"y": high, "text_align": "right", "y_offset": -6}
    return {"x": value, "x_offset": -3, "angle": 1.5708, **along}


def _known(end: Any) -> bool:
    """Whether a range has an end of its own: one that follows the data has none yet."""
    return isinstance(end, int | float) and math.isfinite(end)


def view_range(low: float, high: float) -> Any:
    """A range that the reset tool comes back to."""
    from bokeh.models import Range1d

    return Range1d(float(low), float(high))


def hover(plot: Any, renderers: Sequence[Any], rows: Sequence[tuple[str, str]]) -> None:
    """What is said under the pointer: words and the column that fills them in, numbers as "@key{%.4g}"."""
    from bokeh.models import HoverTool

    written: dict[str, Any] = {text.partition("{")[0]: "printf" for _, text in rows if "{%" in text}
    plot.add_tools(HoverTool(
        renderers=list(renderers), tooltips=list(rows), formatters=written, point_policy="follow_mouse", visible=False,
    ))


def lines(plot: Any, x: Array, series: Sequence[tuple[str, Array]], roles: Sequence[str]) -> list[Any]:
    """Several lines over the same x with marks, each with a dash, a mark and a colour of its own; legend above."""
    from bokeh.models import ColumnDataSource

    from optimize.report.page.front_source import MARKS
    from optimize.report.page.packing import numbers

    drawn = []
    for i, (text, y) in enumerate(series):
        source = ColumnDataSource({"x": numbers(x), "y": numbers(y)})
        role = roles[i % len(roles)]
        named = {"legend_label": for_plot(text)} if len(series) > 1 else {}
        line = plot.line("x", "y", source=source, line_width=1.8, line_dash=DASHES[i % len(DASHES)], **named)
        dots = plot.scatter("x", "y", source=source, size=6, marker=MARKS[i % len(MARKS)], **named)
        painted(line.glyph, line_color=role)
        painted(dots.glyph, line_color=role, fill_color=role)
        drawn.append(dots)
    legend_above(plot)
    return drawn


def legend_above(plot: Any) -> None:
    """The legend out of the plot's way."""
    for legend in list(plot.legend):
        legend.orientation, legend.label_text_font, legend.label_text_font_size = "horizontal", FONT, "12px"
        legend.padding, legend.spacing, legend.margin, legend.label_standoff = 2, 10, 2, 5
        legend.border_line_color = None
        legend.glyph_width = 26
        painted(legend, label_text_color="ink", background_fill_color="paper")
        plot.center.remove(legend)
        plot.add_layout(legend, "above")
