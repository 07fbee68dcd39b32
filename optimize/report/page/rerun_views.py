"""Plots of a rerun on the page: both fronts with the fate of the old cores, and what each change is worth."""

from typing import Any

import numpy as np

from optimize.report.columns import label
from optimize.report.page.packing import numbers
from optimize.report.page.plain_text import one_line
from optimize.report.page.plots import hover, legend_above, limit_lines, new_plot, painted, view_range
from optimize.report.rerun_data import FATES, RerunData, is_rerun, rerun_data
from optimize.runs import Run

_MARKS = dict(zip(FATES, ("circle", "inverted_triangle", "diamond", "x"), strict=True))
_PAINTS = dict(zip(FATES, ("front", "model", "shop", "failed"), strict=True))


def rerun_plots(run: Run) -> list[tuple[Any, str]]:
    """Both fronts over the first two objectives, with a caption; nothing for a run of its own."""
    if not is_rerun(run):
        return []
    data = rerun_data(run)
    return [(_fronts(data), "The front before, with what became of each core, and the front now")]


def _fronts(data: RerunData) -> Any:
    from bokeh.models import ColumnDataSource

    plot = new_plot(
        "rerun", label(data.titles[0]), label(data.titles[1]), height=420,
        x_range=view_range(*data.view[0]), y_range=view_range(*data.view[1]), tools="pan,wheel_zoom,reset,save",
    )
    shown = []
    for fate in FATES:
        cores = [core for core in data.old if core.fate == fate and np.all(np.isfinite(core.before))]
        if not cores:
            continue
        values = np.array([core.before for core in cores])
        source = ColumnDataSource({
            "x": numbers(values[:, 0]), "y": numbers(values[:, 1]), "core": [core.core for core in cores],
            "pick": [one_line(core.pick) for core in cores], "because": [one_line(core.because) for core in cores],
            "repair": [one_line(core.repair) for core in cores],
        })
        dots = plot.scatter("x", "y", source=source, size=9, marker=_MARKS[fate], legend_label=f"before: {fate}")
        painted(dots.glyph, line_color=_PAINTS[fate], fill_color=_PAINTS[fate])
        dots.glyph.fill_alpha = 0.5
        shown.append(dots)
    now = ColumnDataSource({"x": numbers(data.front[:, 0]), "y": numbers(data.front[:, 1])})
    if len(data.titles) == 2:
        painted(plot.line("x", "y", source=now, line_width=1.6).glyph, line_color="front")
    painted(plot.scatter("x", "y", source=now, size=6, marker="square", legend_label="front now").glyph,
            line_color="front", fill_color="front")
    hover(plot, shown, [("core before", "@core @pick"), ("because", "@because"), ("nearest", "@repair")])
    for limit in data.limits:
        if limit.axis < 2:
            limit_lines(plot, [(limit.value, limit.text)], across=limit.axis == 1)
    legend_above(plot)
    return plot
