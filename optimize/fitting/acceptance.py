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
class Accepted:
    """One flow: expected loss [Pa], the zone, half width of the bench's uncertainty (95 %), and what is accepted."""

    stream: Stream
    point: BenchPoint
    half_width: float

    @property
    def low(self) -> float:
        return self.point.both[0] + self.half_width

    @property
    def high(self) -> float:
        return self.point.both[1] - self.half_width

    @property
    def possible(self) -> bool:
        """Whether the bench can accept anything at all."""
        return self.low <= self.high


def acceptance(problem: CoreProblem, core: Parameters, loss: float, flow: float) -> list[Accepted]:
    """Limits for each fluid and flow; `loss`, `flow`: uncertainty of the bench (95 %), as shares of the value.

    Raises FinfrontError where the core has no flow at any duty point.
    """
    made = []
    for stream in bench(problem, core):
        exponent = _exponent(stream)
        for point in stream.points:
            made.append(Accepted(stream, point, point.loss * float(np.hypot(loss, exponent * flow))))
    return made


def _exponent(stream: Stream) -> float:
    """n of loss ~ flow^n over the flows of the bench, which are several."""
    x = np.log([point.mass_flow for point in stream.points])
    y = np.log([point.loss for point in stream.points])
    return float(np.polyfit(x, y, 1)[0])
