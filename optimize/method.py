"""Which search a study gets, and that search carried out: every core rated, most ruled out, or an evolution."""

from collections.abc import Callable

from optimize.bounded import BoundedCores
from optimize.errors import FinfrontError
from optimize.evaluate import CoreProblem
from optimize.goal_bounds import cannot_bound
from optimize.search.archive import Archive
from optimize.search.band import BandRule
from optimize.search.certify import certify
from optimize.search.certify import plan as rounds_told
from optimize.search.evolve import evolve
from optimize.search.memory import Memory
from optimize.search.sweep import layout, sweep
from optimize.seeds import stream
from physics.arrays import Array

LARGEST_SWEEP = 20_000_000  # cores; above it "auto" certifies, where that can be, or evolves
MOST_SWEPT = 5_000_000_000  # several hours of two cores

Progress = Callable[[str, int, int], None]


def search_method(problem: CoreProblem) -> str:
    """"sweep", "certify" or "evolve", as the study asks or, with "auto", by what its space and goals allow.

    Raises FinfrontError where the method asked for cannot be.
    """
    size, method = problem.space.size, problem.study.search.method
    if method == "auto":
        if size is not None and size <= LARGEST_SWEEP:
            return "sweep"
        return "evolve" if not_certified(problem) else "certify"
    where = "method in [search]"
    if method != "evolve" and size is None:
        raise FinfrontError(f"method '{method}' needs steps", where, "give each range a step, or ask for 'evolve'")
    if method == "sweep" and size is not None and size > MOST_SWEPT:
        raise FinfrontError(f"a sweep of {size:,} cores would take days", where, "ask for 'certify' or 'evolve'")
    if method == "certify" and (why := not_certified(problem)):
        raise FinfrontError(f"the front cannot be certified: {why}", where, "ask for 'sweep' or 'evolve'")
    return method


def not_certified(problem: CoreProblem) -> str | None:
    """Why a front cannot be certified; None where it can."""
    if problem.space.size is None:
        return "a range has no step"
    if problem.space.size >= 2**63:
        return f"{problem.space.size:,} cores are too many to number"
    if problem.study.robust is not None:
        return "[robust] asks for the cores near the front too, which no bound tells"
    return cannot_bound(problem.study)


def search_plan(problem: CoreProblem) -> str:
    """How the search of a study is cut into batches, in words: what a memory of it must agree with."""
    asked, method = problem.study.search, search_method(problem)
    if method == "sweep":
        return layout(problem.axes)
    if method == "certify":
        return rounds_told(BoundedCores(problem.study))
    return f"evolution of {asked.evaluations} evaluations, population {asked.population}"


def search(
    problem: CoreProblem, workers: int, progress: Progress, rule: BandRule | None = None,
    memory: Memory | None = None, start: Array | None = None,
) -> tuple[str, Archive]:
    """The front by the method the study asks for, or the one its size asks for; with its band where a rule is given."""
    asked, method = problem.study.search, search_method(problem)
    told = {"sweep": "cores rated", "certify": "cores decided", "evolve": "cores drawn"}[method]
    seed = int(stream(problem.study.seed, "search").generate_state(1)[0])

    def done(now: int, total: int) -> None:
        progress(told, now, total)

    if method == "sweep":
        return method, sweep(problem, workers, progress=done, rule=rule, memory=memory)
    if method == "certify":
        return method, certify(BoundedCores(problem.study), seed, workers, progress=done, memory=memory, start=start)
    return method, evolve(problem, seed, asked.evaluations, asked.population, done, rule, memory, start)
