"""What the figures of limits, range and misses show, worked out from a run's record and tables."""

import re
from dataclasses import dataclass

import numpy as np

from optimize.report.columns import column, one_column, quantity, requirement_words, words
from optimize.report.figure_data import objective_titles, sorted_front
from optimize.runs import Run
from optimize.scope import scope_of
from physics.arrays import Array

_FAIL = re.compile(r"(?P<name>.+) by (?P<percent>[0-9.e+-]+) %")


@dataclass(frozen=True)
class LimitData:
    """What limits what: requirements that turned cores away, most first; shares [%] of the cores counted.

    Those are all cores rated, or some `drawn` evenly from the space.
    """

    names: tuple[str, ...]
    share: Array
    alone: Array
    idle: tuple[str, ...]
    counted: int
    drawn: bool


def limit_data(run: Run) -> LimitData:
    """Share of cores each requirement turned away, and the share it alone did."""
    table, scope = run.tables["limits"], scope_of(run.record)
    counted = max(scope.counted, 1)
    away = table["cores_turned_away"].to_numpy(dtype=np.float64)
    names = [requirement_words(str(name)) for name in table["requirement"]]
    acts = away > 0
    return LimitData(
        tuple(name for name, act in zip(names, acts, strict=True) if act),
        100 * away[acts] / counted, 100 * table["by_it_alone"].to_numpy(dtype=np.float64)[acts] / counted,
        tuple(name for name, act in zip(names, acts, strict=True) if not act), scope.counted, scope.drawn,
    )


@dataclass(frozen=True)
class Strip:
    """One variable along the front: title, positions (n,), and the names the positions stand for (none: numbers)."""

    title: str
    values: Array
    names: tuple[str, ...]


@dataclass(frozen=True)
class RangeData:
    """What the front is made of, along its first objective; `same` lists what does not change, as words."""

    title: str
    x: Array
    strips: tuple[Strip, ...]
    same: tuple[str, ...]
    picks: tuple[tuple[str, float], ...]


def range_data(run: Run) -> RangeData:
    """Design variables of the front's cores, in the order of the first objective."""
    front, title = sorted_front(run), objective_titles(run)[0]
    strips, same = [], []
    for name in run.record["variables"]:
        c = one_column(front, name)
        if front[c.title].nunique() == 1:
            only = front[c.title].iloc[0]
            same.append(f"{words(name)} {only}" + (f" {c.unit}" if c.unit else ""))
            continue
        strips.append(_strip(c.title, front[c.title].tolist()))
    names = front["pick"].fillna("").astype(str)
    x = front[title].to_numpy(dtype=np.float64)
    return RangeData(
        title, x, tuple(strips), tuple(same), tuple((n, float(v)) for n, v in zip(names, x, strict=True) if n)
    )


def _strip(title: str, values: list[object]) -> Strip:
    """Numbers as they are; names as positions, those of the lower end of the front first."""
    if all(isinstance(value, int | float) for value in values):
        return Strip(title, np.array(values, dtype=np.float64), ())
    names = list(dict.fromkeys(str(value) for value in values))
    return Strip(title, np.array([names.index(str(value)) for value in values], dtype=np.float64), tuple(names))


@dataclass(frozen=True)
class MissData:
    """The nearest misses: ids, the objectives' values in words, and requirement -> miss [%], NaN where it is met."""

    cores: tuple[str, ...]
    texts: tuple[str, ...]
    missed: dict[str, Array]


def miss_data(run: Run) -> MissData:
    """By how much the nearest infeasible cores miss what."""
    table = run.tables["misses"]
    missed: dict[str, Array] = {}
    for i, text in enumerate(table.get("fails", table["core"].iloc[:0]).fillna("").astype(str)):
        for part in text.split("; "):
            if match := _FAIL.fullmatch(part):
                row = missed.setdefault(requirement_words(match["name"]), np.full(len(table), np.nan))
                row[i] = float(match["percent"])
    titles = [column(title) for title in objective_titles(run)] if len(table) else []
    texts = [", ".join(quantity(float(row[c.title]), c.unit) for c in titles) for _, row in table.iterrows()]
    return MissData(tuple(str(core) for core in table["core"]), tuple(texts), missed)
