"""The front as a table and as parallel axes, over the one source of the linked views."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from optimize.report.columns import number, words
from optimize.report.page.front_source import Field, FrontSource
from optimize.report.page.packing import numbers
from optimize.report.page.plain_text import one_line
from optimize.report.page.plots import FONT, hover, named_ticks, new_plot, painted
from optimize.report.page.views import said
from optimize.report.summary import MAIN_OUTPUTS
from optimize.runs import Run
from physics.arrays import Array

_MOST_NAMES = 14  # written along one axis
_TABLE = """
:host { --bk: var(--paper); }
.slick-header-column.ui-state-default { background: var(--panel); color: var(--ink); border-color: var(--rule);
  height: 58px; white-space: normal; line-height: 1.2; overflow: hidden;
  font: 12px system-ui, "DejaVu Sans", Arial, sans-serif; }
.slick-header-columns { background: var(--panel); height: 60px; }
.slick-column-name { white-space: normal; }
.slick-row { background: var(--paper); }
.slick-row.odd { background: var(--panel); }
.slick-cell { color: var(--ink); border-color: var(--rule); font: 12.5px system-ui, "DejaVu Sans", Arial, sans-serif;
  font-variant-numeric: tabular-nums; padding: 2px 5px; }
.slick-row .slick-cell.selected { background: color-mix(in srgb, var(--chosen) 22%, var(--paper)); color: var(--ink); }
.slick-cell.bk-cell-select, .slick-cell.bk-cell-index { background: var(--panel); }
.slick-row:hover .slick-cell { outline: none; }
.slick-cell.active { border: 1px solid var(--chosen); }
.bk-data-table, .slick-viewport { background: var(--paper); border-color: var(--rule); }
"""


def table_fields(run: Run, source: FrontSource) -> list[Field]:
    """What the table shows of a core: variables, objectives, main outputs at each duty point, yield."""
    duties = {"", *map(str, run.record["duty"])}
    main = [f for f in source.fields if f.name in MAIN_OUTPUTS and f.at in duties]
    variables = [f for f in source.fields if f.name in run.record["variables"]]
    yields = [f for f in source.fields if f.name in ("share_shop", "share_shop_and_run")]
    return list(dict.fromkeys([*variables, *source.objectives, *main, *yields]))


def data_table(run: Run, source: FrontSource, front: Any) -> Any:
    """The table over the one source; its rows are the same cores as the marks."""
    from bokeh.models import DataTable, InlineStyleSheet, NumberFormatter, StringFormatter, TableColumn

    texts = [("core", "core", 82), ("pick", "name", 116)]
    for key, title in source.names.items():
        texts.append((key, title.replace("_", " "), min(190, max(64, 16 + 7 * max(map(len, source.data[key]))))))
    if not source.is_front:
        texts.append(("fails", "misses", 320))
    columns = [TableColumn(field=k, title=t, width=w, formatter=StringFormatter()) for k, t, w in texts]
    for field in table_fields(run, source):
        written = NumberFormatter(format=_format(source.values(field)), text_align="right", nan_format="-")
        columns.append(TableColumn(field=field.key, title=_escaped(field.axis), width=104, formatter=written))
    return DataTable(
        name="table", source=front, columns=columns, selectable="checkbox", sortable=True, index_position=None,
        width_policy="max", height=min(460, 74 + 25 * max(len(source), 2)), autosize_mode="none", row_height=25,
        stylesheets=[InlineStyleSheet(css=_TABLE)], reorderable=False, scroll_to_selection=True,
    )


def _escaped(text: str) -> str:
    """Heads of the table go in as markup."""
    from html import escape

    return escape(one_line(text, 80))


def _format(values: Array) -> str:
    """As many decimals as three digits of a middling value need; whole numbers as such.

    >>> _format(np.array([57.1, 15.2])), _format(np.array([12.0, 17.0])), _format(np.array([0.0213]))
    ('0.0', '0', '0.0000')
    """
    known = values[np.isfinite(values)]
    if not known.size or np.all(known == np.round(known)):
        return "0"
    decimals = max(0, 2 - math.floor(math.log10(float(np.median(np.abs(known))) or 1.0)))
    return "0." + "0" * decimals if decimals else "0"


@dataclass(frozen=True)
class Rail:
    """One of the parallel axes: words, positions (n,) from 0 to 1, and what is written along it, at which height."""

    title: str
    at: Array
    marks: tuple[tuple[float, str], ...]


def rails(run: Run, source: FrontSource) -> list[Rail]:
    """A rail for each variable that changes along the front, then one for each objective."""
    found = []
    for name in map(str, run.record["variables"]):
        key = next((k for k, title in source.names.items() if title == name), None)
        field = source.find(name)
        if key is not None and len(set(source.data[key])) > 1:
            found.append(_names(words(name), source.data[key]))
        elif field is not None and field.varies:
            found.append(_scale(field, source.values(field)))
    found += [_scale(field, source.values(field)) for field in source.objectives if field.varies]
    return found


def _names(title: str, values: list[str]) -> Rail:
    """Names in alphabetical order; as many written as there is room for."""
    names = sorted(set(values))
    at = {name: i / max(len(names) - 1, 1) for i, name in enumerate(names)}
    step = math.ceil(len(names) / _MOST_NAMES)
    return Rail(title, np.array([at[v] for v in values]), tuple((at[n], one_line(n, 18)) for n in names[::step]))


def _scale(field: Field, values: Array) -> Rail:
    """Numbers from the lowest to the highest; few of them each written."""
    known = values[np.isfinite(values)]
    low, high = float(known.min()), float(known.max())
    each = np.unique(known)
    shown = each if len(each) <= 8 else np.linspace(low, high, 4)
    marks = tuple(((float(v) - low) / (high - low), f"{v:.4g}" if len(each) <= 8 else number(float(v))) for v in shown)
    return Rail(field.axis, (values - low) / (high - low), marks)


def parallel_axes(run: Run, source: FrontSource, front: Any) -> Any | None:
    """Every core of the front as a line across its variables and objectives; None where nothing changes."""
    drawn = rails(run, source)
    if len(drawn) < 2:
        return None
    at = np.column_stack([rail.at for rail in drawn])
    places = [float(i) for i in range(len(drawn))]
    front.data["rail_x"], front.data["rail_y"] = [places] * len(source), [numbers(row) for row in at]
    plot = new_plot(
        "parallel", "", "", 400, "tap,reset,save", x_range=(-0.4, len(drawn) - 0.45), y_range=(-0.07, 1.09)
    )
    plot.yaxis.visible = plot.ygrid.visible = plot.xgrid.visible = False
    named_ticks(plot.xaxis[0], [rail.title for rail in drawn], breaks=True)
    alpha = 0.6 * min(1.0, math.sqrt(20 / len(source)))
    lines = plot.multi_line(
        "rail_x", "rail_y", source=front, line_width=1.6, line_alpha=alpha, name="front lines",
        selection_line_alpha=1.0, selection_line_width=3.2, nonselection_line_alpha=0.35 * alpha,
    )
    painted(lines.glyph, line_color="front")
    painted(lines.selection_glyph, line_color="chosen")
    painted(lines.nonselection_glyph, line_color="front")
    _written(plot, drawn)
    hover(plot, [lines], said(source))
    return plot


def _written(plot: Any, drawn: list[Rail]) -> None:
    """The rails, and what is written along them."""
    from bokeh.models import ColumnDataSource

    n = len(drawn)
    ends = ColumnDataSource({"x": [float(i) for i in range(n)], "low": [0.0] * n, "high": [1.0] * n})
    painted(plot.segment("x", "low", "x", "high", source=ends, line_width=1.2).glyph, line_color="soft")
    marks = [(float(i), height, text) for i, rail in enumerate(drawn) for height, text in rail.marks]
    data = {key: [mark[j] for mark in marks] for j, key in enumerate(("x", "y", "text"))}
    text = plot.text(
        "x", "y", text="text", source=ColumnDataSource(data), x_offset=6, text_baseline="middle", text_font=FONT,
        text_font_size="11.5px", padding=2, background_fill_alpha=0.8,
    )
    painted(text.glyph, text_color="ink", background_fill_color="paper")
    dots = plot.scatter("x", "y", source=ColumnDataSource(data), size=5, marker="dash")
    painted(dots.glyph, line_color="soft")
