"""What the tornado shows: how far each tolerance of one core moves each main output, and its share of the scatter."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize.report.columns import column, typeset, words
from optimize.report.copy_data import plus_minus, rows_of, texts, tolerance_words
from optimize.report.figure_data import limit_words, objective_titles
from optimize.runs import Run
from physics.arrays import Array

if TYPE_CHECKING:
    import pandas as pd

MAIN = ("air_pressure_drop", "air_outlet_temperature", "coolant_pressure_drop", "heat_rejected")
MOST_ROWS = 6
_NOTHING = 1e-3  # of the largest effect; less is none


@dataclass(frozen=True)
class TornadoRow:
    """A tolerance: its name in words, half width as text (empty if unknown), and the output's change at both its ends.

    `total`: total Sobol' index with its interval (value, low, high) as shares of 1, None where it was not worked out.
    """

    name: str
    half_width: str
    at_low: float
    at_high: float
    total: tuple[float, float, float] | None

    @property
    def size(self) -> float:
        return max(abs(self.at_low), abs(self.at_high))


@dataclass(frozen=True)
class TornadoPanel:
    """An output at a duty point in words, its unit of change, its limit in words, tolerances by effect, largest first.

    `others` tolerances have effects no larger than `others_size`.
    """

    output: str
    unit: str
    limit: str
    rows: tuple[TornadoRow, ...]
    others: int
    others_size: float


@dataclass(frozen=True)
class TornadoData:
    """One core's panels; `refused`: why shares of the scatter are not known, empty where they are or nobody tells."""

    core: str
    panels: tuple[TornadoPanel, ...]
    confidence: float
    refused: str

    @property
    def has_totals(self) -> bool:
        return any(row.total is not None for panel in self.panels for row in panel.rows)


def tornado_data(run: Run, core: str | None = None) -> TornadoData:
    """Effects of the tolerances of a core (the table's first, if not told) on the main outputs and what is limited."""
    table = run.tables["sensitivities"]
    core = core or texts(table, "core")[0]
    own = rows_of(table, core=core)
    widths = half_widths(run, core)
    panels = tuple(_panel(run, core, own, output, at, widths) for output, at in shown_outputs(run, own))
    refused = str(run.record.get("no_indices", ""))
    return TornadoData(core, panels, float(run.record["scatter"]["confidence"]), refused)


def half_widths(run: Run, core: str) -> dict[str, str]:
    """Half width with its unit as text, by tolerance; from the budget, or from the sensitivities where they have it."""
    for name in ("budget", "sensitivities"):
        table = run.tables.get(name)
        if table is not None and "half_width" in table.columns:
            own = rows_of(table, core=core)
            widths = [plus_minus(text) for text in texts(own, "half_width")]
            return dict(zip(texts(own, "tolerance"), widths, strict=True))
    return {}


def shown_outputs(run: Run, table: "pd.DataFrame") -> list[tuple[str, str]]:
    """(output, duty point) to show: each main output where it is limited, wanted, or first; then the other limits."""
    there = list(dict.fromkeys(zip(texts(table, "output"), texts(table, "duty"), strict=True)))
    limited = [(str(limit["output"]), str(limit["at"] or "")) for limit in run.record["limits"]]
    wanted = [(c.name, c.at or "") for c in (column(title) for title in objective_titles(run))]
    asked = [pair for pair in [*limited, *wanted] if pair in there]
    found = []
    for output in MAIN:
        first = [pair for pair in [*asked, *there] if pair[0] == output]
        found += first[:1]
    shown = {output for output, _ in found}
    found += [pair for pair in asked if pair in limited or pair[0] not in shown]
    return list(dict.fromkeys(found))


def _panel(
    run: Run, core: str, table: "pd.DataFrame", output: str, at: str, widths: dict[str, str]
) -> TornadoPanel:
    own = rows_of(table, output=output, duty=at)
    duty = governing(table, output) if at == "worst" else at
    totals = _totals(run, core, output, at) or _totals(run, core, output, duty)
    rows = [
        TornadoRow(tolerance_words(name), widths.get(name, ""), float(low), float(high), totals.get(name))
        for name, low, high in zip(texts(own, "tolerance"), own["at_low"], own["at_high"], strict=True)
        if np.isfinite(low) and np.isfinite(high)
    ]
    rows.sort(key=lambda row: -row.size)
    floor = _NOTHING * rows[0].size if rows else 0.0
    shown = tuple(row for row in rows[:MOST_ROWS] if row.size > floor)
    others = rows[len(shown) :]
    return TornadoPanel(
        words(output) + _where(at, duty), typeset(texts(own, "unit")[0]),
        _limit(run.record["limits"], output, at), shown, len(others), max((row.size for row in others), default=0.0),
    )


def governing(table: "pd.DataFrame", output: str) -> str:
    """The duty point that is the worst of all for an output: its effects are those of the worst; empty if none has."""
    effects = {
        duty: rows_of(table, output=output, duty=duty)[["at_low", "at_high"]].to_numpy(dtype=np.float64)
        for duty in dict.fromkeys(texts(rows_of(table, output=output), "duty"))
    }
    same = (
        duty for duty, values in effects.items()
        if duty not in ("worst", "mean") and np.allclose(values, effects["worst"], rtol=1e-6, equal_nan=True)
    )
    return next(same, "")


def _where(at: str, duty: str) -> str:
    """Where an output is taken, in words; of the worst also which duty point that is."""
    if at == "worst" and duty:
        return f", worst ({words(duty)})"
    return f", {words(at)}" if at else ""


def _limit(limits: list[dict[str, Any]], output: str, at: str) -> str:
    for limit in limits:
        if limit["output"] == output and (limit["at"] or "") in (at, "worst"):
            side = "at most" if limit["side"] == "max" else "at least"
            return f"{side} {limit_words({**limit, 'at': None}).removeprefix('limit ')}"
    return ""


def _totals(run: Run, core: str, output: str, at: str) -> dict[str, tuple[float, float, float]]:
    if "indices" not in run.tables:
        return {}
    own = rows_of(run.tables["indices"], core=core, output=output, duty=at)
    values = own[["total", "total_low", "total_high"]].to_numpy(dtype=np.float64)
    return {name: _triple(row) for name, row in zip(texts(own, "tolerance"), values, strict=True)}


def _triple(row: Array) -> tuple[float, float, float]:
    value, low, high = (float(v) for v in row)
    return value, low, high


def index_text(total: tuple[float, float, float]) -> str:
    """A total index with its interval, in per cent.

    >>> index_text((0.624, 0.58, 0.661)), index_text((-0.001, -0.004, 0.002))
    ('62 % (58 .. 66)', '<1 % (0 .. 0)')

    Estimates may leave 0 .. 1 by their error; a share does not.
    """
    value, low, high = (round(100 * min(max(v, 0.0), 1.0)) for v in total)
    return f"{value or '<1'} % ({low} .. {high})"
