"""What the figure of the nested yield shows: what the yield of each pick may be, as the model may be off."""

from dataclasses import dataclass

import numpy as np

from optimize.report.copy_data import SHOP, Share, Spread, nested_yields, share_of, spread, texts
from optimize.runs import Run
from physics.arrays import Array

DOTS = 20  # a dot is one chance in twenty


@dataclass(frozen=True)
class NestedCore:
    """A named core: its yield [%] under every draw of the model (n,), and `DOTS` dots of equal chance; ascending.

    `as_published`: the share of copies with the correlations as they are.
    """

    name: str
    core: str
    yields: Array
    dots: Array
    spread: Spread
    as_published: Share | None


@dataclass(frozen=True)
class NestedData:
    """Named cores, the most uncertain first; `kind` of scatter the yield is of; draws of the model."""

    cores: tuple[NestedCore, ...]
    kind: str
    models: int


def nested_data(run: Run) -> NestedData:
    """Yields over the draws of the model of each core that has them."""
    table = run.tables["nested"]
    kind = (texts(table, "scatter") or [SHOP])[0]
    picks: dict[str, str] = run.record.get("picks", {})
    cores = []
    for core in dict.fromkeys(texts(table, "core")):
        yields = np.sort(nested_yields(run, core))
        name = ", ".join(pick for pick, own in picks.items() if own == core)
        published = share_of(run, core, kind) if "yield" in run.tables else None
        cores.append(NestedCore(name, core, yields, quantile_dots(yields), spread(yields), published))
    cores.sort(key=lambda core: (core.spread.low, core.spread.middle))
    return NestedData(tuple(cores), kind, max((len(core.yields) for core in cores), default=0))


def quantile_dots(values: Array, count: int = DOTS) -> Array:
    """Values of equal chance (count,): the quantiles in the middle of `count` equal parts.

    >>> quantile_dots(np.array([1.0, 2.0, 3.0, 4.0]), 4)
    array([1., 2., 3., 4.])
    """
    return np.asarray(np.quantile(values, (np.arange(count) + 0.5) / count, method="inverted_cdf"))


def stacked(dots: Array, width: float) -> tuple[Array, Array]:
    """Places and heights (n,), in dots, of ascending dots that stand on each other where they would overlap.

    >>> places, heights = stacked(np.array([10.0, 10.5, 20.0]), 1.0)
    >>> places.tolist(), heights.tolist()
    ([10.25, 10.25, 20.0], [0.0, 1.0, 0.0])
    """
    places, heights = np.array(dots, dtype=np.float64), np.zeros(len(dots))
    start = 0
    while start < len(dots):
        stop = int(np.searchsorted(dots, dots[start] + width, side="left"))
        stop = max(stop, start + 1)
        places[start:stop] = dots[start:stop].mean()
        heights[start:stop] = np.arange(stop - start)
        start = stop
    return places, heights
