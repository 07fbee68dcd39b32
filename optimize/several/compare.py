"""Runs beside each other: what differs in their studies, their fronts, and their named cores under every study."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from optimize import runs, tables, units
from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.feasibility import objective_value
from optimize.misses import misses
from optimize.pareto import normalised_hypervolume
from optimize.report.compare_figure import DrawnFront, compare_view
from optimize.report.figure_data import LimitLine, limit_lines
from optimize.rerun.carried import carried
from optimize.space import Parameters
from optimize.stored_core import cores_of_read_run, problem_of_run
from optimize.study.differences import differences, shortened
from optimize.study.model import Objective
from physics.arrays import Array
from physics.outputs import OUTPUTS
from physics.rating import Rating

if TYPE_CHECKING:
    import pandas as pd

_BEYOND = 0.1  # of the span of all fronts, where the hypervolume is counted to


@dataclass(frozen=True)
class Compared:
    """What several runs have and have not in common, in the units and by the objectives of the first.

    Attributes
    ----------
    objectives : titles with units.
    changes, picks, crossed : what differs in the studies, the cores with a name, and each of them under every study.
    hypervolumes : share of one box that each front dominates, NaN where it has no measure.
    limits : on the objectives, of every run.
    """

    title: str
    objectives: tuple[str, ...]
    changes: "pd.DataFrame"
    fronts: tuple[DrawnFront, ...]
    hypervolumes: tuple[float, ...]
    picks: "pd.DataFrame"
    crossed: "pd.DataFrame"
    limits: tuple[LimitLine, ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True)
class _Opened:
    """A run opened: its name here, its tables, the problem of its study."""

    name: str
    run: runs.Run
    problem: CoreProblem

    def cores(self, names: Sequence[str]) -> Parameters:
        return cores_of_read_run(self.problem.space, self.run, names)

    @property
    def picks(self) -> dict[str, str]:
        """Cores with a name: all their names by the core."""
        named: dict[str, list[str]] = {}
        for pick, core in self.run.record["picks"].items():
            named.setdefault(core, []).append(pick)
        return {core: ", ".join(picks) for core, picks in named.items()}


def compared(folders: Sequence[Path]) -> Compared:
    """Compare finished runs, in the units and by the objectives of the first.

    Raises FinfrontError for fewer than two, and for one that cannot be read.
    """
    if len(folders) < 2:
        raise FinfrontError("one run alone has nothing to be compared with", do="name two or more run folders")
    opened = [_opened(folder, name) for folder, name in zip(folders, _names(folders), strict=True)]
    first = opened[0].problem
    fronts = tuple(_front(each, first) for each in opened)
    titles = tuple(tables.objective_headers(first))
    return Compared(
        str(opened[0].run.record["title"]), titles, _changes(opened), fronts, _hypervolumes(fronts, first),
        _picks(opened, first), _crossed(opened, first), _limits(opened, titles, compare_view(fronts)), _remarks(opened),
    )  # fmt: skip


def _names(folders: Sequence[Path]) -> list[str]:
    """Short names of folders, told apart by a number where two are called alike."""
    names = [folder.resolve().name for folder in folders]
    told = [f"{name} ({names[: i + 1].count(name)})" for i, name in enumerate(names)]
    return [name if names.count(name) == 1 else longer for name, longer in zip(names, told, strict=True)]


def _opened(folder: Path, name: str) -> _Opened:
    run = runs.read(folder)
    missing = [key for key in ("title", "picks", "limits", "units") if key not in run.record]
    if missing or "designs" not in run.tables:
        what = f"the run is damaged: {missing[0] if missing else 'designs.csv'} is missing"
        raise FinfrontError(what, str(folder), "make the run again")
    return _Opened(name, run, problem_of_run(run))


def _changes(opened: list[_Opened]) -> "pd.DataFrame":
    """A row for each field that differs from the first run's study, a column for each run."""
    import pandas as pd

    first, rows = opened[0], dict[str, dict[str, str]]()
    for other in opened[1:]:
        for change in differences(first.problem.study, other.problem.study):
            row = rows.setdefault(change.where, {first.name: shortened(change.before)})
            row[other.name] = shortened(change.after)
    columns = ["field", *(each.name for each in opened)]
    full = [{"field": where, **{c: row.get(c, row[first.name]) for c in columns[1:]}} for where, row in rows.items()]
    return pd.DataFrame(full, columns=columns)


def _front(each: _Opened, first: CoreProblem) -> DrawnFront:
    """The front of a run by the objectives of the first."""
    if "front" not in each.run.tables:
        return DrawnFront(each.name, np.empty((0, len(first.study.objectives))), (), {})
    names = tuple(map(str, each.run.tables["front"]["core"]))
    rating = each.problem.rate_choices(each.cores(names), len(names))
    values = np.stack([_displayed(each.problem, rating, o, first) for o in first.study.objectives], axis=1)
    return DrawnFront(each.name, values, names, dict(each.run.record["picks"]))


def _limits(opened: list[_Opened], titles: tuple[str, ...], view: Array) -> tuple[LimitLine, ...]:
    """Limits of the first run, and those of the others that differ and are in the same units."""
    found: list[LimitLine] = []
    for each in opened:
        if len(view) and each.problem.study.units == opened[0].problem.study.units:
            own = limit_lines(each.run, titles, view)
            known = {(limit.axis, limit.value) for limit in found}
            named = own if each is opened[0] else [replace(limit, text=f"{limit.text}, {each.name}") for limit in own]
            found += [limit for limit in named if (limit.axis, limit.value) not in known]
    return tuple(found)


def _displayed(problem: CoreProblem, rating: Rating, objective: Objective, first: CoreProblem) -> Array:
    """An objective in the first study's unit; NaN where a study has no such output or duty point."""
    known = objective.output in rating.values and objective.at in (None, "worst", "mean", *problem.duty.names)
    if not known:
        return np.full(len(rating.flags), np.nan)
    value = objective_value(problem.study, rating, objective)
    return np.asarray(units.to_display(value, OUTPUTS[objective.output].kind, first.study.units))


def _hypervolumes(fronts: Sequence[DrawnFront], first: CoreProblem) -> tuple[float, ...]:
    """Share of one box that each front dominates; NaN where it has no value in an objective."""
    sign = np.array([-1.0 if o.maximise else 1.0 for o in first.study.objectives])
    every = np.concatenate([front.values * sign for front in fronts])
    every = every[np.all(np.isfinite(every), axis=1)]
    if len(every) < 2 or not np.all(np.ptp(every, axis=0) > 0):
        return tuple(float("nan") for _ in fronts)
    ideal, reference = every.min(axis=0), every.max(axis=0) + _BEYOND * np.ptp(every, axis=0)
    return tuple(
        normalised_hypervolume(front.values * sign, ideal, reference) if np.all(np.isfinite(front.values)) else np.nan
        for front in fronts
    )


def _picks(opened: list[_Opened], first: CoreProblem) -> "pd.DataFrame":
    """Every run's named cores: variables and what every table of designs carries, in the first run's units."""
    import pandas as pd

    rows = []
    for each in opened:
        for core, picks in each.picks.items():
            choices = each.cores([core])
            rating = each.problem.rate_choices(choices, 1)
            told = tables.variable_values(each.problem.space, choices, first.study.units)
            names = [name for name in tables.key_outputs(first) if name in rating.values]
            outputs = {k: v[0] for k, v in tables.output_columns(rating, names, first.study.units).items()}
            rows.append({"run": each.name, "core": core, "pick": picks, **told, **outputs})
    return pd.DataFrame(rows)


def _crossed(opened: list[_Opened], first: CoreProblem) -> "pd.DataFrame":
    """Every run's named cores under every study: objectives, and what they miss there."""
    import pandas as pd

    rows = [
        {"core": core, "of": each.name, "pick": pick, "under": other.name, **_under(each, core, other, first)}
        for each in opened for core, pick in each.picks.items() for other in opened
    ]
    return pd.DataFrame(rows)


def _under(each: _Opened, core: str, other: _Opened, first: CoreProblem) -> dict[str, float | str]:
    """Objectives of a core under another run's study, and the verdict there."""
    there = carried(each.problem, each.cores([core]), 1, other.problem)
    rating = other.problem.rate_choices(there.choices, 1)
    margins = other.problem.evaluate_choices(there.choices, 1).margins[0]
    values: dict[str, float | str] = {
        title: float(_displayed(other.problem, rating, o, first)[0]) if there.possible[0] else float("nan")
        for title, o in zip(tables.objective_headers(first), first.study.objectives, strict=True)
    }
    if there.lacks[0]:
        return values | {"verdict": f"cannot be made: {there.lacks[0]}"}
    missed = misses(other.problem, margins)
    return values | {"verdict": f"misses {missed}" if missed else "keeps everything"}


def _remarks(opened: list[_Opened]) -> tuple[str, ...]:
    """What makes a comparison less than plain."""
    first, told = opened[0].problem.study, []
    for each in opened[1:]:
        study = each.problem.study
        if study.objectives != first.objectives:
            told.append(f"{each.name} searched for other objectives; its front is shown by those of {opened[0].name}")
        if study.units != first.units:
            told.append(f"{each.name} is in {study.units} units; everything is shown in {first.units}")
    for each in opened:
        if "front" not in each.run.tables:
            told.append(f"{each.name} found no core that meets everything")
    return tuple(told)
