"""What the figure of trade-off curves shows, worked out from a table of curves."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize.report.columns import columns_of, one_column, requirement_words, typeset, words
from optimize.report.figure_data import limit_words
from optimize.runs import Run
from physics.arrays import Array, BoolArray

if TYPE_CHECKING:
    import pandas as pd

CURVE_ROWS = (
    "heat_rejected", "air_outlet_temperature", "air_pressure_drop", "coolant_pressure_drop", "filled_mass",
    "d air_pressure_drop/d heat_rejected",
)
MOST_LINES = 6  # of a family, in one panel
_NEAR = 0.25  # of a row's height; a limit nearer to it than this is drawn


@dataclass(frozen=True)
class CurveRow:
    """One quantity along a curve.

    Attributes
    ----------
    title : with its unit, without the duty point. lines : (n,) by duty point, "" for an output of the core.
    limits : values and words.
    """

    title: str
    lines: dict[str, Array]
    limits: tuple[tuple[float, str], ...]


def curve_view(rows: tuple[CurveRow, ...]) -> tuple[float, float]:
    """Lowest and highest value to show for rows side by side: all of it, but for the far ends of a price.

    A price runs away where cooling stands still; there the middle nine tenths are shown, and zero.
    """
    values = np.concatenate([line[np.isfinite(line)] for row in rows for line in row.lines.values()])
    if not values.size:
        return 0.0, 1.0
    low, high = float(values.min()), float(values.max())
    if rows[0].title.startswith("d "):
        low, high = (float(v) for v in np.quantile(values, (0.05, 0.95)))
        low, high = min(low, 0.0), max(high, 0.0)
    near = _NEAR * (high - low)
    bounds = [value for row in rows for value, _ in row.limits if low - near <= value <= high + near]
    low, high = min([low, *bounds]), max([high, *bounds])
    pad = 0.1 * (high - low) or 0.05 * abs(high) or 1.0
    return low - pad, high + pad


@dataclass(frozen=True)
class CurveData:
    """Curves of one variable around the knee.

    Attributes
    ----------
    title : the variable's column. x : (n,), ascending. own : the chosen core's value, NaN where none is marked.
    breaks : (n,) whether the core would break a requirement; broken : which requirements, in words.
    rows : as in `CURVE_ROWS`, those the table has. heading : what the curves are of, above them.
    """

    title: str
    x: Array
    own: float
    breaks: BoolArray
    broken: tuple[str, ...]
    rows: tuple[CurveRow, ...]
    heading: str

    @property
    def spans(self) -> list[tuple[float, float]]:
        """Stretches of x in which the core breaks a requirement, each value standing for half the way to the next."""
        edges = np.concatenate([self.x[:1], (self.x[1:] + self.x[:-1]) / 2, self.x[-1:]])
        stretches: list[tuple[float, float]] = []
        for i in np.flatnonzero(self.breaks):
            low, high = float(edges[i]), float(edges[i + 1])
            if stretches and stretches[-1][1] == low:
                stretches[-1] = (stretches[-1][0], high)
            else:
                stretches.append((low, high))
        return stretches


def curve_data(run: Run) -> tuple[CurveData, ...]:
    """One set of curves for each variable that varied along a scale around the knee."""
    table, front = run.tables["curves"], run.tables["front"]
    knee = front[front["core"] == run.record["picks"]["knee"]].iloc[0]
    curves = []
    for name in dict.fromkeys(table["varied"].astype(str)):
        c = one_column(table, name)
        own = float(knee[c.title])
        heading = f"knee: {own:.4g} {typeset(c.unit)}".rstrip()
        rows = table[table["varied"] == name]
        curves.append(_curve(rows, c.title, own, heading, run.record["limits"]))
    return tuple(curves)


def family_data(table: "pd.DataFrame", names: Sequence[str], duty_names: Sequence[str]) -> tuple[CurveData, ...]:
    """A table of curves on its own: of one variable; or of the first for some values of the second, by duty point."""
    first = one_column(table, names[0]).title
    if len(names) == 1:
        return (_curve(table, first, float("nan"), "", ()),)
    second = one_column(table, names[1])
    steps = np.unique(table[second.title].to_numpy(dtype=np.float64))
    chosen = steps[np.unique(np.linspace(0, len(steps) - 1, min(MOST_LINES, len(steps))).round().astype(int))]
    parts = {
        f"{words(second.name)} {value:.4g} {typeset(second.unit)}".rstrip(): table[table[second.title] == value]
        for value in chosen
    }
    return tuple(_family(parts, first, duty) for duty in duty_names)


def _family(parts: dict[str, "pd.DataFrame"], first: str, duty: str) -> CurveData:
    """Curves of several tables over the same x, at one duty point; shaded where every one of them breaks something."""
    curves = {name: _curve(part, first, float("nan"), "", ()) for name, part in parts.items()}
    one = next(iter(curves.values()))
    rows = tuple(
        CurveRow(row.title, {name: _line(c.rows[i], duty) for name, c in curves.items()}, ())
        for i, row in enumerate(one.rows)
    )
    breaks = np.all([c.breaks for c in curves.values()], axis=0)
    broken = ("a requirement on every curve",) if np.any(breaks) else ()
    return CurveData(first, one.x, float("nan"), breaks, broken, rows, words(duty))


def _line(row: CurveRow, duty: str) -> Array:
    return row.lines[duty if duty in row.lines else ""]


def _curve(
    rows: "pd.DataFrame", title: str, own: float, heading: str, limits: Sequence[dict[str, Any]]
) -> CurveData:
    rows = rows.sort_values(title, kind="stable")
    texts = rows["fails"].fillna("").astype(str)
    broken = dict.fromkeys(requirement_words(part) for text in texts if text for part in text.split("; "))
    found = (_row(rows, wanted, limits) for wanted in CURVE_ROWS)
    return CurveData(
        title, rows[title].to_numpy(dtype=np.float64), own, (texts != "").to_numpy(dtype=bool), tuple(broken),
        tuple(row for row in found if row.lines), heading,
    )


def _row(rows: "pd.DataFrame", wanted: str, limits: Sequence[dict[str, Any]]) -> CurveRow:
    found = columns_of(rows, wanted)
    lines = {c.at or "": rows[c.title].to_numpy(dtype=np.float64) for c in found}
    bounds = tuple((float(limit["bound"]), limit_words(limit)) for limit in limits if limit["output"] == wanted)
    unit = found[0].unit if found else ""
    return CurveRow(f"{wanted} [{unit}]" if unit else wanted, lines, bounds)
