"""What the figure of the water shows: cooling of the knee over its coolant flow, and with every line and port."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimize.report.columns import one_column
from optimize.report.loop_data import loop_duties
from optimize.runs import Run
from physics.arrays import Array

if TYPE_CHECKING:
    import pandas as pd

ELASTICITY = "d ln heat/d ln flow"


@dataclass(frozen=True)
class FlowCurve:
    """The knee at one duty point over its coolant flow.

    Attributes
    ----------
    titles : columns of flow and heat. flow, heat : (k,), flow ascending.
    point : flow and heat the circuit settles at (2,); gain : share of heat per share of flow there.
    stops : flow and heat (2,) from which on more water does not pay any more; None where it pays to the end.
    """

    duty: str
    titles: tuple[str, str]
    flow: Array
    heat: Array
    point: Array
    gain: float
    stops: Array | None

    @property
    def is_past(self) -> bool:
        """Whether the circuit gives more water than pays."""
        return self.stops is not None and bool(self.point[0] >= self.stops[0])


@dataclass(frozen=True)
class ChoiceGrid:
    """The knee at one duty point with every line (columns) and port (rows), flow and heat (ports, lines).

    NaN where a pair was not rated. `chosen`: row and column of the knee's own; None where it is not among them.
    """

    duty: str
    titles: tuple[str, str]
    lines: tuple[str, ...]
    ports: tuple[str, ...]
    flow: Array
    heat: Array
    chosen: tuple[int, int] | None


@dataclass(frozen=True)
class WaterData:
    """Flow curves and choices of the knee at each duty point that leaves its flow to the circuit."""

    core: str
    pays: float
    curves: tuple[FlowCurve, ...]
    grids: tuple[ChoiceGrid, ...]


def water_data(run: Run) -> WaterData:
    """What more water, a wider line or another port does for the knee."""
    core, pays = str(run.record["picks"]["knee"]), float(run.record["water"]["pays"])
    duties = loop_duties(run)
    grids = [_grid(run.tables["water"], duty) for duty in duties] if "water" in run.tables else []
    return WaterData(
        core, pays, tuple(flow_curve(run, core, duty, pays) for duty in duties),
        tuple(grid for grid in grids if grid.flow.size > 1),
    )


def flow_curve(run: Run, core: str, duty: str, pays: float) -> FlowCurve:
    """One core at one duty point; KeyError where the table has it not."""
    table, front = run.tables["flow"], run.tables["front"].set_index("core")
    rows = table[(table["core"] == core) & (table["duty"] == duty)]
    if not len(rows):
        raise KeyError(f"flow: {core}, {duty}")
    titles = [one_column(table, name).title for name in ("coolant_volume_flow", "heat_rejected")]
    flow, heat = (rows[title].to_numpy(dtype=np.float64) for title in titles)
    own = [one_column(run.tables["front"], name, duty).title for name in ("coolant_volume_flow", "heat_rejected")]
    point = front.loc[core, own].to_numpy(dtype=np.float64)
    rise = rows[ELASTICITY].to_numpy(dtype=np.float64)
    at = stops_paying(flow, rise, pays)
    stops = None if at is None else np.array([at, np.interp(at, flow, heat)])
    return FlowCurve(duty, (titles[0], titles[1]), flow, heat, point, float(np.interp(point[0], flow, rise)), stops)


def stops_paying(flow: Array, elasticity: Array, pays: float) -> float | None:
    """Flow from which on the elasticity of the heat stays below `pays`; None where it does not at the end.

    Where the coolant's flow turns turbulent the heat rises steeply once more: a dip before that is no end.

    >>> round(stops_paying(np.array([10.0, 20.0, 40.0]), np.array([0.05, 0.03, 0.01]), 0.02), 6)  # 20 sqrt(2)
    28.284271
    """
    known = np.isfinite(elasticity)
    flow, elasticity = flow[known], elasticity[known]
    above = np.flatnonzero(elasticity >= pays)
    if not len(flow) or (len(above) and above[-1] == len(flow) - 1):
        return None
    if not len(above):
        return float(flow[0])
    i = int(above[-1])
    share = (elasticity[i] - pays) / (elasticity[i] - elasticity[i + 1])
    return float(np.exp(np.log(flow[i]) + share * np.log(flow[i + 1] / flow[i])))


def _grid(table: "pd.DataFrame", duty: str) -> ChoiceGrid:
    titles = [one_column(table, name, duty).title for name in ("coolant_volume_flow", "heat_rejected")]
    names = {part: _names(table, part) for part in ("port", "line")}
    order = {part: list(dict.fromkeys(values)) for part, values in names.items()}
    shape = len(order["port"]), len(order["line"])
    at = tuple(np.array([order[part].index(name) for name in names[part]], dtype=int) for part in ("port", "line"))
    grids = [np.full(shape, np.nan) for _ in titles]
    for grid, title in zip(grids, titles, strict=True):
        grid[at] = table[title].to_numpy(dtype=np.float64)
    own = np.flatnonzero((table["chosen"] == "yes").to_numpy())
    chosen = (int(at[0][own[0]]), int(at[1][own[0]])) if len(own) else None
    return ChoiceGrid(
        duty, (titles[0], titles[1]), tuple(order["line"]), tuple(order["port"]), grids[0], grids[1], chosen
    )


def _names(table: "pd.DataFrame", part: str) -> list[str]:
    return [str(name) for name in table[part]] if part in table else [""] * len(table)
