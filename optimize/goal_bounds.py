"""From bounds at duty points to bounds on a study's objectives, and to what its limits rule out."""

import numpy as np

from optimize.feasibility import Requirement, requirements, weights_of
from optimize.study.model import Objective, Study
from physics.arrays import Array, BoolArray
from physics.bounds.boxes import Boxes
from physics.bounds.whole import UNSETTLED, UNSETTLED_SHARE, Better
from physics.core_outputs import core_columns
from physics.fluid import Fluid
from physics.outputs import OUTPUTS

_ROUNDING = 1e-9  # of a value of the core: what its arithmetic may be off
# Outputs of the core that grow with thickness and tank length, and know nothing of port and line
GROWING = (
    "stack_height", "core_thickness", "core_length", "overall_length", "dry_mass", "filled_mass", "coolant_volume",
    "air_area", "coolant_area", "air_free_flow_area", "coolant_free_flow_area",
)
# Outputs at a duty point that are bounded, and whether from above
BOUNDED = {
    "air_outlet_temperature": False, "air_pressure_drop": False, "coolant_pressure_drop": False, "heat_rejected": True,
}


def cannot_bound(study: Study) -> str | None:
    """Why the objectives of a study cannot be bounded over boxes of cores; None where they can."""
    if study.fitted is not None:
        return "the bounds know nothing of corrections fitted to a bench"
    bounded = set(boundable_points(study))
    for o in study.objectives:
        points = set(points_of(study, o.at))
        if OUTPUTS[o.output].per == "core":
            if o.output not in GROWING:
                return f"'{o.output}' has no bound over many cores at once"
        elif BOUNDED.get(o.output) is not o.maximise:
            sense = "maximised" if o.maximise else "minimised"
            return f"'{o.output}' has no bound over many cores at once where it is {sense}"
        elif not points & bounded or (o.at == "mean" and not points <= bounded):
            return f"'{o.output}' has no bound over many cores where the engine breathes what the blower gives"
    return None


def points_of(study: Study, at: str | None) -> list[int]:
    """Numbers of the duty points that a goal looks at."""
    names = [point.name for point in study.duty]
    return [names.index(at)] if at in names else list(range(len(names)))


def boundable_points(study: Study) -> list[int]:
    """Duty points whose charge is given or held behind the core."""
    return [i for i, p in enumerate(study.duty) if p.manifold_pressure is not None or p.engine_speed is None]


def at_best(objective: Objective, value: Array) -> Array:
    """What a rated objective, to be minimised, may be at best where it has not quite stood still (n,)."""
    signed = -value if objective.maximise else value
    if objective.output == "air_outlet_temperature":
        return signed - UNSETTLED
    return signed if OUTPUTS[objective.output].per == "core" else signed - UNSETTLED_SHARE * np.abs(value)


class GoalBounds:
    """Bounds on objectives and limits of n boxes, gathered from one duty point after the other."""

    def __init__(self, study: Study, box: Boxes, coolant: Fluid) -> None:
        self.study = study
        self.heats: list[Array] = []
        self._least = core_columns(box.small, box.small_g, coolant)
        self._most = core_columns(box.large, box.large_g, coolant)
        self._at: dict[int, Better] = {}

    def add(self, number: int, found: Better) -> None:
        """Take in the bounds at a duty point."""
        self._at[number] = found
        self.heats.append(found.heat_rejected)

    def bounds(self, n: int) -> Array:
        """Objectives (n, k), to be minimised; infinite where a limit cannot be met."""
        columns = [np.broadcast_to(self._objective(o), n) for o in self.study.objectives]
        bound = np.stack(columns, axis=1)
        return np.where(np.broadcast_to(self._possible(), n)[:, None], bound, np.inf)

    def _objective(self, o: Objective) -> Array:
        if OUTPUTS[o.output].per == "core":
            return -self._most[o.output] if o.maximise else self._least[o.output]
        numbers = [i for i in points_of(self.study, o.at) if i in self._at]
        values = [getattr(self._at[i], o.output) for i in numbers]
        if o.at == "mean":
            weights = weights_of(self.study)
            value = sum(w * v for w, v in zip(weights, values, strict=True)) / np.sum(weights)
        else:
            value = np.minimum.reduce(values) if o.maximise else np.maximum.reduce(values)
        return np.asarray(-value if o.maximise else value)

    def _possible(self) -> BoolArray:
        possible: BoolArray = np.ones(1, dtype=bool)
        for r in requirements(self.study):
            possible = possible & self._may_meet(r)
        return possible

    def _may_meet(self, r: Requirement) -> BoolArray:
        """Where a requirement may be met by some core of the box."""
        if OUTPUTS[r.output].per == "core":
            if r.output not in GROWING:
                return np.ones(1, dtype=bool)
            nearest = self._least[r.output] if r.sign > 0 else self._most[r.output]
            return np.asarray(r.sign * (r.bound - nearest) >= -_ROUNDING * abs(r.bound))
        if BOUNDED.get(r.output) is not (r.sign < 0) or r.at == "mean":
            return np.ones(1, dtype=bool)
        values = [getattr(self._at[i], r.output) for i in points_of(self.study, r.at) if i in self._at]
        return np.all([r.sign * (r.bound - v) >= 0 for v in values], axis=0) if values else np.ones(1, dtype=bool)
