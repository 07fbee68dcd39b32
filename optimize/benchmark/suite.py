"""The benchmark of a study, row by row: rates, start-up, baselines, floor, growth; if asked searchers and workers."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from time import perf_counter
from typing import Any

import numpy as np

from optimize.benchmark.baselines import baseline, coolprop, differences, fitted, scalar_ratings, why_none
from optimize.benchmark.growth import (
    Growth,
    memory_of_a_call,
    memory_of_a_sweep,
    over_copies,
    over_designs,
    over_duty_points,
    workers_against_one,
)
from optimize.benchmark.operations import Floor, floor_of
from optimize.benchmark.rates import Rate, best, measure, random_points
from optimize.benchmark.searchers import Course, compete, exact_front
from optimize.benchmark.startup import seconds_of_help, seconds_of_python, seconds_of_rate
from optimize.benchmark.table import Row
from optimize.bounded import BoundedCores
from optimize.evaluate import CoreProblem
from optimize.method import not_certified
from optimize.search.branch import certified
from optimize.space import Batch

LEFT_OUT = "left out"
_NOT_FINER = "needs discrete axes, a thickness that varies, and enough cores to cut it finer"
_SCRIPT_CORES, _LOOKUP_CORES, _BATCH, _DUTY_CORES, _COPIES = 400, 20, 4096, 4096, 16_384
_LARGEST_CALL, _LARGEST_SPACE = 65_536, 2_500_000


@dataclass(frozen=True)
class Asked:
    """How much is measured: cores of the rates; seconds and seeds of each searcher; workers, 1 for none."""

    cores: int = 200_000
    seconds: float = 0.0
    seeds: int = 3
    workers: int = 1


def rows(problem: CoreProblem, asked: Asked, courses: list[Course]) -> Iterator[Row]:
    """Rows as they are measured; the searches' courses are put into `courses`."""
    rate = measure(problem, asked.cores)
    told = f"{rate.cores:,} cores at {rate.points} duty points, {rate.seconds:.2f} s, one process"
    yield Row("rating", f"{rate.cores_a_second:,.0f} cores/s, {rate.ratings_a_second:,.0f} ratings/s", told)
    yield Row("one core alone", f"{1e3 * rate.single:.2f} ms", "a batch of one, all its duty points")
    yield from _startup(problem)
    yield from _baselines(problem, asked.cores, rate)
    yield from _floor(problem)
    yield from _growth(problem, asked.cores)
    yield from _certified(problem, rate)
    if asked.workers > 1:
        yield from _workers(problem, asked)
    if asked.seconds > 0:
        yield from _searchers(problem, asked, courses)


def _startup(problem: CoreProblem) -> Iterator[Row]:
    fresh = "a fresh process, best of three"
    bare, shown, rated = seconds_of_python(), seconds_of_help(), seconds_of_rate(problem)
    yield Row("finfront --help", f"{1e3 * shown:.0f} ms", f"{fresh}; Python alone {1e3 * bare:.0f} ms")
    yield Row("finfront rate", f"{1e3 * rated:.0f} ms", f"{fresh}; study read, one core rated, its sheet printed")


def _baselines(problem: CoreProblem, cores: int, rate: Rate) -> Iterator[Row]:
    why = why_none(problem)
    if why is not None:
        yield Row("scalar scripts", LEFT_OUT, why)
        return
    scripts: tuple[tuple[str, Callable[[CoreProblem], Any], int], ...] = (
        ("script: one core at a time, math module, the same fits", fitted, _SCRIPT_CORES),
        ("script: the same, each property from CoolProp's PropsSI", coolprop, _LOOKUP_CORES),
    )
    for name, fluids, most in scripts:
        chosen, known = baseline(problem, min(cores, most)), fluids(problem)
        list(scalar_ratings(baseline(problem, 1), known))  # loads what it needs
        start = perf_counter()
        rated = list(scalar_ratings(chosen, known))
        each = (perf_counter() - start) / len(rated)
        worst = max(differences(problem, chosen, rated).values())
        batched = each / _batched_seconds(problem)
        against = f"rating is {each * rate.cores_a_second:,.0f} times as fast, {batched:,.0f} times in one mixed batch"
        told = f"{len(rated)} cores; {against}; largest relative difference {worst:.0e}"
        yield Row(name, f"{1 / each:,.0f} cores/s ({1e3 * each:.2f} ms each)", told)


def _batched_seconds(problem: CoreProblem) -> float:
    """Seconds a core in one batch of the families the scripts know, every core rated in full."""
    points = baseline(problem, _BATCH).points
    return best(lambda: problem.rate_points(points)) / len(points)


def _floor(problem: CoreProblem) -> Iterator[Row]:
    if problem.around.closes:
        yield Row("NumPy floor", LEFT_OUT, "counted with everything given at the duty points")
        return
    batch, count = _largest_batch(problem)
    floor = floor_of(batch.designs, problem.duty, problem.envelope, count)
    families = f"{batch.air_family.name} in the air, {batch.coolant_family.name} in the coolant"
    counted = f"{floor.transcendental:,.0f} transcendental, {floor.plain:,.0f} plain"
    yield Row("elementwise operations of a rating", counted, f"counted over {count:,} cores, {families}")
    yield Row("NumPy floor of a rating", f"{floor.floor:,.0f} ns", f"dearest: {_dearest(floor)}")
    yield Row("rating over that floor", f"{floor.ratio:.2f}", f"{floor.taken:,.0f} ns a rating, in the same run")


def _largest_batch(problem: CoreProblem) -> tuple[Batch, int]:
    """The commonest pair of fin families among random points, and how many cores it has."""
    points = random_points(problem.axes, _LARGEST_CALL, np.random.default_rng(0))
    batch = max(problem.space.batches(points), key=lambda batch: len(batch.index))
    index = batch.index[:_BATCH]
    (batch,) = problem.space.batches(points[index])
    return batch, len(index)


def _dearest(floor: Floor) -> str:
    return "; ".join(f"{name} {count:,.0f} × {ns:.2f} ns" for name, count, ns in floor.kinds[:4])


def _growth(problem: CoreProblem, cores: int) -> Iterator[Row]:
    yield _grown(over_designs(problem, min(cores, _LARGEST_CALL)))
    yield _grown(over_copies(problem, min(cores, _COPIES)))
    points = over_duty_points(problem, min(cores, _DUTY_CORES))
    if points is None:
        yield Row("time over duty points", LEFT_OUT, "measured with everything given at the duty points")
    else:
        yield _grown(points)
    yield _grown(memory_of_a_call(problem, min(cores, _LARGEST_CALL)))
    swept = memory_of_a_sweep(problem, 2 * cores)
    yield Row("memory of a sweep", LEFT_OUT, _NOT_FINER) if swept is None else _grown(swept)


def _grown(growth: Growth) -> Row:
    ends = f"{growth.values[0]:.3g} {growth.unit} at {growth.sizes[0]:,.0f}, {growth.values[-1]:.3g} {growth.unit}"
    told = f"{ends} at {growth.sizes[-1]:,.0f}; from the last size but one {growth.last_slope:.2f}"
    above = " above idle" if growth.unit == "MB" else ""
    return Row(f"{growth.of}{above} over {growth.over}", f"exponent {growth.slope:.2f}", told)


def _certified(problem: CoreProblem, rate: Rate) -> Iterator[Row]:
    why = not_certified(problem)
    if why is not None:
        yield Row("certified front", LEFT_OUT, why)
        return
    bounded, start = BoundedCores(problem.study), perf_counter()
    found = certified(bounded)
    seconds, proof = perf_counter() - start, found.proof
    gain = proof.points / rate.cores_a_second / seconds
    told = (
        f"{seconds:.2f} s, one process, {proof.rated:,} cores rated in full, {proof.boxes:,} boxes; "
        f"{gain:,.0f} times as fast as rating each; {len(found.front):,} on the front"
    )
    yield Row(f"certified front of {proof.points:,} cores", f"{1e9 * seconds / proof.points:,.1f} ns a core", told)


def _workers(problem: CoreProblem, asked: Asked) -> Iterator[Row]:
    done = workers_against_one(problem, 10 * asked.cores, asked.workers)
    if done is None:
        yield Row(f"{asked.workers} workers", LEFT_OUT, _NOT_FINER)
        return
    same = "the same front" if done.same else "NOT the same front"
    told = f"sweep of {done.designs:,} designs: {done.one:.1f} s with one, {done.more:.1f} s; {same}"
    yield Row(f"{done.workers} workers against one", f"{done.gain:.2f} times as fast", told)


def _searchers(problem: CoreProblem, asked: Asked, courses: list[Course]) -> Iterator[Row]:
    size = problem.space.size
    if size is None or size > _LARGEST_SPACE:
        yield Row("searchers", LEFT_OUT, f"the exact front is found by rating every core: at most {_LARGEST_SPACE:,}")
        return
    searched = problem if not_certified(problem) else BoundedCores(problem.study)
    front = exact_front(searched)
    if len(front) == 0:
        yield Row("searchers", LEFT_OUT, "no core of the study is feasible")
        return
    found, absent = compete(searched, front, asked.seconds, asked.seeds)
    courses += found
    for name in dict.fromkeys(course.searcher for course in found):
        yield _searched(name, [course for course in found if course.searcher == name], asked.seconds, size, len(front))
    for name in absent:
        yield Row(f"search: {name}", LEFT_OUT, "not installed: pip install --editable '.[benchmark]'")


def _searched(name: str, own: list[Course], seconds: float, size: int, front: int) -> Row:
    gaps = [float(course.gap[-1]) if len(course.gap) else 1.0 for course in own]
    rated = sorted(course.rated for course in own)
    gap = float(np.median(gaps))
    exact = [float(course.times[np.argmax(course.gap < 1e-12)]) for course in own if np.any(course.gap < 1e-12)]
    reached = f"exact after {max(exact):.1f} s" if len(exact) == len(own) else f"{100 * gap:.2g} % missing"
    spread = "" if len(own) == 1 else f", {len(own)} seeds: {100 * min(gaps):.2g} to {100 * max(gaps):.2g} %"
    done = f"{rated[0]:,}" if rated[0] == rated[-1] else f"{rated[0]:,} to {rated[-1]:,}"
    sure = f", the last after {own[0].times[-1]:.1f} s" if rated[0] == size else ""
    told = f"{seconds:g} s; {done} of {size:,} cores rated{sure}{spread}; exact front {front} cores"
    return Row(f"search: {name}, hypervolume", reached, told)
