"""Before and after a change: the fate of every core of the old front, both fronts, what was gained or lost, and why."""

from typing import TYPE_CHECKING, Any

import numpy as np

from optimize import tables, units
from optimize.evaluate import CoreProblem
from optimize.feasibility import objective_value
from optimize.misses import misses
from optimize.pareto import normalised_hypervolume
from optimize.rerun.survey import Survey, named_positions, warm_front
from optimize.rerun.worth import worth_table
from optimize.search.archive import Archive, judge
from optimize.search.problem import Evaluation
from optimize.space import KINDS
from optimize.study.differences import shortened
from optimize.tables import core_name
from physics.arrays import Array, BoolArray

if TYPE_CHECKING:
    import pandas as pd

STAYS, BEATEN, REPAIRED, DIES = "stays on the front", "fits, beaten now", "repaired", "dies"
_BEYOND = 0.1  # of the span of both fronts, where the hypervolume is counted to
_CHECKPOINTS = 50


def answer(survey: Survey, archive: Archive) -> "tuple[dict[str, pd.DataFrame], dict[str, Any]]":
    """Tables (changes, fates, worth) and the entry of the record on what became of the run."""
    import pandas as pd

    before, after = before_objectives(survey), archive.front.objectives
    changes = [(c.where, shortened(c.before), shortened(c.after)) for c in survey.changes]
    starts = np.concatenate([archive.front.points, survey.start])
    found = {
        "changes": pd.DataFrame(changes, columns=["field", "before", "after"]),
        "fates": fates_table(survey, after),
    }
    judged = 0
    if len(starts):
        found["worth"], judged = worth_table(survey.problem, starts)
    return found, {"rerun": _record(survey, archive, before, judged)}


def before_objectives(survey: Survey) -> Array:
    """Objectives of the changed study (f, k) that the old front had under the old one; NaN where it knew no such."""
    old, new = survey.old.problem.study, survey.problem.study
    rows = survey.old.rows.take(survey.front)
    if old.objectives == new.objectives:
        return rows.objectives
    rating = survey.old.problem.rate_points(rows.points) if len(rows) else None
    columns = []
    for o in new.objectives:
        known = rating is not None and o.output in rating.values and (
            o.at in (None, "worst", "mean") or o.at in survey.old.problem.duty.names
        )
        value = objective_value(old, rating, o) if known and rating is not None else np.full(len(rows), np.nan)
        columns.append(-value if o.maximise else value)
    return np.stack(columns, axis=1)


def fates_table(survey: Survey, after: Array) -> "pd.DataFrame":
    """The old front core by core: what became of it, what kills it, what it does now, and the nearest repair."""
    import pandas as pd

    index, named = survey.front, named_positions(survey.run, survey.old.rows)
    now = np.where(survey.carried.possible[index, None], survey.verdict.objectives[index], np.nan)
    beaten = _beaten(now, after)
    fates = [
        (BEATEN if beaten[k] else STAYS) if survey.alive[i] else REPAIRED if int(i) in survey.repairs else DIES
        for k, i in enumerate(index)
    ]
    old = tables.objective_columns(survey.problem, before_objectives(survey))
    return pd.DataFrame({
        "core_before": [core_name(int(o)) for o in survey.old.rows.ordinals[index]],
        "pick_before": [named.get(int(i), "") for i in index],
        "fate": fates,
        "because": [misses(survey.problem, survey.verdict.margins[i], survey.carried.lacks[i]) for i in index],
        "repair": [_repair(survey, int(i)) for i in index],
        **{f"before {title}": value for title, value in old.items()},
        **{f"now {title}": value for title, value in tables.objective_columns(survey.problem, now).items()},
    })


def _beaten(rows: Array, front: Array) -> BoolArray:
    """(n,) whether some row of a front is nowhere worse and somewhere better."""
    no_worse = np.all(front[None, :, :] <= rows[:, None, :], axis=2)
    better = np.any(front[None, :, :] < rows[:, None, :], axis=2)
    return np.asarray(np.any(no_worse & better, axis=1))


def _repair(survey: Survey, i: int) -> str:
    """What the nearest core that keeps everything has otherwise: 'passages 17 → 16'; "" where nothing was found."""
    if i not in survey.repairs:
        return ""
    space = survey.problem.space
    there = space.core(survey.repairs[i])
    told = []
    for name in space.variables:
        column = survey.carried.choices[name]
        was, now = float(column[i] if column.size > 1 else column[0]), float(there[name][0])
        if was != now:
            told.append(f"{name.replace('_', ' ')} {_shown(survey, name, was)} → {_shown(survey, name, now)}")
    return ", ".join(told)


def _shown(survey: Survey, name: str, value: float) -> str:
    space = survey.problem.space
    if name in space.words:
        return space.words[name][int(value)]
    return units.show(value, KINDS[name], space.study.units)


def _record(survey: Survey, archive: Archive, before: Array, judged: int) -> dict[str, Any]:
    problem, rows = survey.problem, survey.old.rows
    was_good = judge(Evaluation(rows.objectives, rows.margins, rows.tie)).feasible
    lost = was_good & ~survey.alive
    missed = survey.verdict.margins < 0
    return {
        "of": str(survey.run.record["study"]), "made": survey.run.record["made"],
        "stored": len(rows), "feasible_before": int(was_good.sum()), "feasible_now": int(survey.alive.sum()),
        "lost": int(lost.sum()), "won": int((survey.alive & ~was_good).sum()),
        "not_in_catalogue": int((~survey.carried.possible).sum()),
        "lost_by": {
            name: int((lost & missed[:, q]).sum())
            for q, name in enumerate(problem.margin_names) if (lost & missed[:, q]).any()
        },
        "hypervolume": _hypervolumes(before, archive.front.objectives),
        "fixed": {name: _fixed(problem, name) for name in ("length",) if problem.space.variables[name].is_fixed},
        "warm": _warm(survey, archive), "judged_for_worth": judged,
    }


def _fixed(problem: CoreProblem, name: str) -> str:
    return units.show(float(problem.space.coded(problem.space.variables[name])[0]), KINDS[name], problem.study.units)


def _hypervolumes(before: Array, after: Array) -> dict[str, float] | None:
    """Shares of one box for both fronts, from the best of both to a tenth beyond their worst."""
    known = before[np.all(np.isfinite(before), axis=1)]
    both = np.concatenate([known, after])
    if len(both) < 2 or not np.all(np.ptp(both, axis=0) > 0):
        return None
    ideal, reference = both.min(axis=0), both.max(axis=0) + _BEYOND * np.ptp(both, axis=0)
    return {
        "before": normalised_hypervolume(known, ideal, reference),
        "after": normalised_hypervolume(after, ideal, reference),
    }


def _warm(survey: Survey, archive: Archive) -> dict[str, Any]:
    """How far the survey alone came, against the search that followed and, for an evolution, the one before."""
    warm, final = warm_front(survey).objectives, archive.front.objectives
    share = _share(warm, final)
    found = sum(bool(np.any(np.all(warm == row, axis=1))) for row in final)
    record: dict[str, Any] = {
        "rated": len(survey.old.rows) + len(survey.climbed.seen), "seconds": survey.seconds,
        "share": share, "found": found, "front": len(final), "search_rated": archive.ratings,
    }
    if not survey.run.record["exact"] and share is not None:
        record["cold_rated"] = _cold(survey, share)
    return record


def _share(part: Array, whole: Array) -> float | None:
    """Hypervolume of one front over that of another, both to a tenth beyond the worst of the latter."""
    if len(whole) < 2 or not len(part) or not np.all(np.ptp(whole, axis=0) > 0):
        return None
    reference = whole.max(axis=0) + _BEYOND * np.ptp(whole, axis=0)
    ideal = np.minimum(part.min(axis=0), whole.min(axis=0))
    return normalised_hypervolume(part, ideal, reference) / normalised_hypervolume(whole, ideal, reference)


def _cold(survey: Survey, share: float) -> int:
    """How many cores the old evolution had rated when it had that share of its own final hypervolume, within 2 %."""
    rows = survey.old.rows
    good = judge(Evaluation(rows.objectives, rows.margins, rows.tie)).feasible
    final = rows.objectives[survey.layer == 1]
    for stop in np.linspace(len(rows) / _CHECKPOINTS, len(rows), _CHECKPOINTS).astype(int):
        reached = _share(rows.objectives[:stop][good[:stop]], final)
        if reached is not None and reached >= min(share, 1.0):
            return int(stop)
    return len(rows)
