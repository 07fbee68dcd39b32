"""The section of the summary on the front off the grid: what it gives over the grid's, and of what builds it is."""

import re
from typing import TYPE_CHECKING

from optimize.report.columns import column, label, number, words
from optimize.report.markdown import plain, table
from optimize.runs import Run

if TYPE_CHECKING:
    import pandas as pd

_MOST_BUILDS = 12
BEFORE = {"grid": "on the grid", "search": "in the search"}


def off_grid_section(run: Run) -> str:
    """What was moved and what it gave, the named cores beside those of the grid, the builds."""
    record = run.record["off_grid"]
    moved = " and ".join(words(name) for name in record["moved"])
    said = (
        f"The same cores with {moved} free of steps, anywhere in the range: {record['rated']:,} more rated, "
        f"{record['builds_tried']:,} choices of everything else tried"
    )
    if "off_grid" not in run.tables:
        return f"{said}. None of them meets everything either."
    found = (
        f"{said}. The front has {record['front']:,} cores (names with an X) of {record['builds']:,} such choices; each "
        f"keeps every limit.{_gain(run)} {_still(run)} Yields and the front of the copies are of the front before."
    )
    parts = [found, *([_named(run)] if "front" in run.tables else []), _builds(run)]
    return "\n\n".join(parts)


def _gain(run: Run) -> str:
    """Hypervolumes of both fronts."""
    share = run.record["off_grid"]["hypervolume"]
    if share["off_grid"] is None:
        return ""
    if not share["grid"]:
        return f" {BEFORE[run.record['off_grid']['begun_with']].capitalize()} nothing meets everything."
    more = 100 * (share["off_grid"] / share["grid"] - 1)
    return (
        f" In one box its hypervolume is {100 * share['off_grid']:.2f} %, that of the front before "
        f"{100 * share['grid']:.2f} %: {more:.2f} % more."
    )


def _still(run: Run) -> str:
    course = run.record["off_grid"]["course"]
    if run.record["off_grid"]["still"]:
        return f"It had stopped growing after {len(course) - 1} rounds."
    return "**It was still growing when it was long enough**: a denser one would reach a little further."


def _named(run: Run) -> str:
    """The best of both fronts side by side."""
    grid, moved = run.tables["front"].set_index("core"), run.tables["off_grid"].set_index("core")
    titles = [o["column"] for o in run.record["objectives"]]
    own = [t for t in map(str, moved.columns) if column(t).name in run.record["off_grid"]["moved"]]
    rows = []
    for name, core in run.record["off_grid"]["picks"].items():
        before = run.record["picks"].get(name)
        for where, frame, which in ((run.record["off_grid"]["begun_with"], grid, before), ("off", moved, core)):
            if which is not None:
                values = [f"{float(frame.loc[which, t]):.6g}" for t in own]
                rows.append([f"{plain(name)}, {which}", where, *values, *_numbers(frame.loc[which], titles)])
    return table(["core", "front", *map(label, own), *map(label, titles)], rows)


def _numbers(row: "pd.Series[float]", titles: list[str]) -> list[str]:
    return [number(float(row[title]), 5) for title in titles]


def _builds(run: Run) -> str:
    """Where the cores of each build lie."""
    builds = run.tables["off_grid_builds"]
    rows = [[_value(value) for value in row] for row in builds.head(_MOST_BUILDS).itertuples(index=False)]
    left = len(builds) - _MOST_BUILDS
    rest = f" Here the first {_MOST_BUILDS} of {len(builds)}, all are in off_grid_builds.csv." if left > 0 else ""
    said = f"From where to where the cores of each build on that front lie; not all between need be on it.{rest}"
    return f"{said}\n\n{table([_head(str(title)) for title in builds.columns], rows)}"


def _head(title: str) -> str:
    """'air_pressure_drop_from@peak [kPa]' -> 'air loss, total, peak from [kPa]'."""
    name, end, rest = re.match(r"(.*?)(_from|_to|)(@.*| \[.*|)$", title).groups()  # type: ignore[union-attr]
    return label(name + rest).replace(" [", f" {end[1:]} [") if end else label(title)


def _value(value: object) -> str:
    return number(value, 5) if isinstance(value, float) else plain(value)
