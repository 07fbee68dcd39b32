"""A range from one casting: the few cores that cover a front best while they share parts, as far as a weight asks."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from optimize import runs
from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.feasibility import objective_value
from optimize.pareto import normalised_hypervolume
from optimize.several.candidates import Candidates, candidates
from optimize.several.parts import different_parts, shared
from optimize.several.subset import Choice, Level, best_levels, best_of_two, dominated_with
from optimize.study.model import Objective
from physics.arrays import Array, IntArray

_BEYOND = 0.1  # of the front's span, where coverage is counted to

Cover = Callable[[IntArray, int], Array]


@dataclass(frozen=True)
class Range:
    """A range and what it is measured against.

    Attributes
    ----------
    levels : the best set found for each number of different parts, fewest parts first; the last need not share.
    chosen : which of them the weight picks.
    duties : names of duty points, in the order of the cores of a set, where each core is for one.
    judged : (count, m, k) objectives by which the core in each place is judged: the study's, or those at its duty.
    method : how sure the choice is.
    """

    title: str
    candidates: Candidates
    levels: tuple[Level, ...]
    chosen: Level
    weight: float
    duties: tuple[str, ...]
    judged: Array
    method: str

    @property
    def free(self) -> Level:
        """The best set without a thought for parts."""
        return self.levels[-1]

    def sharing(self, level: Level) -> float:
        """How far a set shares, 0 to 1."""
        return shared(level.parts, len(self.candidates.kinds), len(level.chosen))


def range_of(folder: Path, cores: int, weight: float, duties: tuple[str, ...] = ()) -> Range:
    """The range of a finished run.

    Parameters
    ----------
    folder : of the run.
    cores : number of cores; with `duties` there are as many as duties, and one core may serve several.
    weight : 0 covers best, 1 shares all it can. Of the best sets for each number of parts the one is taken for which
        (1 - weight) cover + weight sharing is largest, so a larger weight never shares less.
    duties : names of duty points that get a core each.

    Raises FinfrontError when the run has fewer cores than asked for, or no such duty point.
    """
    run = runs.read(folder)
    found = candidates(run)
    count = len(duties) or cores
    _check_duties(found.problem, duties)
    if len(found.names) < count and not duties:
        what = f"the run holds {len(found.names)} different cores that meet everything, fewer than {count}"
        raise FinfrontError(what, str(folder), "ask for fewer with --cores")
    judged = at_duties(found, duties) if duties else np.broadcast_to(found.objectives, (count, *found.objectives.shape))
    cover = _duty_cover(found, judged) if duties else _front_cover(found)
    choice = Choice(
        len(found.names), count, count * len(found.kinds),
        lambda chosen, slot: (cover(chosen, slot), different_parts(found.kinds, chosen, slot)), not duties,
    )  # fmt: skip
    starts, proven = _starts(found, count, cover, duties)
    levels, every = best_levels(choice, starts)
    ordered = tuple(Level(own.parts, own.cover, _in_order(found, own.chosen, duties)) for own in levels)
    chosen = ordered[_picked(ordered, len(found.kinds), count, weight)]
    method = "every set was tried" if every else f"{proven}; those that share: exchanged one by one, not proven best"
    return Range(str(run.record["title"]), found, ordered, chosen, weight, duties, judged, method)


def _check_duties(problem: CoreProblem, duties: tuple[str, ...]) -> None:
    for name in duties:
        if name not in problem.duty.names:
            known = ", ".join(problem.duty.names)
            raise FinfrontError(f"the study has no duty point '{name}'", "--for", f"name one of: {known}")
        if duties.count(name) > 1:
            raise FinfrontError(f"duty point '{name}' is named twice", "--for", "name each once")


def _in_order(found: Candidates, chosen: IntArray, duties: tuple[str, ...]) -> IntArray:
    """Cores along the front; with duties they stay as they are."""
    return chosen if duties else chosen[np.argsort(found.objectives[chosen, 0], kind="stable")]


def _picked(levels: tuple[Level, ...], kinds: int, count: int, weight: float) -> int:
    """Of equals the one of fewer parts."""
    worth = [(1.0 - weight) * own.cover + weight * shared(own.parts, kinds, count) for own in levels]
    return int(np.argmax(np.round(worth, 12)))


def front_box(found: Candidates) -> tuple[Array, Array]:
    """The front's best values, and those a tenth beyond its worst, up to which coverage counts."""
    front = found.objectives[: found.front]
    ideal, span = front.min(axis=0), np.ptp(front, axis=0)
    return ideal, front.max(axis=0) + _BEYOND * np.where(span > 0, span, np.maximum(np.abs(ideal), 1.0))


def _front_cover(found: Candidates) -> Cover:
    """Hypervolume of a set over that of the front."""
    ideal, reference = front_box(found)
    scaled = (found.objectives - ideal) / (reference - ideal)
    whole = normalised_hypervolume(found.objectives[: found.front], ideal, reference)
    return lambda chosen, slot: dominated_with(scaled[np.delete(chosen, slot)], scaled) / whole


def _duty_cover(found: Candidates, judged: Array) -> Cover:
    """1 less the mean penalty of the cores, each at its duty.

    A penalty is the mean over the objectives, from 0 for the best value on the front to 1 for the worst.
    """
    front = judged[:, : found.front]
    width = np.ptp(front, axis=1, keepdims=True)
    penalties = np.mean((judged - front.min(axis=1, keepdims=True)) / np.where(width > 0, width, 1.0), axis=2)

    def cover(chosen: IntArray, slot: int) -> Array:
        others = sum(penalties[d, core] for d, core in enumerate(chosen) if d != slot)
        return np.asarray(1.0 - (others + penalties[slot]) / len(judged))

    return cover


def at_duties(found: Candidates, duties: tuple[str, ...]) -> Array:
    """The study's objectives, minimised, each at a duty instead of its own point, (duties, m, k)."""
    study = found.problem.study
    rating = found.problem.rate_choices(found.choices, len(found.names))
    return np.stack([
        np.stack([
            (-1.0 if o.maximise else 1.0)
            * objective_value(
                study, rating, Objective(o.output, o.maximise, duty if rating[o.output].ndim == 2 else None)
            )
            for o in study.objectives
        ], axis=1)
        for duty in duties
    ])


def _starts(
    found: Candidates, count: int, cover: Cover, duties: tuple[str, ...]
) -> tuple[list[IntArray], str]:
    """Sets to begin with, the best without a thought for parts first; and how sure that one is."""
    if duties:
        best = np.array([int(np.argmax(cover(np.zeros(count, dtype=np.int64), slot))) for slot in range(count)])
        return [best], "the unshared: the best for each duty, exact"
    everything = np.arange(len(found.names))
    sets = [_grown(everything, count, cover)]
    for kind in found.kinds:
        sizes = np.bincount(kind.codes)
        large = [code for code in np.argsort(-sizes, kind="stable")[:4] if count <= sizes[code] < len(everything)]
        sets += [_grown(np.flatnonzero(kind.codes == code), count, cover) for code in large]
    front = found.objectives[: found.front]
    if front.shape[1] == 2 and len(front) >= count:
        sets.insert(0, best_of_two(front, front_box(found)[1], count))
        return sets, "the unshared: the best of all sets of the front, exact"
    return sets, "the unshared: grown and exchanged one by one, not proven best"


def _grown(among: IntArray, count: int, cover: Cover) -> IntArray:
    """A set grown one by one, each time by the one that covers most."""
    chosen = np.empty(0, dtype=np.int64)
    for slot in range(count):
        covers = partial(cover, np.append(chosen, -1))(slot)[among]
        covers[np.isin(among, chosen)] = -np.inf
        chosen = np.append(chosen, among[int(np.argmax(covers))])
    return chosen
