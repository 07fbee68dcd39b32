"""What the figure of the yield shows: how often copies of each front core meet everything, what others miss."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimize.report.columns import requirement_words
from optimize.report.copy_data import (
    BOTH,
    EVERY_LIMIT,
    SHOP,
    Spread,
    interval_words,
    kinds_of,
    nested_spread,
    rows_of,
    texts,
)
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
class ModelBand:
    """A named core, by its place along the front: what its yield [%] may turn out to be, as the model may be off."""

    place: int
    yields: Spread


@dataclass(frozen=True)
class YieldData:
    """Along the front: shares under each kind of scatter, and which requirements the copies miss.

    Attributes
    ----------
    title : column of the first objective. x : (n,), ascending. cores, picks : ids, and names where they have one.
    curves : "shop" and, where the study has scatter from run to run, "shop and run".
    bands : of the named cores, where the model was drawn. low : (n,) cores whose "shop" share is below `LOW_SHARE`.
    missed : requirement -> (len(curves), n) share [%] of copies that miss it; those ever missed.
    draws : fewest and most copies of a core. intervals : what they are, in words.
    in_line : whether the front is a line along x; with three objectives it is not.
    """

    title: str
    x: Array
    cores: tuple[str, ...]
    picks: tuple[str, ...]
    curves: tuple[YieldCurve, ...]
    bands: tuple[ModelBand, ...]
    low: BoolArray
    missed: dict[str, Array]
    draws: tuple[int, int]
    intervals: str
    in_line: bool


def yield_data(run: Run) -> YieldData:
    """How often a copy of each front core meets every limit."""
    front, title = sorted_front(run), objective_titles(run)[0]
    cores, picks = texts(front, "core"), texts(front, "pick")
    kinds = [kind for kind in kinds_of(run) if kind in (SHOP, BOTH)]
    tables = {kind: _own_rows(run, kind, cores) for kind in kinds}
    curves = tuple(_curve(kind, table) for kind, table in tables.items())
    names = dict.fromkeys(texts(tables[SHOP], "requirement"))
    missed = {
        requirement_words(name): np.stack([100.0 - _shares(t, name, "share") for t in tables.values()])
        for name in names if name != EVERY_LIMIT
    }
    drawn = tables[SHOP]["draws"]
    spreads = [(i, nested_spread(run, core)) for i, (core, pick) in enumerate(zip(cores, picks, strict=True)) if pick]
    return YieldData(
        title, front[title].to_numpy(dtype=np.float64), tuple(cores), tuple(picks), curves,
        tuple(ModelBand(i, found) for i, found in spreads if found is not None), curves[0].share < LOW_SHARE,
        {name: row for name, row in missed.items() if np.any(row > 0)},
        (int(drawn.min()), int(drawn.max())), interval_words(run), len(run.record["objectives"]) == 2,
    )


def _own_rows(run: Run, kind: str, cores: list[str]) -> "pd.DataFrame":
    """Rows of one kind of scatter that are of no single duty point, in the order of the cores."""
    table = rows_of(run.tables["yield"], scatter=kind, duty="").set_index("core")
    return table.loc[cores]


def _shares(table: "pd.DataFrame", requirement: str, part: str) -> Array:
    rows = rows_of(table, requirement=requirement)
    return np.asarray(rows[f"{part} [%]"].to_numpy(dtype=np.float64))


def _curve(kind: str, table: "pd.DataFrame") -> YieldCurve:
    return YieldCurve(kind, *(_shares(table, EVERY_LIMIT, part) for part in ("share", "low", "high")))
