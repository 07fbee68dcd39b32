"""How many copies of a core meet what is asked: every limit, each alone, at each duty point; never without interval."""

from dataclasses import dataclass

import numpy as np

from optimize.evaluate import CoreProblem
from optimize.space import Parameters
from optimize.study.model import Study
from optimize.tolerance.copies import BOTH, ROWS, SHOP, Copies, copies, crossed
from optimize.tolerance.draws import Draws
from optimize.tolerance.intervals import looks, share_interval
from physics.arrays import Array, BoolArray

EVERY_LIMIT = "every limit"


@dataclass(frozen=True)
class Share:
    """A share of copies, with its exact binomial interval."""

    passed: int
    drawn: int
    low: float
    high: float

    @property
    def value(self) -> float:
        return self.passed / self.drawn


def share_of(passed: BoolArray, confidence: float) -> Share:
    """The share of True (n,).

    >>> share = share_of(np.arange(50) < 7, 0.95)
    >>> share.value, round(share.low, 6), round(share.high, 6)  # scipy's documentation of binomtest
    (0.14, 0.058192, 0.267396)
    """
    count = int(np.count_nonzero(passed))
    low, high = share_interval(count, len(passed), confidence)
    return Share(count, len(passed), float(low), float(high))


def scattered(problem: CoreProblem, cores: list[Parameters], kind: str) -> list[Copies]:
    """Copies of each core; with `narrow_to`, doubled until its share is known that closely or the budget ends."""
    asked = problem.study.scatter
    if asked.narrow_to is None:
        return copies(problem, cores, Draws(problem.study), kind)
    draws, confidence = Draws(problem.study, asked.most_draws), confidence_of(problem)
    done = copies(problem, cores, draws.part(0, asked.draws), kind)
    count = asked.draws
    while count < asked.most_draws:
        wide = [i for i, made in enumerate(done) if _width(made, confidence) > asked.narrow_to]
        if not wide:
            break
        more = copies(problem, [cores[i] for i in wide], draws.part(count, 2 * count), kind)
        for i, made in zip(wide, more, strict=True):
            done[i] = Copies.join([done[i], made])
        count *= 2
    return done


def confidence_of(problem: CoreProblem) -> float:
    """The confidence of each interval: with a stop rule each look must be surer, for the one it stops at to be sure."""
    asked = problem.study.scatter
    if asked.narrow_to is None:
        return asked.confidence
    return looks(asked.confidence, 1 + (asked.most_draws // asked.draws).bit_length() - 1)


def _width(made: Copies, confidence: float) -> float:
    share = share_of(made.passed, confidence)
    return share.high - share.low


def shares(problem: CoreProblem, made: Copies) -> list[tuple[str, str, Share]]:
    """(requirement, duty point or "", share): every limit, then each requirement alone, then by duty point."""
    confidence, met = confidence_of(problem), made.met
    found = [(EVERY_LIMIT, "", share_of(made.passed, confidence))]
    for i, name in enumerate(problem.margin_names):
        found.append((name, "", share_of(met[:, i], confidence)))
        if name in made.by_duty:
            kept = made.by_duty[name]
            found += [(name, duty, share_of(kept[:, j], confidence)) for j, duty in enumerate(problem.duty.names)]
    return found


def nested_kind(study: Study) -> str:
    """The scatter that a yield under the model is a yield of."""
    return BOTH if study.run_tolerances else SHOP


def nested(problem: CoreProblem, core: Parameters) -> Array:
    """Yield of one core under each of many draws of the model (models,): one of them is the truth, nobody knows which.

    Outer draws are of the correlations' bands, inner ones of shop (and run); the inner ones are the same under each.
    """
    models, inner = problem.study.scatter.nested
    outer, draws = Draws(problem.study, models, "nested"), Draws(problem.study, inner, "scatter")
    kind = nested_kind(problem.study)
    size = max(1, ROWS // inner)
    return np.concatenate([
        _yields(problem, core, draws, outer.part(first, min(first + size, models)), kind)
        for first in range(0, models, size)
    ])


def _yields(problem: CoreProblem, core: Parameters, draws: Draws, models: Draws, kind: str) -> Array:
    passed = crossed(problem, core, draws, models, kind).passed
    return np.asarray(np.mean(passed.reshape(models.count, draws.count), axis=1))
