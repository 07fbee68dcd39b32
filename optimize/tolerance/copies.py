"""Copies of cores under each kind of scatter, rated and judged; lost ones are counted and named.

All cores of a study share the same draws, column by column, so that two cores differ by their design and not by luck.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from optimize.evaluate import CoreProblem, Outside
from optimize.feasibility import kept_by_duty, objective_value, requirement_values, requirements
from optimize.space import Batch, Parameters
from optimize.study.model import Study, Tolerance
from optimize.tolerance.draws import Draws
from optimize.tolerance.laws import manufactured
from optimize.tolerance.model_draws import model_factors
from optimize.tolerance.operating import operating
from physics.arrays import Array, BoolArray, IntArray
from physics.columns import take
from physics.duty import ModelFactors
from physics.flags import VOID, Flag

SHOP, RUN, BOTH, MODEL = "shop", "run", "shop and run", "model"
SHOWN = ("heat_rejected", "air_outlet_temperature", "air_pressure_drop", "coolant_pressure_drop")
ROWS = 16_384  # copies rated in one call
_LOST = int(VOID | Flag.NOT_SETTLED | Flag.SOAK_STEP | Flag.SOAK_NO_VALUE)


def kinds_of(study: Study) -> tuple[str, ...]:
    """The kinds of scatter a study has: core to core, run to run, the two at once; and what nobody knows yet."""
    return (SHOP, RUN, BOTH, MODEL) if study.run_tolerances else (SHOP, MODEL)


@dataclass(frozen=True)
class Copies:
    """Copies of one core under one kind of scatter, n of them.

    Attributes
    ----------
    objectives : (n, k), in their own sense and SI unit; NaN where a copy is lost.
    bounded : (n, r) the outputs that the limits bound, one column a requirement of `feasibility.requirements`.
    shown : outputs of `SHOWN`, (n, m).
    margins : (n, q) as in `CoreProblem.margin_names`, NaN where a copy is lost.
    by_duty : requirement at the worst of all duty points -> (n, m) whether each of them keeps it.
    lost : (n,) bits of `Flag` that say why a copy has no numbers, 0 where it has.
    """

    objectives: Array
    bounded: Array
    shown: dict[str, Array]
    margins: Array
    by_duty: dict[str, BoolArray]
    lost: IntArray

    @property
    def met(self) -> BoolArray:
        """Which requirements each copy meets (n, q); a lost one meets none."""
        with np.errstate(invalid="ignore"):
            return np.asarray(self.margins >= 0)

    @property
    def passed(self) -> BoolArray:
        """Copies that meet every requirement (n,)."""
        return np.asarray(np.all(self.met, axis=1))

    def take(self, index: slice) -> "Copies":
        """Some of the copies."""
        return _mapped([self], lambda arrays: arrays[0][index])

    @staticmethod
    def join(parts: "Sequence[Copies]") -> "Copies":
        """The copies of all parts, in order."""
        return parts[0] if len(parts) == 1 else _mapped(parts, np.concatenate)


def _mapped(parts: Sequence[Copies], together: Callable[[list[Any]], Any]) -> Copies:
    def of(name: str) -> Any:
        values = [getattr(part, name) for part in parts]
        if isinstance(values[0], dict):
            return {key: together([value[key] for value in values]) for key in values[0]}
        return together(values)

    return Copies(*(of(name) for name in Copies.__dataclass_fields__))


def rated(problem: CoreProblem, batch: Batch, factors: ModelFactors | None, outside: Outside | None) -> Copies:
    """A batch of copies, whatever core each is of, rated and judged."""
    study, rating = problem.study, problem.rate(batch, factors, outside=outside)
    judged = problem.judge(batch, rating)
    objectives = np.stack([objective_value(study, rating, o) for o in study.objectives], axis=1)
    missing = np.any(np.isnan(judged.margins), axis=1) | ~np.all(np.isfinite(objectives), axis=1)
    reasons = np.bitwise_or.reduce(rating.flags, axis=1) & _LOST
    bounded = requirement_values(study, rating)
    n = len(objectives)
    return Copies(
        objectives=np.where(missing[:, None], np.nan, objectives),
        bounded=np.stack([np.broadcast_to(v, (n,)) for v in bounded], axis=1) if bounded else np.empty((n, 0)),
        shown={name: np.where(missing[:, None], np.nan, rating[name]) for name in SHOWN},
        margins=np.where(missing[:, None], np.nan, judged.margins),
        by_duty={name: kept & ~missing[:, None] for name, kept in kept_by_duty(study, rating).items()},
        lost=np.where(missing, np.where(reasons > 0, reasons, int(Flag.NO_VALUE)), 0),
    )


def answers(problem: CoreProblem, made: Copies) -> dict[tuple[str, str], Array]:
    """What copies are asked for (n,), by output and duty point, "worst", "mean" or "": main outputs, goals, limits."""
    found = {(name, duty): made.shown[name][:, i] for name in SHOWN for i, duty in enumerate(problem.duty.names)}
    for i, objective in enumerate(problem.study.objectives):
        found.setdefault((objective.output, objective.at or ""), made.objectives[:, i])
    for i, requirement in enumerate(requirements(problem.study)):
        found.setdefault((requirement.output, requirement.at or ""), made.bounded[:, i])
    return found


def copies(
    problem: CoreProblem, cores: Sequence[Parameters], draws: Draws, kind: str,
    tolerances: dict[str, Tolerance] | None = None,
) -> list[Copies]:
    """Copies of each core (columns of one value), in the order of the cores; `tolerances` in place of their own."""
    nominal = [problem.space.batch(core, np.zeros(1, dtype=np.int64)) for core in cores]
    groups: dict[tuple[str, str], list[int]] = {}
    for i, batch in enumerate(nominal):
        groups.setdefault((batch.air_family.name, batch.coolant_family.name), []).append(i)
    done: dict[int, Copies] = {}
    for members in groups.values():
        size = max(1, ROWS // draws.count)
        for first in range(0, len(members), size):
            some = members[first : first + size]
            own = [tolerances or problem.space.tolerances(cores[i]) for i in some]
            made = _rated_together(problem, [nominal[i] for i in some], own, draws, kind)
            done |= {i: made.take(slice(j * draws.count, (j + 1) * draws.count)) for j, i in enumerate(some)}
    return [done[i] for i in range(len(cores))]


def _rated_together(
    problem: CoreProblem, nominal: list[Batch], tolerances: list[dict[str, Tolerance]], draws: Draws, kind: str
) -> Copies:
    """Copies of cores of one pair of families, core by core."""
    n = draws.count
    shop = tolerances if kind in (SHOP, BOTH) else [{} for _ in nominal]
    every = np.tile(np.arange(n), len(nominal))
    factors = take(_factors(problem, nominal[0], draws), every) if kind == MODEL else None
    outside = None
    if kind in (RUN, BOTH):
        duty, around = operating(problem.study, draws)
        outside = duty.take(every), around.take(every)
    return rated(problem, made_batch(nominal, shop, draws), factors, outside)


def crossed(problem: CoreProblem, core: Parameters, draws: Draws, models: Draws, kind: str) -> Copies:
    """All copies of one core under each draw of the model, model by model."""
    nominal = problem.space.batch(core, np.zeros(1, dtype=np.int64))
    inner, outer = np.tile(np.arange(draws.count), models.count), np.repeat(np.arange(models.count), draws.count)
    made = made_batch([nominal], [problem.space.tolerances(core) if kind in (SHOP, BOTH) else {}], draws)
    wide = {name: value if len(value) == 1 else value[inner] for name, value in made.parameters.items()}
    outside = None
    if kind in (RUN, BOTH):
        duty, around = operating(problem.study, draws)
        outside = duty.take(inner), around.take(inner)
    factors = take(_factors(problem, nominal, models), outer)
    return rated(problem, replace(made, parameters=wide), factors, outside)


def made_batch(nominal: list[Batch], tolerances: list[dict[str, Tolerance]], draws: Draws) -> Batch:
    """The copies as one batch: what varies as (cores x draws,), core by core."""
    n, parameters = draws.count, {}
    for name in nominal[0].parameters:
        value = np.concatenate([batch.parameters[name] for batch in nominal])
        if not any(name in own for own in tolerances):
            alike = np.array_equal(value, np.full_like(value, value[0]), equal_nan=True)
            parameters[name] = value[:1] if alike else np.repeat(value, n)
            continue
        parameters[name] = _made(name, value, [own.get(name) for own in tolerances], draws)
    if all(len(value) == 1 for value in parameters.values()):
        parameters["length"] = np.full(len(nominal) * n, parameters["length"][0])
    first = nominal[0]
    return Batch(first.index, parameters, first.air_family, first.coolant_family)


def _made(name: str, nominal: Array, tolerances: list[Tolerance | None], draws: Draws) -> Array:
    """A column of the copies, core by core; cores of one nominal value and one tolerance share what is made of them."""
    each = list(zip(nominal.tolist(), tolerances, strict=True))
    made = {
        (v, own): np.full(draws.count, v) if own is None else manufactured(name, v, own, draws["shop", name])
        for v, own in dict.fromkeys(each)
    }
    return np.concatenate([made[one] for one in each])


def _factors(problem: CoreProblem, batch: Batch, draws: Draws) -> ModelFactors:
    return model_factors(problem.study, batch.air_family, batch.coolant_family, draws)
