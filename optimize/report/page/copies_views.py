"""Plots of the copies: yield along the front, clouds of the chosen cores, the robust front, yields under the model."""

from typing import Any

import numpy as np

from optimize.report.columns import label
from optimize.report.copy_data import share_text
from optimize.report.figure_data import matrix
from optimize.report.nested_data import nested_data
from optimize.report.page.front_source import FrontSource
from optimize.report.page.packing import numbers
from optimize.report.page.plain_text import one_line
from optimize.report.page.plots import hover, legend_above, limit_lines, named_ticks, new_plot, painted, view_range
from optimize.report.page.views import limits_of, said
from optimize.report.robust_data import RobustData, robust_data
from optimize.report.tolerance_figures import has_rows
from optimize.runs import Run

MOST_POINTS = 20_000  # of all clouds together


def yield_plot(run: Run, source: FrontSource, front: Any) -> Any | None:
    """Share of copies that meet everything along the first objective, with exact intervals; from the one source."""
    if not (source.objectives and has_rows(run, "yield") and source.is_front):
        return None
    x = source.objectives[0]
    plot = new_plot("yield", x.axis, "copies that meet every limit [%]", height=300, y_range=(-3, 104))
    for kind, role, mark in (("share_shop", "shop", "circle"), ("share_shop_and_run", "front", "square")):
        share, low, high = (source.find(name) for name in (kind, f"{kind}_low", f"{kind}_high"))
        if share is None or low is None or high is None:
            continue
        text = "shop: tolerances alone" if kind == "share_shop" else "shop and run: from run to run as well"
        bars = plot.segment(x.key, low.key, x.key, high.key, source=front, line_width=1.4, legend_label=text)
        dots = plot.scatter(
            x.key, share.key, source=front, size=8, marker=mark, legend_label=text, fill_alpha=0.8,
            selection_line_width=2.4, nonselection_fill_alpha=0.25, nonselection_line_alpha=0.5,
        )
        painted(bars.glyph, line_color=role)
        painted(dots.glyph, fill_color=role, line_color=role)
        painted(dots.selection_glyph, fill_color="chosen", line_color="ink")
        painted(dots.nonselection_glyph, fill_color=role, line_color=role)
        hover(plot, [dots], [*said(source)[:2], ("share", f"@{share.key}{{%.4g}} %"),
                             ("interval", f"@{low.key}{{%.4g}} .. @{high.key}{{%.4g}} %")])
    legend_above(plot)
    return plot


def cloud_plot(run: Run, source: FrontSource, front: Any) -> Any | None:
    """The plane of the objectives for copies of the chosen cores; the page fills in the copies."""
    from bokeh.models import ColumnDataSource, DataRange1d

    if not has_rows(run, "clouds") or len(source.objectives) < 2:
        return None
    x, y = source.objectives[:2]
    plot = new_plot("clouds", x.axis, y.axis, height=400)
    drawn = []
    for name, text, mark, role, size in (
        ("copies met", "copy that meets every limit", "circle", "shop", 4.5),
        ("copies missed", "copy that misses one", "x", "failed", 6.5),
    ):
        cloud = ColumnDataSource({"x": [], "y": [], "core": []}, name=name)
        dots = plot.scatter("x", "y", source=cloud, size=size, marker=mark, fill_alpha=0.45, legend_label=text)
        painted(dots.glyph, fill_color=role, line_color=role)
        dots.nonselection_glyph = dots.selection_glyph = None
        drawn.append(dots)
    marks = plot.scatter(
        x.key, y.key, source=front, marker="mark", size="size", line_width=1.3, fill_alpha=0.0, legend_label="as drawn",
        selection_line_width=3, nonselection_line_alpha=0.5, name="cloud front",
    )
    painted(marks.glyph, line_color="ink", fill_color="paper")
    painted(marks.selection_glyph, line_color="chosen", fill_color="paper")
    painted(marks.nonselection_glyph, line_color="soft", fill_color="paper")
    for axis, name in (("x_range", "x"), ("y_range", "y")):
        setattr(plot, axis, DataRange1d(renderers=drawn, range_padding=0.12, name=f"clouds {name}"))
    limit_lines(plot, limits_of(run, x), across=False)
    limit_lines(plot, limits_of(run, y), across=True)
    hover(plot, [marks], said(source, x, y))
    legend_above(plot)
    return plot


def clouds(run: Run, source: FrontSource, cores: list[str]) -> dict[str, Any]:
    """Copies by core and kind of scatter: values of each objective, and whether all limits are met; cores in turn."""
    if not has_rows(run, "clouds"):
        return {}
    titles = [field.title for field in source.objectives]
    found: dict[str, Any] = {}
    left, wanted = MOST_POINTS, set(cores)
    parts = dict(tuple(run.tables["clouds"][run.tables["clouds"]["core"].isin(wanted)].groupby(["core"], sort=False)))
    by_name = {str(core): rows for (core,), rows in parts.items()}
    for core in (c for c in cores if c in by_name):
        left -= len(by_name[core])
        if left < 0:
            break
        sound = by_name[core][np.all(np.isfinite(matrix(by_name[core], tuple(titles))), axis=1)]
        found[core] = {
            str(kind): {
                "values": [numbers(rows[title], 5) for title in titles],
                "met": [int(met) for met in rows["met"].astype(bool)],
            }
            for kind, rows in sound.groupby("scatter", sort=False)
        }
    return found


def robust_plot(run: Run) -> Any | None:
    """Both fronts in the plane of the first two objectives: as drawn, and by the statistic of the copies."""
    if "robust" not in run.record or "robust" not in run.tables or not has_rows(run, "fallen"):
        return None
    data = robust_data(run)
    if len(data.titles) < 2:
        return None
    statistics = "/".join(dict.fromkeys(data.statistics))
    plot = new_plot(
        "robust", label(data.titles[0]), label(data.titles[1]), height=400,
        x_range=view_range(*data.view[0]), y_range=view_range(*data.view[1]),
    )
    _nominal(plot, data)
    _copies(plot, data, statistics)
    _fallen(plot, data)
    for limit in data.limits:
        if limit.axis < 2:
            limit_lines(plot, [(limit.value, limit.text)], across=limit.axis == 1)
    legend_above(plot)
    return plot


def _nominal(plot: Any, data: RobustData) -> None:
    from bokeh.models import ColumnDataSource

    nominal = ColumnDataSource({"x": numbers(data.nominal[:, 0]), "y": numbers(data.nominal[:, 1])})
    dots = plot.scatter("x", "y", source=nominal, size=8, fill_alpha=0.0, legend_label="front of the cores as drawn")
    painted(dots.glyph, line_color="soft", fill_color="paper")


def _copies(plot: Any, data: RobustData, statistics: str) -> None:
    """The robust front, each core joined to its place as drawn."""
    from bokeh.models import ColumnDataSource

    cores = data.cores
    values, nominal = (np.array([getattr(c, part)[:2] for c in cores]).reshape(-1, 2) for part in ("values", "nominal"))
    source = ColumnDataSource({
        "x": numbers(values[:, 0]), "y": numbers(values[:, 1]), "x0": numbers(nominal[:, 0]),
        "y0": numbers(nominal[:, 1]), "core": [c.core for c in cores], "pick": [one_line(c.pick) for c in cores],
        "share": [share_text(c.share) for c in cores],
    })
    joint = plot.segment("x0", "y0", "x", "y", source=source, line_dash=[3, 3], line_width=1)
    painted(joint.glyph, line_color="shop")
    text = f"{statistics} of the copies"
    dots = plot.scatter("x", "y", source=source, size=10, marker="square", fill_alpha=0.85, legend_label=text)
    painted(dots.glyph, fill_color="shop", line_color="shop")
    hover(plot, [dots], [
        ("core", "@core @pick"), (text, "@x{%.4g}, @y{%.4g}"), ("as drawn", "@x0{%.4g}, @y0{%.4g}"),
        ("meet every limit", "@share"),
    ])


def _fallen(plot: Any, data: RobustData) -> None:
    from bokeh.models import ColumnDataSource

    if not data.fallen:
        return
    values = np.array([c.values[:2] for c in data.fallen])
    source = ColumnDataSource({
        "x": numbers(values[:, 0]), "y": numbers(values[:, 1]), "core": [c.core for c in data.fallen],
        "pick": [one_line(c.pick) for c in data.fallen], "verdict": [c.verdict for c in data.fallen],
        "because": [one_line(c.because, 200) for c in data.fallen],
    })
    dots = plot.scatter("x", "y", source=source, size=13, marker="x", line_width=2.6, legend_label="falls off")
    painted(dots.glyph, line_color="failed", fill_color="failed")
    hover(plot, [dots], [("core", "@core @pick"), ("verdict", "@verdict"), ("why", "@because")])


def nested_plot(run: Run) -> Any | None:
    """What the yield of each named core may turn out to be: a tick for each draw of the model, its middle marked."""
    from bokeh.models import ColumnDataSource

    if not has_rows(run, "nested"):
        return None
    data = nested_data(run)
    names = [one_line(f"{core.name}, {core.core}" if core.name else core.core) for core in data.cores][::-1]
    height = 96 + 44 * len(names)
    plot = new_plot("nested", "share of copies that meet every limit [%]", "", height, y_range=(-0.6, len(names) - 0.4))
    named_ticks(plot.yaxis[0], names)
    ticks: dict[str, list[Any]] = {"x": [], "y": []}
    middle: dict[str, list[Any]] = {"x": [], "y": []}
    for i, core in enumerate(data.cores[::-1]):
        ticks["x"] += numbers(core.yields)
        ticks["y"] += [float(i)] * len(core.yields)
        middle["x"].append(core.spread.middle)
        middle["y"].append(float(i))
    drawn = plot.scatter("x", "y", source=ColumnDataSource(ticks), marker="dash", angle=np.pi / 2, size=18,
                         line_alpha=0.55, legend_label="one draw of the correlations")
    painted(drawn.glyph, line_color="model")
    centre = plot.scatter("x", "y", source=ColumnDataSource(middle), marker="diamond", size=11, legend_label="median")
    painted(centre.glyph, fill_color="model", line_color="ink")
    legend_above(plot)
    return plot
