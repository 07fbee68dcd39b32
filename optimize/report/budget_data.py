"""What the figure of the tolerance budget shows: today's tolerances of a core, what they must become, what they may."""

import re
from dataclasses import dataclass

from optimize.report.copy_data import Share, plus_minus, texts, tolerance_words
from optimize.runs import Run

_NUMBER = re.compile(r"\d+(?:\.\d+)?")
_SAME = 1e-9


@dataclass(frozen=True)
class BudgetRow:
    """A tolerance in words, with its half width as text today, tightened, and relaxed alone or all at once.

    `tightened`, `alone`, `together`: factors on today's half width; 1: stays as it is.
    """

    name: str
    today: str
    tightened: float
    alone: float
    together: float
    tightened_text: str
    alone_text: str
    together_text: str

    @property
    def tighter(self) -> bool:
        return self.tightened < 1 - _SAME

    @property
    def looser(self) -> bool:
        return max(self.alone, self.together) > 1 + _SAME


@dataclass(frozen=True)
class BudgetData:
    """The budget of one core: rows, those to tighten first; shares [%] today, tightened, and relaxed all at once."""

    core: str
    rows: tuple[BudgetRow, ...]
    wanted: float
    before: Share
    after: Share
    together: Share
    reachable: bool
    confidence: float


def budget_data(run: Run) -> BudgetData:
    """The budget a run or a scattered core has; shares of the record are fractions of 1."""
    table, record = run.tables["budget"], run.record["budget"]
    factors = zip(
        *(table[f"{part}_factor"].astype(float) for part in ("tightened", "relaxed_alone", "relaxed_together")),
        strict=True,
    )
    tried = float(record["loosest_tried"])
    lines = zip(texts(table, "tolerance"), texts(table, "half_width"), texts(table, "tightened"), factors, strict=True)
    rows = [
        BudgetRow(
            tolerance_words(name), plus_minus(today), tight, alone, both, plus_minus(told),
            _capped(today, alone, tried), _capped(today, both, tried),
        )
        for name, today, told, (tight, alone, both) in lines
    ]
    rows.sort(key=lambda row: (row.tightened, row.together, row.alone))
    before, after, together = (Share(*(100 * float(v) for v in record[k])) for k in ("before", "after", "together"))
    return BudgetData(
        str(record["core"]), tuple(rows), 100 * float(record["wanted"]), before, after, together,
        bool(record["reachable"]), float(run.record["scatter"]["confidence"]),
    )


def _capped(half_width: str, factor: float, tried: float) -> str:
    """A looser half width; more than the loosest that was tried is not known."""
    return f"{'≥ ' if factor >= tried else ''}{plus_minus(scaled(half_width, factor))}"


def scaled(half_width: str, factor: float) -> str:
    """A half width as text, times a factor.

    >>> scaled("0.02 mm", 1.5), scaled("-0.1/+0.3 mm", 2.0), scaled("4 %", 1.25)
    ('0.03 mm', '-0.2/+0.6 mm', '5 %')
    """
    return _NUMBER.sub(lambda match: f"{float(match.group()) * factor:.3g}", half_width)
