"""Bench figures at which a delivered core is accepted: where the shop's copies lie, less what the bench cannot tell.

The zone is where the inner 95 % of the copies lie, within the shop's tolerances and what is not known of the
correlations. A measured loss is accepted inside the zone less a guard band of the bench's own uncertainty at either
end, so that a core is not passed for an error of the bench (the rule of ISO 14253-1, from memory).
"""

from dataclasses import dataclass

import numpy as np

from optimize.evaluate import CoreProblem
from optimize.handover.bench import BenchPoint, Stream, bench
from optimize.space import Parameters


@dataclass(frozen=True)
class Guard:
    """Uncertainty of the bench that a core is accepted on (95 %), as shares of the loss and of the flow it reads."""

    loss: float = 0.01
    flow: float = 0.01


GUARD = Guard()
_COARSEST = 0.99
TOO_COARSE = "the bench is too coarse"


@dataclass(frozen=True)
class Accepted:
    """One flow on the bench, and the share by which a loss read there may be off (95 %), its flow included."""

    stream: Stream
    point: BenchPoint
    uncertainty: float

    @property
    def low(self) -> float:
        """Least loss to read [Pa]: even read so much too high it lies in the zone."""
        return self.point.both[0] / (1 - self.uncertainty)

    @property
    def high(self) -> float:
        """Largest loss to read [Pa]: even read so much too low it lies in the zone."""
        return self.point.both[1] / (1 + self.uncertainty)

    @property
    def possible(self) -> bool:
        """Whether the bench can accept anything at all."""
        return self.low <= self.high


def acceptance(problem: CoreProblem, core: Parameters, guard: Guard = GUARD) -> list[Accepted]:
    """Limits for each fluid and flow.

    Raises FinfrontError where the core has no flow at any duty point.
    """
    return [accepted for stream in bench(problem, core) for accepted in guarded(stream, guard)]


def guarded(stream: Stream, guard: Guard) -> list[Accepted]:
    """Limits for each flow of a stream."""
    uncertainty = min(float(np.hypot(guard.loss, _exponent(stream) * guard.flow)), _COARSEST)
    return [Accepted(stream, point, uncertainty) for point in stream.points]


def _exponent(stream: Stream) -> float:
    """n of loss ~ flow^n over the flows of the bench, which are several."""
    x = np.log([point.mass_flow for point in stream.points])
    y = np.log([point.loss for point in stream.points])
    return float(np.polyfit(x, y, 1)[0])
