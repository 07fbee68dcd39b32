"""Pieces of the summary's page: a user's text made harmless, tables, and the named cores in columns."""

import re
from collections.abc import Iterable
from typing import TYPE_CHECKING

from optimize.report.columns import columns_of, label, number
from optimize.runs import Run

if TYPE_CHECKING:
    import pandas as pd


def plain(text: object) -> str:
    """A user's text on one line, with nothing in it that Markdown or HTML would act on.

    >>> plain("a | b")
    'a \\\\| b'
    """
    return re.sub(r"([\\`*_|<>\[\]#])", r"\\\1", " ".join(str(text).split()))


def table(heads: list[str], rows: list[list[str]]) -> str:
    """A table: the first column to the left, the others to the right."""
    lines = [heads, ["---"] + ["---:"] * (len(heads) - 1), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def named_cores(run: Run) -> "pd.DataFrame":
    """Rows of the front's table that have a name."""
    front = run.tables["front"]
    return front[front["pick"].fillna("") != ""]


def named_heads(named: "pd.DataFrame") -> list[str]:
    """Heads of a table with a column for each named core."""
    return ["", *(f"{plain(row['pick'])}, {row['core']}" for _, row in named.iterrows())]


def output_rows(named: "pd.DataFrame", names: Iterable[str]) -> list[list[str]]:
    """A row for each output and duty point the table has, a column for each named core."""
    return [
        [label(c.title), *(number(float(v)) for v in named[c.title])]
        for name in names for c in columns_of(named, name)
    ]
