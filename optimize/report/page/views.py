"""The linked views of the front: plots and a table over one source, so that a core chosen in one is chosen in all."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from optimize.report.figure_data import limit_words, padded
from optimize.report.page.front_source import Field, FrontSource
from optimize.report.page.packing import numbers
from optimize.report.page.plots import hover, limit_lines, new_plot, painted, view_range
from optimize.runs import Run
from physics.arrays import Array

MOST_SAMPLES = 2500
_NEAR = 0.15  # of a view; a limit nearer to it than this is shown
_BESIDE = 0.6  # of the front's extent, how much of the feasible is shown on its worse side
_SPREAD = 0.32  # of a step, how far cores that coincide are drawn apart
_GOLDEN = 2.399963  # [rad]


@dataclass(frozen=True)
class View:
    """A plot of the front: its name, what it shows in words, what is drawn in it, and the fields of its axes."""

    name: str
    title: str
    plot: Any
    x: Field
    y: Field


def limits_of(run: Run, field: Field) -> list[tuple[float, str]]:
    """Limits on what a field holds: at its duty point, or at the worst of them."""
    return [
        (float(limit["bound"]), limit_words(limit)) for limit in run.record["limits"]
        if limit["output"] == field.name and (limit["at"] or "") in (field.at, "worst") and field.at != "mean"
    ]


def samples(run: Run, source: FrontSource) -> dict[str, list[float]]:
    """Cores that are feasible but not on the front (infeasible ones where nothing is), by the keys of the fields."""
    designs = run.tables["designs"]
    if not len(designs):
        return {}
    wanted = "yes" if source.is_front else "no"
    rows = designs[(designs["feasible"] == wanted) & (designs["layer"] != 1)]
    if len(rows) > MOST_SAMPLES:
        rows = rows.iloc[np.linspace(0, len(rows) - 1, MOST_SAMPLES).round().astype(int)]
    there = {str(title) for title in rows.columns}
    return {f.key: numbers(rows[f.title]) for f in source.fields if f.title in there}


def linked_views(run: Run, source: FrontSource, front: Any, behind: Any) -> list[View]:
    """Plane of the objectives, shape, mass, coolant side, and a plot with axes of the reader's choice."""
    first, second = (source.objectives * 2)[:2]
    views = [_plane(run, source, front, behind, first, second)]
    if shape := _shape(run, source, front):
        views.append(shape)
    mass, loss = source.find("filled_mass"), _coolant_pair(run, source)
    if mass and mass.varies and {mass.key} != {first.key, second.key}:
        views.append(_pair("mass", "Mass", run, source, (front, behind), mass, first))
    if loss and loss[0].varies and loss[1].varies:
        views.append(_pair("coolant", "Coolant side", run, source, (front, behind), *loss))
    x, y = _free_axes(source, [first, second])
    views.append(_pair("free", "Any two", run, source, (front, behind), x, y))
    return views


def _coolant_pair(run: Run, source: FrontSource) -> tuple[Field, Field] | None:
    """Coolant flow where it is found, or the coolant's outlet temperature; against its loss."""
    duties = [str(duty) for duty in run.record["duty"]]
    loss = source.find("coolant_pressure_drop", *duties)
    for name in ("coolant_volume_flow", "coolant_outlet_temperature", "heat_rejected", "stack_height"):
        other = source.find(name, *([loss.at] if loss else []), *duties)
        if loss and other and other.varies:
            return other, loss
    return None


def _free_axes(source: FrontSource, shown: list[Field]) -> tuple[Field, Field]:
    """Something the other views do not show."""
    rest = [source.find(name) for name in ("stack_height", "coolant_pressure_drop", "filled_mass", "dry_mass")]
    found = [field for field in rest if field is not None and field.varies]
    return (found + shown * 2)[0], ([*found[1:], *shown] * 2)[0]


def drawn_front(plot: Any, front: Any, x: str, y: str) -> Any:
    """Marks of the front from the one source; chosen ones larger and of another colour, others paler."""
    renderer = plot.scatter(
        x, y, source=front, marker="mark", size="size", line_width=1.2, fill_alpha=0.75, name="front marks",
        selection_fill_alpha=1.0, selection_line_width=2.6, nonselection_fill_alpha=0.28, nonselection_line_alpha=0.6,
    )
    painted(renderer.glyph, fill_color="front", line_color="front")
    painted(renderer.selection_glyph, fill_color="chosen", line_color="ink")
    painted(renderer.nonselection_glyph, fill_color="front", line_color="front")
    _named_on_top(plot, front, x, y)
    return renderer


def _named_on_top(plot: Any, front: Any, x: str, y: str) -> None:
    """The named cores once more, over the crowd, with an edge that sets them off."""
    from bokeh.models import CDSView, IndexFilter

    places = [i for i, pick in enumerate(front.data["pick"]) if pick]
    if not places:
        return
    marks = plot.scatter(
        x, y, source=front, marker="mark", size="size", line_width=1.2, view=CDSView(filter=IndexFilter(places)),
        selection_line_width=2.6, nonselection_fill_alpha=0.7, name="named marks",
    )
    painted(marks.glyph, fill_color="front", line_color="paper")
    painted(marks.selection_glyph, fill_color="chosen", line_color="ink")
    painted(marks.nonselection_glyph, fill_color="front", line_color="paper")


def drawn_samples(plot: Any, behind: Any, x: str, y: str) -> Any:
    """Samples behind the front, as small squares that do not react."""
    renderer = plot.scatter(x, y, source=behind, marker="square", size=3.5, line_color=None, name="samples")
    painted(renderer.glyph, fill_color="feasible")
    renderer.nonselection_glyph = renderer.selection_glyph = renderer.muted_glyph = None
    return renderer


def _pair(
    name: str, title: str, run: Run, source: FrontSource, sources: tuple[Any, Any], x: Field, y: Field
) -> View:
    """Two fields against each other."""
    front, behind = sources
    plot = new_plot(name, x.axis, y.axis)
    if x.key in behind.data and y.key in behind.data:
        drawn_samples(plot, behind, x.key, y.key)
    elif name == "free":
        drawn_samples(plot, behind, x.key, y.key).visible = False
    _finish(run, source, plot, drawn_front(plot, front, x.key, y.key), x, y)
    if name == "free":
        _freed(run, source, plot, (x, y))
    return View(name, title, plot, x, y)


def _freed(run: Run, source: FrontSource, plot: Any, fields: tuple[Field, Field]) -> None:
    """Ranges that follow the data, and as many lines for limits as any field has; the page moves them."""
    from bokeh.models import DataRange1d, Span

    plot.x_range, plot.y_range = DataRange1d(range_padding=0.06), DataRange1d(range_padding=0.06)
    most = max((len(limits_of(run, field)) for field in source.fields), default=0)
    for dimension, field in zip(("height", "width"), fields, strict=True):
        own = limits_of(run, field)
        for i in range(most):
            at = own[i][0] if i < len(own) else 0.0
            span = Span(location=at, dimension=dimension, line_width=1.4, line_dash=[9, 3, 2, 3], visible=i < len(own))
            plot.add_layout(painted(span, line_color="failed"))


def _finish(run: Run, source: FrontSource, plot: Any, renderer: Any, x: Field, y: Field) -> None:
    """Views, limits that are near, and what is said under the pointer."""
    _ranges(run, source, plot, (x, y))
    if plot.name != "free":
        _limits(run, plot, (x, y))
    hover(plot, [renderer], said(source, x, y))


def _ranges(run: Run, source: FrontSource, plot: Any, fields: tuple[Field, Field]) -> None:
    for axis, field in zip(("x_range", "y_range"), fields, strict=True):
        setattr(plot, axis, view_range(*_view(source.values(field), limits_of(run, field))))


def _limits(run: Run, plot: Any, fields: tuple[Field, Field]) -> None:
    """Limits inside the view, once the view is settled."""
    for view, field in zip((plot.x_range, plot.y_range), fields, strict=True):
        near = [(value, text) for value, text in limits_of(run, field) if view.start <= value <= view.end]
        limit_lines(plot, near, across=view is plot.y_range)


def said(source: FrontSource, *fields: Field) -> list[tuple[str, str]]:
    """What is told of a core: its name, what is wanted of it, these fields, and its words."""
    own = dict.fromkeys([*source.objectives, *fields])
    words = {key: title.replace("_", " ") for key, title in source.names.items()}
    return [
        ("core", "@core @pick"), *((field.axis, f"@{field.key}{{%.4g}}") for field in own),
        *((text, f"@{key}") for key, text in words.items()),
    ]


def _view(values: Array, limits: list[tuple[float, str]]) -> tuple[float, float]:
    """All values, and the limits that are near."""
    known = values[np.isfinite(values)]
    if not known.size:
        return 0.0, 1.0
    (low, high), = padded(known[:, None])
    low, high = low - 0.02 * (high - low), high + 0.02 * (high - low)
    near = _NEAR * (high - low)
    bounds = [value for value, _ in limits if low - near <= value <= high + near]
    pad = 0.02 * (high - low)
    return min([low, *(b - pad for b in bounds)]), max([high, *(b + pad for b in bounds)])


def _plane(run: Run, source: FrontSource, front: Any, behind: Any, x: Field, y: Field) -> View:
    """The plane of the first two objectives, the feasible on its worse side, names at the named cores."""
    plot = new_plot("plane", x.axis, y.axis, height=436)
    if x.key in behind.data and y.key in behind.data:
        drawn_samples(plot, behind, x.key, y.key)
    _ranges(run, source, plot, (x, y))
    for at, field in enumerate((x, y)):
        _wider(run, source, plot.x_range if at == 0 else plot.y_range, behind.data.get(field.key), at)
    _limits(run, plot, (x, y))
    hover(plot, [drawn_front(plot, front, x.key, y.key)], said(source, x, y))
    _names(source, plot, x, y)
    return View("plane", "The front" if source.is_front else "The nearest misses", plot, x, y)


def _wider(run: Run, source: FrontSource, view: Any, behind: Any, at: int) -> None:
    """Room on the worse side for the feasible, as far as there are any."""
    known = np.array([v for v in (behind or []) if np.isfinite(v)])
    if not known.size or not source.is_front:
        return
    room = _BESIDE * (view.end - view.start)
    if run.record["objectives"][at]["maximise"]:
        view.start = view.reset_start = max(view.start - room, min(view.start, float(known.min())))
    else:
        view.end = view.reset_end = min(view.end + room, max(view.end, float(known.max())))


def _names(source: FrontSource, plot: Any, x: Field, y: Field) -> None:
    """Names beside the named cores, towards the middle of the view."""
    from bokeh.models import ColumnDataSource

    places = [i for i, pick in enumerate(source.data["pick"]) if pick]
    middle = (plot.x_range.start + plot.x_range.end) / 2
    for left in (True, False):
        own = [i for i in places if (source.data[x.key][i] < middle) is left]
        data = {"x": [source.data[x.key][i] for i in own], "y": [source.data[y.key][i] for i in own],
                "text": [source.data["pick"][i] for i in own]}
        text = plot.text(
            "x", "y", text="text", source=ColumnDataSource(data), x_offset=11 if left else -11, y_offset=-8,
            text_align="left" if left else "right", text_baseline="middle", text_font_size="12.5px",
            text_font="system-ui, 'DejaVu Sans', Arial, sans-serif", text_font_style="bold", name="pick names",
            background_fill_alpha=0.75, padding=1,
        )
        painted(text.glyph, text_color="ink", background_fill_color="paper")


def _shape(run: Run, source: FrontSource, front: Any) -> View | None:
    """Thickness against fin density, or what else varies in their place; coinciding cores drawn apart."""
    wanted = ("thickness", "fin_density", "passages", "stack_height", "dry_mass")
    found = [f for f in (source.find(name) for name in wanted) if f is not None and f.varies]
    if len(found) < 2 or not len(source):
        return None
    x, y = found[:2]
    front.data["shape_x"], front.data["shape_y"] = drawn_apart(source.values(x), source.values(y))
    plot = new_plot("shape", x.axis, y.axis)
    hover(plot, [drawn_front(plot, front, "shape_x", "shape_y")], said(source, x, y))
    for axis, key, field in (("x_range", "shape_x", x), ("y_range", "shape_y", y)):
        setattr(plot, axis, view_range(*_view(np.array(front.data[key]), limits_of(run, field))))
    _limits(run, plot, (x, y))
    return View("shape", f"{x.label[:1].upper()}{x.label[1:]} and {y.label}", plot, x, y)


def drawn_apart(x: Array, y: Array) -> tuple[list[float], list[float]]:
    """Points that coincide, set on a small spiral about their place; the others where they are.

    >>> drawn_apart(np.array([1.0, 2.0]), np.array([5.0, 6.0]))
    ([1.0, 2.0], [5.0, 6.0])
    """
    steps = [float(np.min(np.diff(np.unique(v)))) if len(np.unique(v)) > 1 else 0.0 for v in (x, y)]
    moved = np.column_stack([x, y]).astype(np.float64)
    for place in np.unique(moved[np.all(np.isfinite(moved), axis=1)], axis=0):
        own = np.flatnonzero(np.all(moved == place, axis=1))
        if len(own) > 1:
            k = np.arange(len(own))
            radius = _SPREAD * np.sqrt((k + 0.3) / len(own))
            moved[own, 0] += radius * steps[0] * np.cos(_GOLDEN * k)
            moved[own, 1] += radius * steps[1] * np.sin(_GOLDEN * k)
    return numbers(moved[:, 0]), numbers(moved[:, 1])

