"""What the figures of the heat soak show: temperatures and ice over the schedule, and what more of either buys."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize.report.columns import one_column, typeset
from optimize.runs import Run
from physics.arrays import Array, BoolArray

if TYPE_CHECKING:
    import pandas as pd

AMOUNTS = {"reservoir": "reservoir_volume", "ice": "ice"}


@dataclass(frozen=True)
class SoakTrace:
    """One core over the schedule, all (t,): charge (NaN in rests), coolant into the core, reservoir, ice left."""

    name: str
    time: Array
    charge: Array
    coolant: Array
    reservoir: Array
    ice: Array

    @property
    def hottest(self) -> float:
        """Hottest charge of the schedule; NaN where there is none."""
        known = self.charge[np.isfinite(self.charge)]
        return float(known.max()) if known.size else float("nan")


@dataclass(frozen=True)
class SoakData:
    """Traces of some cores; `pulls`: stretches of time with boost on; `limit` of the charge, in `unit`."""

    traces: tuple[SoakTrace, ...]
    pulls: tuple[tuple[float, float], ...]
    limit: float
    limit_text: str
    unit: str
    time_title: str
    ice_title: str

    @property
    def has_ice(self) -> bool:
        """Whether any core begins with ice."""
        return any(bool(np.any(trace.ice > 0)) for trace in self.traces)


@dataclass(frozen=True)
class GainLine:
    """One core over amounts (k,), ascending: seconds under the limit and hottest charge (k,)."""

    name: str
    amount: Array
    under_limit: Array
    hottest: Array


@dataclass(frozen=True)
class GainPanel:
    """What more of something buys: its column, a line for each core, and the study's own amount, NaN if not told."""

    what: str
    title: str
    time_title: str
    hottest_title: str
    lines: tuple[GainLine, ...]
    own: float


def core_label(record: dict[str, Any], core: str) -> str:
    """Names and id of a core.

    >>> core_label({"picks": {"knee": "C7", "most cooling": "C7"}}, "C7"), core_label({}, "typed")
    ('knee, most cooling, C7', 'typed')
    """
    return ", ".join([*(name for name, at in record.get("picks", {}).items() if at == core), core])


def soak_data(run: Run) -> SoakData:
    """Every core of the table of traces that could be computed, in its order."""
    table, asked = run.tables["soak"], run.record["soak"]
    table = table[np.isfinite(table[one_column(table, "coolant_temperature").title])]
    cores = list(dict.fromkeys(table["core"].astype(str)))
    if not cores:
        raise KeyError("soak: a core that could be computed")
    time = one_column(table, "time").title
    first = table[table["core"] == cores[0]]
    unit = one_column(table, "charge_temperature").unit
    return SoakData(
        tuple(_trace(run.record, table[table["core"] == core], core) for core in cores),
        stretches(first[time].to_numpy(dtype=np.float64), (first["heated"] == "yes").to_numpy(dtype=bool)),
        float(asked["limit"]), f"limit {float(asked['limit']):.4g} {typeset(str(asked['unit']))}", unit, time,
        one_column(table, "ice_left").title,
    )


def _trace(record: dict[str, Any], rows: "pd.DataFrame", core: str) -> SoakTrace:
    names = ("time", "charge_temperature", "coolant_temperature", "reservoir_temperature", "ice_left")
    values = (rows[one_column(rows, name).title].to_numpy(dtype=np.float64) for name in names)
    return SoakTrace(core_label(record, core), *values)


def stretches(at: Array, on: BoolArray) -> tuple[tuple[float, float], ...]:
    """Stretches in which something is on, each sample standing for half the way to its neighbours.

    >>> stretches(np.array([0.0, 1.0, 2.0, 3.0]), np.array([True, True, False, True]))
    ((0.0, 1.5), (2.5, 3.0))
    """
    edges = np.concatenate([at[:1], (at[1:] + at[:-1]) / 2, at[-1:]])
    turns = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(int)))
    return tuple((float(edges[i]), float(edges[j])) for i, j in zip(turns[::2], turns[1::2], strict=True))


def gain_data(run: Run) -> tuple[GainPanel, ...]:
    """Seconds under the limit over the reservoir's volume and over the ice, whichever the table has."""
    table = run.tables["soak_gains"]
    return tuple(_gain_panel(run, what) for what in AMOUNTS if np.any(table["what"] == what))


def _gain_panel(run: Run, what: str) -> GainPanel:
    table = run.tables["soak_gains"]
    title, seconds, hottest = (
        one_column(table, name).title for name in (AMOUNTS[what], "soak_time_under_limit", "soak_hottest_charge")
    )
    lines = []
    for core in dict.fromkeys(table["core"].astype(str)):
        rows = table[(table["core"] == core) & (table["what"] == what)].sort_values(title, kind="stable")
        if len(rows):
            values = (rows[t].to_numpy(dtype=np.float64) for t in (title, seconds, hottest))
            lines.append(GainLine(core_label(run.record, core), *values))
    return GainPanel(what, title, seconds, hottest, tuple(lines), _own_amount(table[table["what"] != what][title]))


def _own_amount(elsewhere: "pd.Series[float]") -> float:
    """The study's own amount: the one at which something else was varied; NaN where the table does not tell."""
    values = elsewhere.to_numpy(dtype=np.float64)
    told = values.size and np.all(values == values[0])
    return float(values[0]) if told else float("nan")
