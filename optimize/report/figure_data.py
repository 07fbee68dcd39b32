"""What the figure of the front shows, worked out from a run's record and tables.

A drawing never computes: what it puts on paper comes from functions here, in `yield_data` or in `core_data`.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize.report.columns import column, columns_of, typeset, words
from optimize.runs import Run
from optimize.scope import scope_of
from physics.arrays import Array, BoolArray
from physics.outputs import CLEARANCES

if TYPE_CHECKING:
    import pandas as pd

MOST_CLOUDS = 10
MODEL_SHARE = 0.90  # of the copies, inside the outline of a model cloud
_OUTLINE_POINTS = 97
_NEAR = 0.15  # of the view; a limit nearer to it than this is drawn
_CROWDED = 0.045  # of the front's extent; clouds nearer to each other than this are thinned out
_FEASIBLE_BESIDE = 0.7  # of the front's extent, how much of the feasible is shown on its worse side
_VIEW_MARGIN = 0.05
_ROOM_FOR_LABELS = 0.2  # of the view, on the side where no core lies
_JUST = 0.01


@dataclass(frozen=True)
class Pick:
    """A core with a name: its name, id, objectives (k,), and the requirements it is only just within, in words."""

    name: str
    core: str
    values: Array
    at_limit: tuple[str, ...] = ()


@dataclass(frozen=True)
class LimitLine:
    """A limit on a plotted output: axis 0, 1 ... of the objectives, value in its unit, words."""

    axis: int
    value: float
    text: str


@dataclass(frozen=True)
class CopyCloud:
    """Computable copies (n, k) of one core, whether each meets everything (n,), the core's nominal values (k,)."""

    core: str
    nominal: Array
    values: Array
    met: BoolArray


@dataclass(frozen=True)
class FrontData:
    """The picture of the front.

    Attributes
    ----------
    titles : columns of the objectives, k of them; maximise : their sense.
    feasible : (n, k) feasible cores that are not on the front. feasible_words : what they are some of.
    front : (n, k), sorted by the first objective. cores : their ids.
    shop : clouds of some front cores; model : clouds of the picks.
    near : (k, 2) view for the front with shop clouds; wide : (k, 2) view with the model's outlines as well.
    """

    titles: tuple[str, ...]
    maximise: tuple[bool, ...]
    feasible: Array
    feasible_words: str
    front: Array
    cores: tuple[str, ...]
    picks: tuple[Pick, ...]
    shop: tuple[CopyCloud, ...]
    model: tuple[CopyCloud, ...]
    limits: tuple[LimitLine, ...]
    near: Array
    wide: Array


def front_data(run: Run) -> FrontData:
    """Front, feasible cores behind it, picks, clouds, limits and views."""
    titles = objective_titles(run)
    maximise = tuple(bool(o["maximise"]) for o in run.record["objectives"])
    table = sorted_front(run)
    front = matrix(table, titles)
    picks = picks_of(run, table, titles)
    chosen = spaced_cores(front, [table["core"].tolist().index(pick.core) for pick in picks], MOST_CLOUDS)
    shop = _clouds(run, "shop", [str(table["core"].iloc[i]) for i in chosen], table, titles)
    model = _clouds(run, "model", [pick.core for pick in picks], table, titles)
    feasible = feasible_beside(run, titles)
    near = _near_view(front, feasible, shop, maximise)
    return FrontData(
        titles, maximise, feasible, _grey_words(run, feasible, front), front, tuple(table["core"]), picks, shop, model,
        limit_lines(run, titles, near), near, _wide_view(front, shop, model),
    )


def _grey_words(run: Run, feasible: Array, front: Array) -> str:
    """How many feasible cores there are, and whether all of them are shown."""
    scope = scope_of(run.record)
    return scope.feasible_words if len(feasible) + len(front) < scope.feasible or scope.drawn else f"{scope.feasible:,}"


def objective_titles(run: Run) -> tuple[str, ...]:
    """Columns of the objectives."""
    return tuple(str(o["column"]) for o in run.record["objectives"])


def sorted_front(run: Run) -> "pd.DataFrame":
    """The front's table in the order of the first objective."""
    return run.tables["front"].sort_values(objective_titles(run)[0], kind="stable", ignore_index=True)


def matrix(table: "pd.DataFrame", titles: tuple[str, ...]) -> Array:
    """Columns as (n, k)."""
    return np.column_stack([table[title].to_numpy(dtype=np.float64) for title in titles])


def picks_of(run: Run, table: "pd.DataFrame", titles: tuple[str, ...]) -> tuple[Pick, ...]:
    """The named cores of a front's table, in its order; a core with two names bears both."""
    names = table["pick"].fillna("").astype(str)
    values = matrix(table, titles)
    return tuple(
        Pick(names[i], str(table["core"][i]), values[i], at_limit(run, table, i)) for i in range(len(table)) if names[i]
    )


def at_limit(run: Run, table: "pd.DataFrame", row: int) -> tuple[str, ...]:
    """What a core is only just within: limits to `_JUST` of them (a temperature to a degree), clearances of nothing."""
    found = []
    for limit in run.record["limits"]:
        at = [c.title for c in columns_of(table, limit["output"]) if limit["at"] in (c.at, "worst") and c.at != "mean"]
        gaps = np.abs(table.loc[row, at].to_numpy(dtype=np.float64) - limit["bound"])
        just = 1.0 if limit["unit"] in ("degC", "degF", "K") else _JUST * abs(limit["bound"])
        if gaps.size and gaps.min() <= just:
            found.append(words(limit["output"]))
    for name in CLEARANCES:
        room = [float(table[c.title][row]) for c in columns_of(table, name)]
        if room and abs(room[0]) < 1e-6:
            found.append(words(name).removeprefix("clearance, "))
    return tuple(dict.fromkeys(found))


def feasible_beside(run: Run, titles: tuple[str, ...]) -> Array:
    """Feasible cores behind the front: its next layers and the sample of the rest."""
    designs = run.tables["designs"]
    behind = designs[(designs["feasible"] == "yes") & (designs["layer"] != 1)]
    return matrix(behind, titles)


def spaced_cores(front: Array, picked: list[int], most: int) -> list[int]:
    """The picks, and front cores far from each other between them: at most `most`, none where it would be crowded.

    >>> spaced_cores(np.column_stack([np.arange(11.0), np.arange(11.0)]), [0, 10], 4)
    [0, 2, 5, 10]
    """
    span = np.ptp(front, axis=0)
    scaled = (front - front.min(axis=0)) / np.where(span > 0, span, 1.0)
    chosen = list(dict.fromkeys(picked))
    while len(chosen) < min(most, len(front)):
        away = np.min(np.linalg.norm(scaled[:, None] - scaled[None, chosen], axis=2), axis=1)
        far = int(np.argmax(away))
        if away[far] < _CROWDED:
            break
        chosen.append(far)
    return sorted(chosen)


def _clouds(
    run: Run, kind: str, cores: list[str], front: "pd.DataFrame", titles: tuple[str, ...]
) -> tuple[CopyCloud, ...]:
    if "clouds" not in run.tables:
        return ()
    table = run.tables["clouds"]
    table = table[table["scatter"] == kind]
    found = []
    for core in cores:
        rows = table[table["core"] == core]
        values = matrix(rows, titles)
        sound = np.all(np.isfinite(values), axis=1)
        nominal = matrix(front[front["core"] == core], titles)[0]
        found.append(CopyCloud(core, nominal, values[sound], rows["met"].to_numpy(dtype=bool)[sound]))
    return tuple(found)


def outline(points: Array, share: float = MODEL_SHARE) -> Array:
    """A closed ellipse (m, 2) with the shape of the points (n, 2), just large enough to hold `share` of them.

    Empty (0, 2) where the points do not span a plane.
    """
    if len(points) < 3:
        return np.empty((0, 2))
    centre, spread = points.mean(axis=0), np.cov(points.T)
    values, axes = np.linalg.eigh(spread)
    if not values[0] > 1e-12 * values[1]:
        return np.empty((0, 2))
    distance = np.sum(((points - centre) @ axes) ** 2 / values, axis=1)
    # The smallest ellipse that holds at least the share: the copy on its edge is inside.
    radius = np.sqrt(np.quantile(distance, share, method="higher"))
    angle = np.linspace(0, 2 * np.pi, _OUTLINE_POINTS)
    circle = np.column_stack([np.cos(angle), np.sin(angle)])
    return np.asarray(centre + radius * (circle * np.sqrt(values)) @ axes.T)


def padded(points: Array) -> Array:
    """Lowest and highest of points (n, k) as (k, 2) with a margin; a flat axis is given a tenth of its value."""
    low, high = points.min(axis=0), points.max(axis=0)
    span = high - low
    pad = np.where(span > 0, _VIEW_MARGIN * span, np.maximum(0.05 * np.abs(low), 1e-9))
    return np.column_stack([low - pad, high + pad])


def _near_view(front: Array, feasible: Array, shop: tuple[CopyCloud, ...], maximise: tuple[bool, ...]) -> Array:
    """The front and its clouds, and as much of the feasible on the worse side as leaves the front in the foreground."""
    view = padded(np.concatenate([front, *(cloud.values for cloud in shop)]))
    spare = _ROOM_FOR_LABELS * (view[-1, 1] - view[-1, 0])
    view[-1] += (0.0, spare) if maximise[-1] else (-spare, 0.0)
    if not len(feasible):
        return view
    for axis, up in enumerate(maximise):
        room = _FEASIBLE_BESIDE * (view[axis, 1] - view[axis, 0])
        if up:
            view[axis, 0] = max(view[axis, 0] - room, min(view[axis, 0], feasible[:, axis].min()))
        else:
            view[axis, 1] = min(view[axis, 1] + room, max(view[axis, 1], feasible[:, axis].max()))
    return view


def _wide_view(front: Array, shop: tuple[CopyCloud, ...], model: tuple[CopyCloud, ...]) -> Array:
    parts = [front, *(cloud.values for cloud in shop)]
    k = front.shape[1]
    for cloud in model:
        for i in range(k - 1):
            edge = np.tile(cloud.nominal, (_OUTLINE_POINTS, 1))
            drawn = outline(cloud.values[:, [i, i + 1]])
            if len(drawn):
                edge[:, [i, i + 1]] = drawn
                parts.append(edge)
    return padded(np.concatenate(parts))


def limit_lines(run: Run, titles: tuple[str, ...], view: Array) -> tuple[LimitLine, ...]:
    """Limits on plotted outputs, at the plotted duty point or at the worst, in the view or just beside it."""
    lines = []
    for axis, title in enumerate(titles):
        c = column(title)
        near = _NEAR * (view[axis, 1] - view[axis, 0])
        for limit in run.record["limits"]:
            if limit["output"] != c.name or limit["at"] not in (c.at, "worst"):
                continue
            if view[axis, 0] - near <= limit["bound"] <= view[axis, 1] + near:
                lines.append(LimitLine(axis, float(limit["bound"]), limit_words(limit)))
    return tuple(lines)


def limit_words(limit: dict[str, Any]) -> str:
    """A limit of the record for the eye.

    >>> limit_words({"bound": 12.0, "unit": "kPa", "at": "worst"})
    'limit 12 kPa'
    >>> limit_words({"bound": 80.0, "unit": "degC", "at": "long_climb"})
    'limit 80 °C, long climb'
    """
    where = "" if limit["at"] in (None, "worst") else f", {words(limit['at'])}"
    return f"limit {limit['bound']:.4g} {typeset(limit['unit'])}".rstrip() + where
