"""What figures and text of a rerun show: both fronts, the fate of the old one, what each change is worth."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimize.report.columns import column, label, typeset, words
from optimize.report.copy_data import texts
from optimize.report.figure_data import LimitLine, limit_lines, objective_titles
from optimize.runs import Run
from physics.arrays import Array

if TYPE_CHECKING:
    import pandas as pd

STAYS, BEATEN, REPAIRED, DIES = "stays on the front", "fits, beaten now", "repaired", "dies"
FATES = (STAYS, BEATEN, REPAIRED, DIES)
_AT_KNEE = " at no worse than the knee"
_MARGIN = 0.12  # of the span
NOTHING = 0.05  # [%] of the hypervolume; less is no gain and no loss


@dataclass(frozen=True)
class OldCore:
    """A core of the old front: objectives (k,) before and now (NaN where it has none), what became of it."""

    core: str
    pick: str
    fate: str
    because: str
    repair: str
    before: Array
    now: Array


@dataclass(frozen=True)
class Worth:
    """A dimension or limit: changes, ascending, with the hypervolume [% of present] at each; the present among them."""

    what: str
    unit: str
    by: Array
    hypervolume: Array
    held: Array  # (changes, k) best of each objective at no worse than the knee in the others


@dataclass(frozen=True)
class RerunData:
    """`titles` of the k objectives; `front` (n, k) of the new one; `names`: its picks (name, core, values)."""

    titles: tuple[str, ...]
    old: tuple[OldCore, ...]
    front: Array
    names: tuple[tuple[str, str, Array], ...]
    view: Array  # (k, 2)
    limits: tuple[LimitLine, ...]
    worths: tuple[Worth, ...]


def is_rerun(run: Run) -> bool:
    """Whether a run was carried over from another."""
    return "rerun" in run.record and "fates" in run.tables


def rerun_data(run: Run) -> RerunData:
    """What became of the old run."""
    titles = objective_titles(run)
    fates = run.tables["fates"]
    before, now = (fates[[f"{when} {title}" for title in titles]].to_numpy(float) for when in ("before", "now"))
    core, pick, fate, because, repair = (
        texts(fates, name) for name in ("core_before", "pick_before", "fate", "because", "repair")
    )
    old = tuple(OldCore(*each) for each in zip(core, pick, fate, because, repair, before, now, strict=True))
    front, names = np.empty((0, len(titles))), list[tuple[str, str, Array]]()
    if "front" in run.tables:
        table = run.tables["front"]
        front = table[list(titles)].to_numpy(float)
        named = zip(texts(table, "pick"), texts(table, "core"), front, strict=True)
        names = [(pick, core, values) for pick, core, values in named if pick]
        front = front[np.argsort(front[:, 0], kind="stable")]
    view = _view(np.concatenate([before, front]))
    return RerunData(titles, old, front, tuple(names), view, limit_lines(run, titles, view), worths(run, titles))


def _view(values: Array) -> Array:
    """Ends of the axes (k, 2): both fronts and some room."""
    known = values[np.all(np.isfinite(values), axis=1)]
    if not len(known):
        return np.tile([0.0, 1.0], (values.shape[1], 1))
    low, high = known.min(axis=0), known.max(axis=0)
    room = _MARGIN * np.where(high > low, high - low, np.maximum(np.abs(high), 1.0))
    return np.stack([low - room, high + room], axis=1)


def worths(run: Run, titles: tuple[str, ...]) -> tuple[Worth, ...]:
    """What each change is worth, in the order of the table."""
    if "worth" not in run.tables or len(run.tables["worth"]) < 2:
        return ()
    table = run.tables["worth"]
    present, moved = table.iloc[:1], table.iloc[1:]
    found = []
    for what in dict.fromkeys(texts(moved, "what")):
        rows = moved[moved["what"] == what]
        both = _stacked(present.assign(by=0.0), rows).sort_values("by", kind="stable")
        held = both[[f"{title}{_AT_KNEE}" for title in titles]].to_numpy(float)
        hypervolume = both["hypervolume [% of present]"].to_numpy(float)
        found.append(Worth(what, str(rows["unit"].iloc[0]), both["by"].to_numpy(float), hypervolume, held))
    return tuple(found)


def _stacked(*parts: "pd.DataFrame") -> "pd.DataFrame":
    import pandas as pd

    return pd.concat(parts, ignore_index=True)


def worth_words(worth: Worth, titles: tuple[str, ...]) -> str:
    """In words what the least change that matters gains, and what the least that hurts costs."""
    zero = int(np.flatnonzero(worth.by == 0.0)[0])
    gains = worth.hypervolume - 100.0
    parts = []
    for direction, much in ((1, "more"), (-1, "less")):
        order = range(zero + direction, len(worth.by) if direction > 0 else -1, direction)
        first = next((i for i in order if not abs(gains[i]) < NOTHING), None)
        if first is None:
            end = abs(worth.by[-1 if direction > 0 else 0])
            parts.append(f"Up to {end:g} {typeset(worth.unit)} {much} changes nothing")
            continue
        step = abs(worth.by[first])
        told = f"{step:g} {typeset(worth.unit)} {much}: {gains[first]:+.1f} % hypervolume"
        if worth.hypervolume[first] == 0.0:
            parts.append(f"{step:g} {typeset(worth.unit)} {much}: nothing is left")
            continue
        told += f" ({gains[first] / step:+.2g} % for each {typeset(worth.unit)})" if step != 1 else ""
        parts.append("; ".join([told, *_held_words(worth, first, zero, titles)]))
    return ". ".join(parts) + "."


def _held_words(worth: Worth, i: int, zero: int, titles: tuple[str, ...]) -> list[str]:
    """What each objective gains or loses at no worse than the knee in the others."""
    told = []
    for k, title in enumerate(titles):
        change = worth.held[i, k] - worth.held[zero, k]
        if np.isnan(worth.held[i, k]):
            told.append(f"whatever the {words(column(title).name)}, no core is as good as the knee in the rest")
        elif abs(change) > 1e-9 * max(abs(worth.held[zero, k]), 1.0):
            unit = column(title).unit
            unit = {"degC": "K", "degF": "°F"}.get(unit, unit)
            told.append(f"{label(title, unit=False)} {change:+.3g} {unit} at no worse than the knee otherwise")
    return told
