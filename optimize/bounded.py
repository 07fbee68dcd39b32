"""Boxes of a study's cores for the search that leaves them out whole: ranges of variables -> bounds on the goals."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np

from optimize.evaluate import CoreProblem
from optimize.feasibility import CLEARANCE_SCALES, objective_value, requirements
from optimize.goal_bounds import GoalBounds, at_best, boundable_points, points_of
from optimize.pareto import Screen
from optimize.search.branch import Spans
from optimize.space import Batch, Parameters
from optimize.study.model import Study
from physics.arrays import Array, BoolArray, IntArray
from physics.bounds.boxes import Boxes, boxes, resistances
from physics.bounds.coolant_side import CoolantReach, coolant_reach, joined
from physics.bounds.whole import better, capacities, charge_of, heat_rises
from physics.core import Designs, overall_length, stack_height
from physics.duty import Duty
from physics.envelope import clearances
from physics.fins import COOLANT_FAMILIES
from physics.flags import Flag
from physics.installation import HELD, Installation
from physics.losses import LARGEST_LOSS
from physics.outputs import CLEARANCES
from physics.pipes import Line, step_resistance

LADDERS = ("thickness", "tank_length")
LISTS = ("line", "port")
_ROUNDS = 2  # of bounds on a box
_ROUNDING = 1e-9  # of the pocket: what the arithmetic of a clearance may be off


_CAPPED = {"air_outlet_temperature": "hottest", "air_pressure_drop": "most_loss"}  # outputs and their fields of At

Caps = tuple[Array, Array]  # hottest [K] and most loss [Pa], (n,) or (1,) each
Choice = TypeVar("Choice")


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
    rises: bool  # see physics.bounds.whole.heat_rises


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
        rolls = [study.air_fins[str(name)] for name in self.space.variables["air_fin"].values]
        self._spacing_number = np.unique([roll.values["spacing"] for roll in rolls], return_inverse=True)[1]

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
        rises = heat_rises(duty, around, loss)
        charge = charge_of(duty, around, (np.zeros(1), loss), rises)
        sink = around.asked.ambient_temperature if around.asked.temperature_open[0] else duty.coolant_inlet_temperature
        hottest = np.minimum(self._most("air_outlet_temperature", i), charge.temperature[1])
        _, capacity = capacities(duty, charge, sink)
        return At(i, duty, around, sink, hottest, loss, charge.temperature, capacity, rises)

    def _most(self, output: str, i: int) -> Array:
        """The most of an output that the limits allow at a duty point."""
        bounds = [
            r.bound for r in requirements(self.study)
            if r.output == output and r.sign > 0 and r.at != "mean" and i in points_of(self.study, r.at)
        ]
        return np.array([min(bounds, default=np.inf)])

    def better(self, low: IntArray, high: IntArray, front: Array) -> Array:
        """Bounds on the objectives of boxes; see `optimize.search.branch.Bounded`.

        Those that can fit are bounded twice: what the first bound leaves is bounded again with the heat it found.
        """
        bound = np.full((len(low), len(self.study.objectives)), np.inf)
        with np.errstate(all="ignore"):
            left = np.flatnonzero(self._fits(low, high))
            heats = [np.full(len(left), at.capacity * max(float(at.charge[1][0] - at.sink[0]), 0.0)) for at in self._at]
            caps = [(at.hottest, at.most_loss) for at in self._at]
            for _ in range(_ROUNDS):
                if not left.size:
                    break
                bound[left], heats = self._bounds(low[left], high[left], heats, caps)
                stay = np.flatnonzero(np.all(bound[left] < np.inf, axis=1))
                stay = stay[Screen.of(front).passing(bound[left[stay]])]
                left, heats = left[stay], [heat[stay] for heat in heats]
                caps = self._caps(bound[left], front)
        return bound

    def near(self, points: Array, front: Array) -> IntArray:
        """Positions of points that a row of the front does not clearly dominate, see `optimize.search.branch.Bounded`.

        They are rated at the duty points of the objectives alone: what the others do to these is less than what a
        rated core may be away from standing still.
        """
        if len(self._at) == len(self.study.duty) or not len(points):
            return np.arange(len(points))
        looked = np.full((len(points), len(self.study.objectives)), -np.inf)
        numbers = np.array([at.number for at in self._at])
        duty, around = self.duty.at(numbers), self.around.at(numbers)
        for batch in self.space.batches_of(self.space.choices(points), len(points)):
            rating = self.rate_at(batch, duty, around)
            values = [at_best(o, objective_value(self.study, rating, o)) for o in self.study.objectives]
            sure = np.all(np.isfinite(values), axis=0) & ~np.any(rating.flags & Flag.NOT_SETTLED, axis=1)
            looked[batch.index] = np.where(sure[:, None], np.stack(values, axis=1), -np.inf)
        return Screen.of(front).passing(looked)

    def _caps(self, bound: Array, front: Array) -> list[Caps]:
        """The hottest and the most loss at each duty point of cores of the boxes that no row of the front dominates.

        Such a core beats, in each objective, every row that is nowhere above the box's bound in the others.
        """
        caps = {(at.number, name): getattr(at, field) for at in self._at for name, field in _CAPPED.items()}
        for i, o in enumerate(self.study.objectives):
            if o.output not in _CAPPED or o.maximise or o.at == "mean":
                continue
            last = [j for j in range(len(self.study.objectives)) if j != i] + [i]
            most = Screen.of(front[:, last]).ceiling(bound[:, last])
            for number in points_of(self.study, o.at):
                if (number, o.output) in caps:
                    caps[number, o.output] = np.minimum(caps[number, o.output], most)
        hottest, loss = _CAPPED
        return [(caps[at.number, hottest], caps[at.number, loss] if at.rises else at.most_loss) for at in self._at]

    def _bounds(
        self, low: IntArray, high: IntArray, heats: list[Array], caps: list[Caps]
    ) -> tuple[Array, list[Array]]:
        """Bounds (n, k) of boxes that take up `heats` at most at the duty points, and the heat they can take up.

        caps: see `_caps`.
        """
        n = len(low)
        bound, found = np.empty((n, len(self.study.objectives))), [np.empty(n) for _ in heats]
        reaches = [self._reach(low, high, at, heat) for at, heat in zip(self._at, heats, strict=True)]
        for batch, small, large in self._ends(low, high):
            index = batch.index
            box = boxes(small, large)
            goals = GoalBounds(self.study, box, self.duty.coolant)
            for number, (at, reach) in enumerate(zip(self._at, reaches, strict=True)):
                hottest, loss = (cap if cap.size == 1 else cap[index] for cap in caps[number])
                made = better(box, reach.take(index), at.duty, at.around, hottest, loss, at.rises)
                goals.add(at.number, made)
                found[number][index] = made.heat_rejected
            bound[index] = goals.bounds(len(index))
        return bound, found

    def _ends(self, low: IntArray, high: IntArray) -> Iterator[tuple[Batch, Designs, Designs]]:
        """Both ends of boxes, parted by fin families."""
        if not len(low):
            return
        top = self.space.choices(high.astype(float))
        for batch in self.space.batches_of(self.space.choices(low.astype(float)), len(low)):
            small = batch.designs
            yield batch, small, self._enlarged(small, top, batch.index)

    def _enlarged(self, small: Designs, top: Parameters, index: IntArray) -> Designs:
        ladders = {n: top[n] if top[n].size == 1 else top[n][index] for n in LADDERS if n in self._number}
        return replace(small, **ladders)  # type: ignore[arg-type]

    def _reach(self, low: IntArray, high: IntArray, at: At, heat: Array) -> CoolantReach:
        """The coolant side of each box; boxes that have it in common share one calculation."""
        _, first, which = np.unique(self._coolant_key(low, high), return_index=True, return_inverse=True)
        most = np.zeros(len(first))
        np.maximum.at(most, which, heat)
        mean = (at.charge[1] + at.hottest) / 2
        parts = []
        for batch, small, large in self._ends(low[first], high[first]):
            # The air side is left out: of the air fin the coolant sees the spacing alone.
            small, large = (replace(d, air_family=COOLANT_FAMILIES["open"]) for d in (small, large))
            box = self._boxes(small, large, low[first][batch.index], high[first][batch.index])
            made = coolant_reach(box, at.duty, at.around, at.sink, mean, most[batch.index], at.capacity)
            parts.append((batch.index, made))
        return joined(parts, len(first)).take(which)

    def _coolant_key(self, low: IntArray, high: IntArray) -> IntArray:
        """A number for all that the coolant side of a box depends on: every variable but the air fin's own."""
        key, size = np.zeros(len(low), dtype=np.int64), 1
        for name, i in self._number.items():
            ends = (low[:, i], high[:, i]) if name in LADDERS + LISTS else (low[:, i],)
            for end in ends:
                values = self._spacing_number[end] if name == "air_fin" else end
                count = int(values.max()) + 1
                if size * count >= 2**62:
                    key = np.unique(key, return_inverse=True)[1]
                    size = int(key.max()) + 1
                key, size = key * count + values, size * count
        return key

    def _fits(self, low: IntArray, high: IntArray) -> BoolArray:
        """Boxes in which some core may fit the pocket, in whole passages."""
        margins = {name: np.full(len(low), -np.inf) for name in CLEARANCES}
        everything = np.arange(len(low))
        small = self.space.batch(self.space.choices(low.astype(float)), everything).designs  # families aside
        for d in (small, self._enlarged(small, self.space.choices(high.astype(float)), everything)):
            outline = Outline(stack_height(d), overall_length(d))
            for port, there in self._members("port", self.space.ports, low, high):
                for name, room in clearances(replace(d, port=port), outline, self.envelope).items():
                    margins[name] = np.where(there, np.maximum(margins[name], room), margins[name])
        fits = (small.side_by_side == 0) | (np.round(small.passages) % small.passes == 0)
        for name, room in margins.items():
            fits = fits & (room >= -_ROUNDING * getattr(self.study.envelope, CLEARANCE_SCALES[name]))
        return np.broadcast_to(fits, len(low))

    def _members(
        self, name: str, choices: Sequence[Choice], low: IntArray, high: IntArray
    ) -> list[tuple[Choice, BoolArray]]:
        """Those of a variable's choices that are in some box, and in which boxes each is."""
        i = self._number.get(name)
        if i is None:
            return [(choice, np.ones(len(low), dtype=bool)) for choice in choices]
        inside = [(low[:, i] <= n) & (n <= high[:, i]) for n in range(len(choices))]
        return [(choice, there) for choice, there in zip(choices, inside, strict=True) if np.any(there)]

    def _boxes(self, small: Designs, large: Designs, low: IntArray, high: IntArray) -> Boxes:
        """Boxes with the extremes of the ports and lines in them."""
        ports = self._members("port", self.space.ports, low, high)
        lines = self._members("line", self.space.lines, low, high)
        least, most = _extremes([(*resistances(port, small, large), there) for port, there in ports], len(low))
        if not lines:
            return boxes(small, large, (least, most))
        bores = _extremes([(line.bore, line.bore, there) for line, there in lines], len(low))
        rough = _extremes([(line.roughness, line.roughness, there) for line, there in lines], len(low))
        steps = [
            (step, step, here & there) for line, here in lines for port, there in ports
            for step in [step_resistance(line.area, port.line_area)]
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
