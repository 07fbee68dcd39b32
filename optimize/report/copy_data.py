"""Shares and percentiles of copies out of a run's tables, and how they are written: never without their interval."""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimize.report.columns import typeset, words
from optimize.runs import Run
from physics.arrays import Array

if TYPE_CHECKING:
    import pandas as pd

EVERY_LIMIT = "every limit"
SHOP, BOTH = "shop", "shop and run"
_MOST_DIGITS = 6  # significant, of a value whose interval is narrow
_NARROW = 0.5  # [points] a narrower interval of a share is written to hundredths


@dataclass(frozen=True)
class Share:
    """A share of copies [%] and its exact interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Spread:
    """P05, P50 and P95 of something."""

    low: float
    middle: float
    high: float


def texts(table: "pd.DataFrame", name: str) -> list[str]:
    """A column of texts; an empty cell is an empty text."""
    return [str(text) for text in table[name].fillna("")]


def rows_of(table: "pd.DataFrame", **wanted: str) -> "pd.DataFrame":
    """Rows whose columns of texts have these values; an empty cell is an empty text."""
    keep = np.ones(len(table), dtype=bool)
    for name, text in wanted.items():
        keep &= np.array([own == text for own in texts(table, name)], dtype=bool)
    return table[keep]


def kinds_of(run: Run) -> tuple[str, ...]:
    """Kinds of scatter that have shares of copies of a core, without the model's: one unknown truth has no share."""
    there = set(texts(run.tables["yield"], "scatter"))
    return tuple(kind for kind in (SHOP, "run", BOTH) if kind in there)


def share_of(run: Run, core: str, kind: str, requirement: str = EVERY_LIMIT, duty: str = "") -> Share | None:
    """Share of the copies of one core that meet a requirement; None where the table does not tell."""
    rows = rows_of(run.tables["yield"], core=core, scatter=kind, requirement=requirement, duty=duty)
    if not len(rows):
        return None
    return Share(*(float(rows[f"{part} [%]"].iloc[0]) for part in ("share", "low", "high")))


def interval_words(run: Run) -> str:
    """What the intervals of shares are: "exact 95 % intervals"; with a stop rule each look is surer than all."""
    asked, own = run.record["scatter"]["confidence"], run.record["scatter"]["each_look"]
    plain = f"exact {100 * own:.4g} % intervals"
    return plain if own == asked else f"{plain}, for {100 * asked:.4g} % over every look of the stop rule"


def nested_copies(run: Run) -> str:
    """How many copies each yield under the model is of."""
    return f"{int(run.record['scatter']['nested'][1]):,}"


def nested_spread(run: Run, core: str) -> Spread | None:
    """P05, P50, P95 of the yield [%] of one core over the draws of the model; None where it was not worked out."""
    values = nested_yields(run, core)
    return spread(values) if len(values) else None


def nested_yields(run: Run, core: str) -> Array:
    """Yield [%] of one core under every draw of the model (n,)."""
    if "nested" not in run.tables:
        return np.empty(0)
    return np.asarray(rows_of(run.tables["nested"], core=core)["share [%]"].to_numpy(dtype=np.float64))


def spread(values: Array) -> Spread:
    """P05, P50 and P95: the smallest of the values with so many of them at or below it.

    >>> spread(np.arange(1.0, 21.0))
    Spread(low=1.0, middle=10.0, high=19.0)
    """
    return Spread(*(float(v) for v in np.quantile(values, (0.05, 0.5, 0.95), method="inverted_cdf")))


def percent(value: float, digits: int = 1) -> str:
    """A share [%] without its sign, that never rounds to nothing or to all.

    >>> percent(75.02), percent(99.99), percent(0.01), percent(100.0), percent(99.98, 2)
    ('75.0', '>99.9', '<0.1', '100', '99.98')
    """
    if value in (0, 100):
        return f"{value:.0f}"
    edge = 10.0**-digits
    if value < edge / 2 or value > 100 - edge / 2:
        return f"<{edge:.{digits}f}" if value < 50 else f">{100 - edge:.{digits}f}"
    return f"{value:.{digits}f}"


def share_text(share: Share) -> str:
    """A share with its interval.

    >>> share_text(Share(75.0, 71.1, 78.7)), share_text(Share(100.0, 99.928, 100.0))
    ('75.0 % (71.1 .. 78.7)', '100 % (99.93 .. 100)')
    """
    digits = 2 if share.high - share.low < _NARROW else 1
    value, low, high = (percent(v, digits) for v in (share.value, share.low, share.high))
    return f"{value} % ({low} .. {high})"


def interval_text(value: float, low: float, high: float) -> str:
    """A value with its interval, to the digit the interval is known to.

    >>> interval_text(75.02, 74.93, 75.08), interval_text(3.8123, 3.8101, 3.8148), interval_text(1234.0, 1180.0, 1290.0)
    ('75.0 (74.9 .. 75.1)', '3.812 (3.810 .. 3.815)', '1234 (1180 .. 1290)')
    >>> interval_text(3.81, float("nan"), float("nan"))
    '3.81 (too few copies for an interval)'
    """
    if not math.isfinite(value):
        return "no number"
    known = math.isfinite(low) and math.isfinite(high)
    decimals = _decimals(value, high - low if known else 0.0)
    if not known:
        return f"{value:.{decimals}f} (too few copies for an interval)"
    return f"{value:.{decimals}f} ({low:.{decimals}f} .. {high:.{decimals}f})"


def _decimals(value: float, width: float) -> int:
    """Decimals of a value to three digits, or to as many as tell the ends of its interval apart."""
    size = math.floor(math.log10(abs(value))) if value else 0
    plain = 2 - size
    fine = -math.floor(math.log10(width)) if width > 0 else plain
    return max(0, min(max(plain, fine), _MOST_DIGITS - 1 - size))


def tolerance_words(name: str) -> str:
    """A toleranced dimension for the eye.

    >>> tolerance_words("air_fin.pitch"), tolerance_words("port.open_height"), tolerance_words("coolant_fin.spacing")
    ('air fin pitch', 'port open height', 'turbulator spacing')
    """
    return " ".join(words(part) for part in name.replace("coolant_fin", "turbulator").split("."))


def plus_minus(half_width: str) -> str:
    """A half width for the eye.

    >>> plus_minus("0.02 mm"), plus_minus("-0.1/+0.3 mm"), plus_minus("2 deg")
    ('±0.02 mm', '-0.1/+0.3 mm', '±2 °')
    """
    text = typeset(half_width)
    return f"±{text}" if text[:1].isdigit() else text
