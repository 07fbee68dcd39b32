"""What the figure of the net gain shows: what each front core gains over the reference core, and at what cost."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimize.report.columns import column, columns_of, words
from optimize.report.figure_data import objective_titles, sorted_front
from optimize.runs import Run
from physics.arrays import Array

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class NetGainData:
    """Net gain and its two parts along the front, all (n,) and in `unit`.

    Attributes
    ----------
    title : column of the first objective. x : its values, ascending. cores, picks : ids, and names where they have one.
    gain = engine + shaft; engine : more engine power, estimated; shaft : less shaft power, above zero when saved.
    best : position of the greatest gain. at : a duty point in words, or that it is their mean.
    """

    title: str
    x: Array
    cores: tuple[str, ...]
    picks: tuple[str, ...]
    gain: Array
    engine: Array
    shaft: Array
    unit: str
    best: int
    at: str


def net_gain_data(run: Run) -> NetGainData:
    """Gain over the reference core, weighted over the duty points."""
    front, title = sorted_front(run), objective_titles(run)[0]
    gain, engine, shaft = (
        duty_mean(run, front, name) for name in ("net_gain", "engine_power_change", "shaft_power_change")
    )
    duties = run.record["duty"]
    return NetGainData(
        title, front[title].to_numpy(dtype=np.float64), tuple(front["core"].astype(str)),
        tuple(front["pick"].fillna("").astype(str)), gain, engine, -shaft,
        column(columns_of(front, "net_gain")[0].title).unit, int(np.nanargmax(gain)),
        words(str(duties[0])) if len(duties) == 1 else "weighted mean of the duty points",
    )


def has_net_gain(run: Run) -> bool:
    """Whether the run was gained against a reference core."""
    front = run.tables.get("front")
    return front is not None and any(c.at in run.record["duty"] for c in columns_of(front, "net_gain"))


def duty_mean(run: Run, table: "pd.DataFrame", name: str) -> Array:
    """Mean (n,) of an output over the duty points, by the record's weights.

    Raises KeyError where a duty point has no column, or several duty points no weights.
    """
    duties = [str(duty) for duty in run.record["duty"]]
    found = {c.at: c.title for c in columns_of(table, name)}
    values = np.column_stack([table[found[duty]].to_numpy(dtype=np.float64) for duty in duties])
    weights = np.array(run.record["duty_weights"] if len(duties) > 1 else [1.0], dtype=np.float64)
    return np.asarray(values @ weights / weights.sum())
