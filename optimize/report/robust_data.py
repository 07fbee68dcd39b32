"""What the figure of the robust front shows: both fronts in one plane, copies of the robust cores, what falls off."""

from dataclasses import dataclass

import numpy as np

from optimize.report.columns import column, requirement_words
from optimize.report.copy_data import Share, rows_of, texts
from optimize.report.figure_data import LimitLine, limit_lines, matrix, objective_titles, padded, sorted_front
from optimize.runs import Run
from physics.arrays import Array

STAYS, BEATEN, FAILS, UNPROVEN = "stays", "beaten", "fails", "unproven"
_ROOM_FOR_LABELS = 0.16  # of the view, on the better side of the second objective


@dataclass(frozen=True)
class RobustCore:
    """A core by what its copies do.

    `nominal` (k,) as drawn; `values` (k,) the statistic of the copies the front is made of, from `low` to `high`;
    `copies` (k, 2) their P05 and P95, NaN where the tables do not tell.
    """

    core: str
    pick: str
    nominal: Array
    values: Array
    low: Array
    high: Array
    copies: Array
    share: Share


@dataclass(frozen=True)
class FallenCore:
    """A core of the nominal front that is not on the robust one: `values` (k,) nominal, verdict, why, its share."""

    core: str
    pick: str
    values: Array
    verdict: str
    because: str
    share: Share
    counted: str  # what the copies of the share do


@dataclass(frozen=True)
class RobustData:
    """Both fronts in the plane of the objectives.

    Attributes
    ----------
    titles : columns of the objectives, k of them. statistics : "P95", "P05", "mean" ... of each.
    nominal : (n, k) front of the cores as drawn, sorted by the first objective.
    cores : robust front, sorted likewise. fallen : of the nominal front, what is not on it. staying : the others' ids.
    limits : on plotted outputs. view : (k, 2). share : wanted of the copies [%], draws : copies of a core.
    """

    titles: tuple[str, ...]
    statistics: tuple[str, ...]
    nominal: Array
    cores: tuple[RobustCore, ...]
    fallen: tuple[FallenCore, ...]
    staying: tuple[str, ...]
    limits: tuple[LimitLine, ...]
    view: Array
    share: float
    draws: int
    kind: str
    confidence: float


def robust_data(run: Run) -> RobustData:
    """Robust front beside the nominal one."""
    titles, record = objective_titles(run), run.record["robust"]
    statistics = tuple(robust_title(run, title).partition(" of ")[0] for title in titles)
    cores = robust_cores(run)
    nominal = matrix(sorted_front(run), titles)
    view = _view(nominal, cores, tuple(bool(o["maximise"]) for o in run.record["objectives"]))
    verdicts = texts(run.tables["fallen"], "verdict")
    return RobustData(
        titles, statistics, nominal, cores, fallen_cores(run),
        tuple(c for c, v in zip(texts(run.tables["fallen"], "core"), verdicts, strict=True) if v == STAYS),
        limit_lines(run, titles, view), view, 100 * float(record["share"]), int(record["draws"]),
        str(record["scatter"]), float(run.record["scatter"]["confidence"]),
    )


def robust_title(run: Run, title: str) -> str:
    """Column of the robust front's table for an objective: "P95 of air_pressure_drop@full_power [kPa]".

    Raises KeyError when there is none.
    """
    for name in run.tables["robust"].columns:
        if str(name).endswith(f" of {title}") and not str(name).startswith(("low ", "high ")):
            return str(name)
    raise KeyError(f"robust {title}")


def robust_cores(run: Run) -> tuple[RobustCore, ...]:
    """The robust front, in the order of the first objective."""
    titles, table = objective_titles(run), run.tables["robust"]
    own = tuple(robust_title(run, title) for title in titles)
    table = table.sort_values(own[0], kind="stable", ignore_index=True)
    values, low, high = (matrix(table, tuple(f"{lead}{title}" for title in own)) for lead in ("", "low ", "high "))
    nominal = matrix(table, tuple(f"nominal {title}" for title in titles))
    names, picks = texts(table, "core"), texts(table, "pick")
    shares = [table[f"{part} [%]"].to_numpy(dtype=np.float64) for part in ("share", "low", "high")]
    return tuple(
        RobustCore(
            names[i], picks[i], nominal[i], values[i], low[i], high[i], _copies(run, names[i]),
            Share(*(float(s[i]) for s in shares)),
        )
        for i in range(len(table))
    )


def _copies(run: Run, core: str) -> Array:
    """P05 and P95 (k, 2) of each objective over the copies of a core, NaN where there are none."""
    found = np.full((len(run.record["objectives"]), 2), np.nan)
    if "percentiles" not in run.tables:
        return found
    kind = str(run.record["robust"]["scatter"])
    own = rows_of(run.tables["percentiles"], core=core, scatter=kind)
    for i, title in enumerate(objective_titles(run)):
        c = column(title)
        for j, statistic in enumerate(("P05", "P95")):
            rows = rows_of(own, output=c.name, duty=c.at or "", statistic=statistic)
            if len(rows):
                found[i, j] = float(rows["value"].iloc[0])
    return found


def fallen_cores(run: Run) -> tuple[FallenCore, ...]:
    """Cores of the nominal front that are not on the robust one, the named ones first."""
    table = run.tables["fallen"]
    titles = tuple(f"nominal {title}" for title in objective_titles(run))
    values, names = matrix(table, titles), texts(table, "core")
    picks = [nominal_pick(run, name) for name in names]
    shares = [table[f"{part} [%]"].to_numpy(dtype=np.float64) for part in ("share", "low", "high")]
    found = [
        FallenCore(
            names[i], picks[i], values[i], verdict, requirement_words(because), Share(*(float(s[i]) for s in shares)),
            "meet the others" if run.record["robust"]["limits_of"] else "meet all",
        )
        for i, (verdict, because) in enumerate(zip(texts(table, "verdict"), texts(table, "because"), strict=True))
        if verdict != STAYS
    ]
    return tuple(sorted(found, key=lambda core: not core.pick))


def nominal_pick(run: Run, core: str) -> str:
    """The name of a core of the nominal front, empty where it has none."""
    return ", ".join(name for name, own in run.record["picks"].items() if own == core)


def _view(nominal: Array, cores: tuple[RobustCore, ...], maximise: tuple[bool, ...]) -> Array:
    """Low and high of each objective (k, 2), with room for labels on the side where no core lies."""
    parts = [nominal, *(np.stack([c.low, c.high, *c.copies.T, c.values]) for c in cores)]
    points = np.concatenate(parts)
    filled = np.where(np.isfinite(points), points, np.nan)
    low, high = np.nanmin(filled, axis=0), np.nanmax(filled, axis=0)
    view = padded(np.stack([low, high]))
    spare = _ROOM_FOR_LABELS * (view[-1, 1] - view[-1, 0])
    view[-1] += (0.0, spare) if maximise[-1] else (-spare, 0.0)
    return view


def sizes(data: RobustData) -> dict[str, int]:
    """How many cores of the nominal front stay, are beaten, fail, are not shown to keep their limits."""
    verdicts = [core.verdict for core in data.fallen]
    return {STAYS: len(data.staying)} | {verdict: verdicts.count(verdict) for verdict in (BEATEN, FAILS, UNPROVEN)}
