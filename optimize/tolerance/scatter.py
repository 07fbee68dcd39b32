"""Copies of many cores over processes, in order, whatever the number of workers."""

from collections.abc import Callable
from contextlib import closing

from optimize.evaluate import CoreProblem
from optimize.space import Parameters
from optimize.study.model import Study
from optimize.tolerance.copies import Copies, kinds_of
from optimize.tolerance.yields import nested, scattered
from optimize.workers import in_batches, in_order
from physics.arrays import Array

CORES_A_TASK = 8

Progress = Callable[[int, int], None]


def scatter(
    study: Study, cores: list[Parameters], workers: int = 1, progress: Progress | None = None
) -> list[dict[str, Copies]]:
    """Copies of each core by kind of scatter."""
    return in_batches(_scattered, study, cores, CORES_A_TASK, workers, progress)


def _scattered(study: Study, cores: list[Parameters]) -> list[dict[str, Copies]]:
    problem = CoreProblem(study)
    by_kind = {kind: scattered(problem, cores, kind) for kind in kinds_of(study)}
    return [{kind: made[i] for kind, made in by_kind.items()} for i in range(len(cores))]


def nested_yields(study: Study, cores: list[Parameters], workers: int = 1) -> list[Array]:
    """The yield of each core under every draw of the model."""
    with closing(in_order(_nested, [(study, core) for core in cores], workers)) as parts:
        return list(parts)


def _nested(study: Study, core: Parameters) -> Array:
    return nested(CoreProblem(study), core)
