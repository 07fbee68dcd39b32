"""What the figure of the yield shows: how often copies of each front core meet everything, what others miss."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimize.report.columns import requirement_words
from optimize.report.figure_data import objective_titles, sorted_front
from optimize.runs import Run
from physics.arrays import Array, BoolArray

if TYPE_CHECKING:
    import pandas as pd

LOW_SHARE = 90.0  # [%] a core that passes less often than this is marked


@dataclass(frozen=True)
class YieldCurve:
    """Share [%] of copies of each front core that meet everything, with its exact interval; all (n,)."""

    kind: str
    share: Array
    low: Array
    high: Array


@dataclass(frozen=True)
class YieldData:
    """Along the front: shares under each kind of scatter, and which requirements the copies miss.

    Attributes
    ----------
    title : column of the first objective. x : (n,), ascending. cores, picks : ids, and names where they have one.
    curves : "shop" and "both". low : (n,) cores whose "shop" share is below `LOW_SHARE`.
    missed : requirement -> (2, n) share [%] of copies that miss it, under "shop" and "both"; those ever missed.
    """

    title: str
    x: Array
    cores: tuple[str, ...]
    picks: tuple[str, ...]
    curves: tuple[YieldCurve, ...]
    low: BoolArray
    missed: dict[str, Array]
    draws: int
    confidence: float


def yield_data(run: Run) -> YieldData:
    """How often a copy of each front core meets every limit."""
    front, title = sorted_front(run), objective_titles(run)[0]
    tables = {kind: _scatter_rows(run, kind, front) for kind in ("shop", "both")}
    curves = tuple(
        YieldCurve(kind, *(t[f"share_{part} [%]"].to_numpy(dtype=np.float64) for part in ("met", "low", "high")))
        for kind, t in tables.items()
    )
    asked = [str(c) for c in run.tables["scatter"].columns if str(c).startswith("met: ")]
    missed = {
        requirement_words(c.removeprefix("met: ").removesuffix(" [%]")):
            np.stack([100.0 - t[c].to_numpy(dtype=np.float64) for t in tables.values()])
        for c in asked
    }
    return YieldData(
        title, front[title].to_numpy(dtype=np.float64), tuple(front["core"]), tuple(front["pick"].fillna("")),
        curves, curves[0].share < LOW_SHARE, {name: row for name, row in missed.items() if np.any(row > 0)},
        int(run.record["scatter"]["draws"]), float(run.record["scatter"]["confidence"]),
    )


def _scatter_rows(run: Run, kind: str, front: "pd.DataFrame") -> "pd.DataFrame":
    table = run.tables["scatter"]
    return table[table["scatter"] == kind].set_index("core").loc[front["core"]]
