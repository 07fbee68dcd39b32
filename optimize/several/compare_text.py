"""A comparison as text and as files."""

import math
from pathlib import Path
from typing import TYPE_CHECKING

from optimize.report.columns import label, number
from optimize.report.compare_figure import compare_view
from optimize.several.blocks import Block, as_markdown, as_text
from optimize.several.compare import Compared

if TYPE_CHECKING:
    import pandas as pd

_MOST_CHANGES = 25


def comparison_text(found: Compared) -> str:
    """The comparison in words and small tables."""
    return as_text(_blocks(found))


def _blocks(found: Compared) -> list[Block]:
    count = len(found.changes)
    many = (f"the first {_MOST_CHANGES} of {count:,} fields; all in changes.csv",) if count > _MOST_CHANGES else ()
    lines = many if count else ("nothing",)
    changes = _texts(found.changes.head(_MOST_CHANGES))
    return [
        Block("What differs in the studies", lines, tuple(map(str, found.changes.columns)), changes),
        Block("Fronts", found.remarks, ("run", "cores", "hypervolume"), _fronts(found)),
        Block("The cores with a name", (), *_beside(found.picks)),
        Block("The same cores under every study", (), tuple(map(label, found.crossed.columns)), _texts(found.crossed)),
    ]


def _fronts(found: Compared) -> tuple[tuple[str, ...], ...]:
    return tuple(
        (front.name, f"{len(front.cores):,}", "no common measure" if math.isnan(share) else f"{100 * share:.1f} %")
        for front, share in zip(found.fronts, found.hypervolumes, strict=True)
    )


def _beside(picks: "pd.DataFrame") -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Cores in columns: heads and rows."""
    if picks.empty:
        return (), ()
    heads = ("", *map(str, picks["core"]))
    return heads, tuple((label(str(t)), *map(_cell, picks[t])) for t in picks.columns if t != "core")


def _texts(table: "pd.DataFrame") -> tuple[tuple[str, ...], ...]:
    return tuple(tuple(map(_cell, row)) for row in table.itertuples(index=False, name=None))


def _cell(value: object) -> str:
    if not isinstance(value, float):
        return str(value)
    return "-" if math.isnan(value) else f"{value:.0f}" if value == round(value) else number(value, 4)


def write_comparison(found: Compared, folder: Path) -> list[Path]:
    """changes.csv, picks.csv, crossed.csv and compare.md into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name, table in (("changes", found.changes), ("picks", found.picks), ("crossed", found.crossed)):
        table.to_csv(folder / f"{name}.csv", index=False, float_format="%.8g")
        written.append(folder / f"{name}.csv")
    page, figure = folder / "compare.md", "compare.png" if len(compare_view(found.fronts)) else ""
    page.write_text(as_markdown(f"{found.title}: runs compared", _blocks(found), figure), encoding="utf-8")
    return [*written, page]
