"""A range from one casting: the few cores that cover a front best while they share parts, as far as a weight asks."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from optimize import runs, tables
from optimize.begun import stored_designs
from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.evenly import evenly
from optimize.feasibility import objective_value
from optimize.pareto import layers, unique_front
from optimize.search.archive import LAYERS, judge
from optimize.search.problem import Evaluation
from optimize.search.rows import Rows
from optimize.several.parts import PartKind, part_kinds, shared
from optimize.several.subset import Value, best_of_two, by_exchange, dominated_share, greedy
from optimize.study.model import Objective
from physics.arrays import Array, IntArray

MOST_CANDIDATES = 240  # cores an exchange tries; the front first, then those just behind it
APART = 0.05  # of the front's span; two cores of a range differ by more in some objective where the front allows it
_BEYOND = 0.1  # of the front's span, where coverage is counted to


@dataclass(frozen=True)
class Candidates:
    """Cores a range may be made of: names, objectives (n, k) as searched, parts; `front`: how many are on the front."""

    problem: CoreProblem
    names: tuple[str, ...]
    points: Array
    objectives: Array
    kinds: tuple[PartKind, ...]
    front: int


@dataclass(frozen=True)
class Range:
    """A range and what it is measured against.

    `chosen` shares as asked, `free` is the best set that need not share; both positions of candidates. `coverage` and
    `sharing` of both; with duties each core is for one, in their order. `method` says how sure the choice is.
    """

    title: str
    candidates: Candidates
    chosen: IntArray
    free: IntArray
    coverage: tuple[float, float]
    sharing: tuple[float, float]
    weight: float
    duties: tuple[str, ...]
    method: str


def range_of(folder: Path, cores: int, weight: float, duties: tuple[str, ...] = ()) -> Range:
    """The range of a finished run.

    Parameters
    ----------
    folder : of the run.
    cores : number of cores; with `duties` there are as many as duties.
    weight : 0 covers the front and shares nothing on purpose, 1 shares all it can.
    duties : names of duty points that get a core each.

    Raises FinfrontError when the run has no store, fewer cores than asked for, or no such duty point.
    """
    run = runs.read(folder)
    found = candidates(folder, duties)
    count = len(duties) or cores
    if len(found.names) < count:
        what = f"the run holds {len(found.names)} different cores that meet everything, fewer than {count}"
        raise FinfrontError(what, str(folder), "ask for fewer with --cores")
    cover = _for_duties(found, duties) if duties else _coverage(found)
    free, method = _free(found, count, cover, duties)

    alike = np.zeros((len(found.names), len(found.names))) if duties else _alike(found)

    def value(chosen: IntArray) -> float:
        twins = 0.5 * float(alike[np.ix_(chosen, chosen)].sum())
        return (1.0 - weight) * cover(chosen) + weight * shared(found.kinds, chosen) - twins

    chosen = free if weight == 0.0 else by_exchange(len(found.names), count, value, _starts(found, free, count, value))
    order = slice(None) if duties else np.argsort(found.objectives[chosen, 0], kind="stable")
    return Range(
        str(run.record["title"]), found, chosen[order], free, (cover(chosen), cover(free)),
        (shared(found.kinds, chosen), shared(found.kinds, free)), weight, duties, method,
    )  # fmt: skip


def candidates(folder: Path, duties: tuple[str, ...] = ()) -> Candidates:
    """The front of a run and the cores just behind it, one for equal objectives and parts."""
    stored = stored_designs(folder)
    problem, rows = stored.problem, stored.rows
    unknown = [name for name in duties if name not in problem.duty.names]
    if unknown:
        known = ", ".join(problem.duty.names)
        raise FinfrontError(f"the study has no duty point '{unknown[0]}'", "--for", f"name one of: {known}")
    good = rows.take(judge(Evaluation(rows.objectives, rows.margins, rows.tie)).feasible)
    if not len(good):
        raise FinfrontError("the run found no core that meets everything", str(folder), "loosen its limits first")
    good = good.take(unique_front(good.objectives, good.tie))
    layer = layers(good.objectives, LAYERS)
    front = np.flatnonzero(layer == 1)
    front = front[np.argsort(good.objectives[front, 0], kind="stable")]
    few = np.array(evenly(front.tolist(), [], MOST_CANDIDATES // 2), dtype=np.int64)
    behind = np.flatnonzero(layer != 1)
    behind = behind[np.argsort(_distance(good, front, behind), kind="stable")][: MOST_CANDIDATES - len(few)]
    chosen = good.take(np.concatenate([few, behind]))
    names = tuple(tables.core_name(int(i)) for i in chosen.ordinals)
    kinds = part_kinds(problem, problem.space.choices(chosen.points), len(chosen))
    return Candidates(problem, names, chosen.points, chosen.objectives, kinds, len(few))


def _distance(rows: Rows, front: IntArray, behind: IntArray) -> Array:
    """How far cores lie behind the front: the least by which they would have to be better in all objectives."""
    span = np.ptp(rows.objectives[front], axis=0)
    span = np.where(span > 0, span, 1.0)
    away = (rows.objectives[behind][:, None, :] - rows.objectives[front][None, :, :]) / span
    return np.asarray(np.max(np.min(away, axis=2), axis=1))


def _alike(found: Candidates) -> Array:
    """1 for each pair of cores nearer to each other than `APART` in every objective: they share all and add nothing."""
    span = np.ptp(found.objectives[: found.front], axis=0)
    scaled = found.objectives / np.where(span > 0, span, 1.0)
    near = np.all(np.abs(scaled[:, None, :] - scaled[None, :, :]) < APART, axis=2).astype(float)
    np.fill_diagonal(near, 0.0)
    return np.asarray(near)


def _coverage(found: Candidates) -> Value:
    """Hypervolume of a set over that of the front."""
    front = found.objectives[: found.front]
    ideal, span = front.min(axis=0), np.ptp(front, axis=0)
    reference = front.max(axis=0) + _BEYOND * np.where(span > 0, span, np.maximum(np.abs(ideal), 1.0))
    whole = dominated_share(front, ideal, reference)
    return lambda chosen: dominated_share(found.objectives[chosen], ideal, reference) / whole


def _for_duties(found: Candidates, duties: tuple[str, ...]) -> Value:
    """Mean over the duties of how good the core for each is there: 1 less the mean of its objectives, 0 best, 1 worst.

    The objectives are those of the study, taken at that duty point instead of their own.
    """
    problem = found.problem
    rating = problem.rate_points(found.points)
    scores = np.empty((len(duties), len(found.names)))
    for d, duty in enumerate(duties):
        parts = []
        for o in problem.study.objectives:
            at = duty if rating[o.output].ndim == 2 else None
            value = (-1.0 if o.maximise else 1.0) * objective_value(
                problem.study, rating, Objective(o.output, o.maximise, at)
            )
            width = np.ptp(value)
            parts.append((value - value.min()) / (width if width > 0 else 1.0))
        scores[d] = 1.0 - np.mean(parts, axis=0)
    return lambda chosen: float(np.mean([scores[d, c] for d, c in enumerate(chosen)]))


def _free(found: Candidates, count: int, cover: Value, duties: tuple[str, ...]) -> tuple[IntArray, str]:
    """The best set without a thought for parts, and how sure that is."""
    front = found.objectives[: found.front]
    if duties:
        each = [[_alone(cover, count, slot, core) for core in range(len(found.names))] for slot in range(count)]
        return np.argmax(each, axis=1), "the best of the candidates for each duty"
    if front.shape[1] == 2 and len(front) > count:
        span = np.ptp(front, axis=0)
        reference = front.max(axis=0) + _BEYOND * np.where(span > 0, span, 1.0)
        return best_of_two(front, reference, count), "exact over the front"
    rows = np.arange(len(found.names) if found.front < count else found.front)
    start = greedy(rows, count, cover)
    return by_exchange(len(rows), count, cover, [start]), "grown and exchanged one by one: good, not proven best"


def _alone(cover: Value, count: int, slot: int, core: int) -> float:
    """What one core adds for one duty; the same core elsewhere."""
    chosen = np.zeros(count, dtype=np.int64)
    chosen[slot] = core
    return cover(chosen)


def _starts(found: Candidates, free: IntArray, count: int, value: Value) -> Iterator[IntArray]:
    """Sets to exchange from: the free one, and one grown among the cores of each air fin and of each thickness."""
    yield free
    for kind in found.kinds:
        if kind.name in ("air fin roll", "parting plates", "tanks"):
            sizes = np.bincount(kind.codes)
            for code in np.argsort(-sizes, kind="stable")[:6]:
                own = np.flatnonzero(kind.codes == code)
                if len(own) >= count:
                    yield greedy(own, count, value)


def nearest_on_front(found: Candidates, core: int) -> int:
    """The core of the front nearest to one, its objectives over the front's span."""
    front = found.objectives[: found.front]
    span = np.where(np.ptp(front, axis=0) > 0, np.ptp(front, axis=0), 1.0)
    return int(np.argmin(np.sum(((front - found.objectives[core]) / span) ** 2, axis=1)))

