"""The sheet Tolerances: each with its law and cost, the share of copies that meets the limits, percentiles, slopes."""

from typing import TYPE_CHECKING, Any

from optimize import copy_tables
from optimize.handover import notes
from optimize.handover.digits import decimals
from optimize.handover.grid import Grid, Look, Value, Words
from optimize.handover.plain_text import clean, words
from optimize.handover.specification import dimension
from optimize.handover.subject import Subject
from optimize.tolerance.scatter import scatter
from physics.outputs import OUTPUTS

if TYPE_CHECKING:
    import pandas as pd

_WIDTHS = (46, 30, *(11 for _ in range(12)))
_RIGHT = (*("" for _ in range(9)), "number", "number")
_PARTS = {"coolant_fin": "turbulator", "air_fin": "air fin", "port": "port"}


def tolerance_sheet(s: Subject, book: Any, look: Look, named: Words) -> None:
    """Four tables below one another; what the run has is taken from it, the rest is made here."""
    grid = Grid(book, look, "Tolerances", _WIDTHS, named)
    for text in notes.tolerances(s):
        grid.note(text)
    grid.sheet.freeze_panes(2, 1)
    _stated(s, grid)
    made = _copy_tables(s)
    if made:
        _shares(grid, made["yield"])
        _percentiles(grid, made["percentiles"])
    if (slopes := _own(s, "sensitivities")) is not None:
        _slopes(grid, slopes, _own(s, "indices"))


def label(name: str) -> str:
    """A tolerance in words.

    >>> label("coolant_fin.pitch"), label("plate_thickness")
    ('turbulator, pitch', 'plate thickness')
    """
    part, dot, key = name.partition(".")
    return f"{_PARTS.get(part, words(part))}, {words(key)}" if dot else words(name)


def _own(s: Subject, table: str) -> "pd.DataFrame | None":
    """The rows of the core in a table of its run; None where there are none."""
    if table not in s.tables:
        return None
    rows = s.tables[table][s.tables[table]["core"] == s.name]
    return None if rows.empty else rows


def _copy_tables(s: Subject) -> dict[str, "pd.DataFrame"]:
    """Shares and percentiles: the run's, or of copies made as the run makes them."""
    kept = {name: _own(s, name) for name in ("yield", "percentiles")}
    found = {name: table for name, table in kept.items() if table is not None}
    if len(found) == len(kept):
        return found
    if not s.problem.study.scatter.draws:
        return {}
    made = {s.name: scatter(s.problem.study, [s.core])[0]}
    return {
        "yield": copy_tables.yield_table(s.problem, made), "percentiles": copy_tables.percentile_table(s.problem, made),
    }


def _stated(s: Subject, grid: Grid) -> None:
    """Every tolerance; with the run's budget what it may become."""
    budget = _own(s, "budget")
    more = ("tighten to", "relax, by itself") if budget is not None else ()
    heads = ("", "tolerance", "unit", "nominal", "lower", "upper", "half width in standard deviations", "Cp",
             "cost of halving", *more)
    grid.heading("Tolerances stated")
    grid.heads(heads, left=(1, 2))
    become = {str(row["tolerance"]): row for _, row in budget.iterrows()} if budget is not None else {}
    for name, tolerance in s.tolerances.items():
        entry = dimension(s, name)
        row: list[Value] = [
            label(name), entry.law, entry.unit, entry.value, entry.low, entry.high, entry.sigmas, entry.Cp,
            tolerance.tighten_cost,
        ]
        if name in become:
            row += [str(become[name]["tightened"]), f"{float(become[name]['relaxed_alone_factor']):.3g} times"]
        grid.row(row, (None, None, None, *(entry.places for _ in range(3)), 2, 2, 2), _RIGHT)
    if not s.tolerances:
        grid.note("The study states no tolerance for this core.")


def _shares(grid: Grid, table: "pd.DataFrame") -> None:
    """A row a requirement and duty point, three columns a kind of scatter."""
    kinds = list(dict.fromkeys(table["scatter"]))
    grid.heading("Share of copies that meet what is asked [%], each with its exact interval")
    for i, kind in enumerate(kinds):
        count = table[table["scatter"] == kind].iloc[0]
        grid.over(2 + 3 * i, 4 + 3 * i, f"{kind}: {int(count['draws'])} copies, {int(count['lost'])} without numbers")
    grid.sheet.set_row(grid.at, 30)
    grid.at += 1
    grid.heads(("requirement", "duty point", *(text for _ in kinds for text in ("share", "from", "to"))), left=(1,))
    for (requirement, duty), rows in table.fillna({"duty": ""}).groupby(["requirement", "duty"], sort=False):
        by_kind = rows.set_index("scatter")
        numbers = [float(by_kind.loc[k, f"{part} [%]"]) for k in kinds for part in ("share", "low", "high")]
        grid.row((words(str(requirement)), _duty(duty), *numbers), 2)


def _percentiles(grid: Grid, table: "pd.DataFrame") -> None:
    """A row an output, duty point and kind of scatter, three columns a statistic."""
    statistics = list(dict.fromkeys(table["statistic"]))
    grid.heading("Percentiles of the copies, each with its interval")
    for i, name in enumerate(statistics):
        grid.over(2 + 3 * i, 4 + 3 * i, name)
    grid.at += 1
    grid.heads(("output and duty point", "scatter, unit", *(t for _ in statistics for t in ("value", "from", "to"))),
               left=(1,))
    for (output, duty, kind, unit), rows in table.groupby(["output", "duty", "scatter", "unit"], sort=False):
        known = rows.set_index("statistic")
        numbers = [float(known.loc[name, part]) for name in statistics for part in ("value", "low", "high")]
        name, scale = f"{_output(output)}, {_duty(duty)}", f"{kind}, {_unit(unit)}".removesuffix(", ")
        grid.row((name, scale, *numbers), decimals(numbers))


def _slopes(grid: Grid, table: "pd.DataFrame", indices: "pd.DataFrame | None") -> None:
    """What each tolerance does to each output, and its share of the scatter."""
    keys = ("output", "duty", "tolerance")
    total = {} if indices is None else {
        tuple(str(row[key]) for key in keys): float(row["total"]) for _, row in indices.iterrows()
    }
    grid.heading("What each tolerance does")
    grid.heads(("output and duty point", "tolerance", "unit", "slope", "for each", "at its lower end",
                "at its upper end", "share of the scatter [%]"), left=(1, 2, 4))
    for _, row in table.iterrows():
        numbers = [float(row[key]) for key in ("slope", "at_low", "at_high")]
        slope, *ends = (decimals([value], 3) for value in numbers)
        share = total.get(tuple(str(row[key]) for key in keys))
        name = ", ".join(part for part in (_output(row["output"]), _duty(row["duty"])) if part)
        grid.row(
            (name, label(str(row["tolerance"])), _unit(row["unit"]), numbers[0], str(row["per"]), *numbers[1:],
             None if share is None else 100 * share),
            (None, None, None, slope, None, *ends, 1),
        )


def _output(name: object) -> str:
    return OUTPUTS[str(name)].label if str(name) in OUTPUTS else words(str(name))


def _unit(label: object) -> str:
    """A unit as typeset: '°C' for 'degC'."""
    text = "" if label != label else str(label)
    for plain, typeset in (("^2", "²"), ("^3", "³"), ("*", "·"), ("deg", "°")):
        text = text.replace(plain, typeset)
    return text


def _duty(name: object) -> str:
    """A duty point; empty for what is none's own."""
    return clean(words(name), 48) if isinstance(name, str) else ""
