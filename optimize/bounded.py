"""Boxes of a study's cores for the search that leaves them out whole: ranges of variables -> bounds on the goals."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from optimize.evaluate import CoreProblem
from optimize.feasibility import CLEARANCE_SCALES, requirements
from optimize.goal_bounds import GoalBounds, boundable_points, points_of
from optimize.pareto import Screen
from optimize.search.branch import Spans
from optimize.space import Batch
from optimize.study.model import Study
from physics.arrays import Array, BoolArray, IntArray
from physics.bounds.boxes import Boxes, boxes, resistances, taken
from physics.bounds.coolant_side import CoolantReach, coolant_reach
from physics.bounds.whole import better, charge_of
from physics.columns import column, take
from physics.core import Designs, overall_length, stack_height
from physics.duty import Duty
from physics.envelope import clearances
from physics.installation import HELD, Installation
from physics.loop import step_loss
from physics.losses import LARGEST_LOSS
from physics.outputs import CLEARANCES
from physics.pipes import Line

LADDERS = ("thickness", "tank_length")
LISTS = ("line", "port")
_ROUNDING = 1e-9  # of the pocket: what the arithmetic of a clearance may be off


@dataclass(frozen=True)
class At:
    """A duty point by itself: the coldest its coolant can be [K], and what no feasible core has more of there."""

    number: int
    duty: Duty
    around: Installation
    sink: Array
    hottest: Array  # air out [K]
    most_loss: Array  # of the air [Pa]
    charge: tuple[Array, Array]  # its inlet temperature (least, most) [K]
    capacity: Array  # of the air at most [W/K]


@dataclass(frozen=True)
class Outline:
    """What of cores the pocket sees [m]."""

    stack_height: Array
    overall_length: Array


class BoundedCores(CoreProblem):
    """The search problem of a study that can bound boxes of its cores."""

    def __init__(self, study: Study) -> None:
        super().__init__(study)
        self._number = {name: i for i, name in enumerate(self.space.names)}
        used = {i for o in study.objectives for i in points_of(study, o.at)}
        self._at = [self._alone(i) for i in boundable_points(study) if i in used]
        spacings = np.array([roll.values["spacing"] for roll in study.air_fins.values()])
        self._spacing_number = np.unique(spacings, return_inverse=True)[1]

    def __reduce__(self) -> tuple[Any, ...]:
        return BoundedCores, (self.study,)

    @property
    def spans(self) -> Spans:
        """Ranges of thickness and tank length, any port and any line; the air fin varies fastest."""
        ladders, lists = ([self._number[n] for n in names if n in self._number] for names in (LADDERS, LISTS))
        return Spans(tuple(ladders), tuple(lists), self._number.get("air_fin"))

    def _alone(self, i: int) -> At:
        duty, around = self.duty.at(np.array([i])), self.around.at(np.array([i]))
        held = around.blower is not None and around.asked.air[0] == HELD
        p = around.asked.manifold_pressure / (1 - LARGEST_LOSS) if held else duty.air_inlet_pressure
        loss = np.minimum(self._most("air_pressure_drop", i), LARGEST_LOSS * p)
        charge = charge_of(duty, around, (np.zeros(1), loss))
        sink = around.asked.ambient_temperature if around.asked.temperature_open[0] else duty.coolant_inlet_temperature
        ends = [duty.air.specific_heat(T, p) for T in (sink, charge.temperature[1]) for p in charge.pressure]
        hottest = np.minimum(self._most("air_outlet_temperature", i), charge.temperature[1])
        return At(i, duty, around, sink, hottest, loss, charge.temperature, charge.flow * np.maximum.reduce(ends))

    def _most(self, output: str, i: int) -> Array:
        """The most of an output that the limits allow at a duty point."""
        bounds = [
            r.bound for r in requirements(self.study)
            if r.output == output and r.sign > 0 and r.at != "mean" and i in points_of(self.study, r.at)
        ]
        return np.array([min(bounds, default=np.inf)])

    def better(self, low: IntArray, high: IntArray, front: Array) -> Array:
        """Bounds on the objectives of boxes; see `optimize.search.branch.Bounded`."""
        bound = np.full((len(low), len(self.study.objectives)), np.inf)
        with np.errstate(all="ignore"):
            for batch in self.space.batches_of(self.space.choices(low.astype(float)), len(low)):
                index = batch.index
                bound[index] = self._bounds(batch, low[index], high[index], front)
        return bound

    def _bounds(self, batch: Batch, low: IntArray, high: IntArray, front: Array) -> Array:
        """Bounds of boxes of one family pair: first those that can fit, then those that no known core rules out."""
        small, top = batch.designs, self.space.choices(high.astype(float))
        large = replace(small, **{name: top[name] for name in LADDERS if name in self._number})
        bound = np.full((len(low), len(self.study.objectives)), np.inf)
        fit = np.flatnonzero(self._fits(small, large, low, high))
        if not fit.size:
            return bound
        low, high = low[fit], high[fit]
        box = self._boxes(take(small, fit), take(large, fit), low, high)
        key = self._coolant_key(low, high)
        heats = [at.capacity * np.maximum(at.charge[1] - at.sink, 0.0) for at in self._at]
        goals = self._goals(box, key, [np.broadcast_to(heat, len(fit)) for heat in heats])
        bound[fit] = goals.bounds(len(fit))
        left = Screen.of(front).passing(bound[fit])
        left = left[np.all(bound[fit[left]] < np.inf, axis=1)]
        if left.size:
            closer = self._goals(taken(box, left), key[left], [heat[left] for heat in goals.heats])
            bound[fit[left]] = closer.bounds(len(left))
        return bound

    def _goals(self, box: Boxes, key: IntArray, heats: list[Array]) -> GoalBounds:
        """Bounds at every duty point of the objectives, for cores that take up `heats` at most."""
        goals = GoalBounds(self.study, box, self.duty.coolant)
        for at, heat in zip(self._at, heats, strict=True):
            reach = self._reach(box, at, key, heat)
            goals.add(at.number, better(box, reach, at.duty, at.around, at.hottest, at.most_loss))
        return goals

    def _reach(self, box: Boxes, at: At, key: IntArray, heat: Array) -> CoolantReach:
        """The coolant side of each box; boxes that have it in common share one calculation."""
        _, first, which = np.unique(key, return_index=True, return_inverse=True)
        most = np.zeros(len(first))
        np.maximum.at(most, which, heat)
        mean = (at.charge[1] + at.hottest) / 2
        made = coolant_reach(taken(box, first), at.duty, at.around, at.sink, mean, most, at.capacity)
        return made.take(which)

    def _coolant_key(self, low: IntArray, high: IntArray) -> IntArray:
        """A number for all that the coolant side of a box depends on: every variable but the air fin's own."""
        key = np.zeros(len(low), dtype=np.int64)
        for name, i in self._number.items():
            ends = (low[:, i], high[:, i]) if name in LADDERS + LISTS else (low[:, i],)
            for end in ends:
                values = self._spacing_number[end] if name == "air_fin" else end
                key = np.unique(key * (int(values.max()) + 1) + values, return_inverse=True)[1]
        return key

    def _fits(self, small: Designs, large: Designs, low: IntArray, high: IntArray) -> BoolArray:
        """Boxes in which some core may fit the pocket, in whole passages."""
        margins = {name: np.full(len(low), -np.inf) for name in CLEARANCES}
        for d in (small, large):
            outline = Outline(stack_height(d), overall_length(d))
            for port, there in self._ports(low, high, small):
                for name, room in clearances(replace(d, port=port), outline, self.envelope).items():
                    margins[name] = np.where(there, np.maximum(margins[name], room), margins[name])
        fits = (small.side_by_side == 0) | (np.round(small.passages) % small.passes == 0)
        for name, room in margins.items():
            fits = fits & (room >= -_ROUNDING * getattr(self.study.envelope, CLEARANCE_SCALES[name]))
        return np.broadcast_to(fits, len(low))

    def _ports(self, low: IntArray, high: IntArray, small: Designs) -> list[tuple[Any, BoolArray]]:
        """The ports of boxes, and in which of them each is."""
        if "port" not in self._number:
            return [(small.port, np.ones(len(low), dtype=bool))]
        i = self._number["port"]
        inside = [(low[:, i] <= n) & (n <= high[:, i]) for n in range(len(self.space.ports))]
        return [(port, there) for port, there in zip(self.space.ports, inside, strict=True) if np.any(there)]

    def _lines(self, low: IntArray, high: IntArray) -> list[tuple[Line, BoolArray]]:
        i = self._number.get("line")
        inside = [
            (low[:, i] <= n) & (n <= high[:, i]) if i is not None else np.ones(len(low), dtype=bool)
            for n in range(len(self.space.lines))
        ]
        return [(line, there) for line, there in zip(self.space.lines, inside, strict=True) if np.any(there)]

    def _boxes(self, small: Designs, large: Designs, low: IntArray, high: IntArray) -> Boxes:
        """Boxes with the extremes of the ports and lines in them."""
        ports, lines = self._ports(low, high, small), self._lines(low, high)
        least, most = _extremes([(*resistances(port, small, large), there) for port, there in ports], len(low))
        if not lines:
            return boxes(small, large, (least, most))
        bores = _extremes([(line.bore, line.bore, there) for line, there in lines], len(low))
        rough = _extremes([(line.roughness, line.roughness, there) for line, there in lines], len(low))
        one = np.ones(1)
        steps = [
            (step, step, here & there) for line, here in lines for port, there in ports
            for step in [step_loss(line.area, port.line_area, one, one)]
        ]
        return boxes(
            small, large, (least, most), Line(bores[0], rough[1]), Line(bores[1], rough[0]), _extremes(steps, len(low))
        )


def _extremes(parts: list[tuple[Array, Array, BoolArray]], n: int) -> tuple[Array, Array]:
    """The least and the most of what is in each of n boxes."""
    least, most = np.full(n, np.inf), np.full(n, -np.inf)
    for low, high, there in parts:
        least = np.where(there, np.minimum(least, low), least)
        most = np.where(there, np.maximum(most, high), most)
    return least, most
