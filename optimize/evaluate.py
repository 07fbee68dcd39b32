"""A study as a search problem: points -> cores -> rating -> objectives, margins, tie-breaks."""

from typing import Any

import numpy as np

from optimize.feasibility import margin_names, margins, objective_value
from optimize.search.problem import Axis, Evaluation
from optimize.space import Batch, Parameters, Space
from optimize.study.model import Objective, Study
from physics.arrays import Array, IntArray
from physics.duty import Duty, ModelFactors
from physics.envelope import Envelope
from physics.outputs import OUTPUTS
from physics.properties import AIR, coolant
from physics.rating import Rating, rate

_COOLANT_PRESSURE = 2.0e5  # liquids ignore it
TIE_BREAKS = ("coolant_pressure_drop", "dry_mass")


def duty_of(study: Study) -> Duty:
    """The study's duty points as arrays."""
    points = study.duty
    fluid = study.coolant
    return Duty(
        names=tuple(p.name for p in points),
        air=AIR,
        coolant=coolant(fluid.fluid, fluid.strength, fluid.basis),
        air_flow=np.array([p.air_flow for p in points]),
        air_inlet_temperature=np.array([p.air_temperature for p in points]),
        air_inlet_pressure=np.array([p.air_pressure for p in points]),
        coolant_flow=np.array([p.coolant_flow for p in points]),
        coolant_inlet_temperature=np.array([p.coolant_temperature for p in points]),
        coolant_inlet_pressure=np.full(len(points), _COOLANT_PRESSURE),
    )


def envelope_of(study: Study) -> Envelope:
    """The pocket of a study."""
    e = study.envelope
    return Envelope(e.pocket_length, e.pocket_width, e.pocket_depth, e.proud_height)


class CoreProblem:
    """What the searches see of a study; pickled by its study alone."""

    def __init__(self, study: Study) -> None:
        self.study = study
        self.space = Space(study)
        self.duty = duty_of(study)
        self.envelope = envelope_of(study)

    def __reduce__(self) -> tuple[Any, ...]:
        return CoreProblem, (self.study,)

    @property
    def axes(self) -> tuple[Axis, ...]:
        return self.space.axes

    @property
    def objective_names(self) -> tuple[str, ...]:
        return tuple(objective_name(o) for o in self.study.objectives)

    @property
    def margin_names(self) -> tuple[str, ...]:
        return margin_names(self.study)

    def rate(self, batch: Batch, factors: ModelFactors | None = None) -> Rating:
        """Rate a batch under the study's duty and envelope."""
        return rate(batch.designs, self.duty, factors, self.envelope)

    def judge(self, batch: Batch, rating: Rating) -> Evaluation:
        """Objectives (to be minimised), margins and tie-breaks of a rated batch."""
        signed = [
            (-1.0 if o.maximise else 1.0) * objective_value(self.study, rating, o) for o in self.study.objectives
        ]
        p = batch.parameters
        margin = margins(self.study, rating, p["passages"], p["passes"], p["side_by_side"])
        ties = [np.max(v, axis=1) if v.ndim == 2 else v for v in (rating[name] for name in TIE_BREAKS)]
        return Evaluation(np.stack(signed).T, margin, np.stack(ties).T)

    def evaluate(self, points: Array) -> Evaluation:
        """Judge points (n, axes), whatever families they mix."""
        if not len(points):
            widths = len(self.objective_names), len(self.margin_names), len(TIE_BREAKS)
            return Evaluation(*(np.empty((0, width)) for width in widths))
        parts = [(batch.index, self.judge(batch, self.rate(batch))) for batch in self.space.batches(points)]
        if len(parts) == 1 and len(parts[0][1].objectives) == len(points):
            return parts[0][1]
        return _joined(len(points), parts)

    def rate_points(self, points: Array) -> Rating:
        """The full rating of points (n, axes), in their order."""
        return self.rate_choices(self.space.choices(points), len(points))

    def rate_choices(self, choices: Parameters, n: int) -> Rating:
        """The full rating of n cores given by values of the variables, in their order."""
        parts = [(batch.index, self.rate(batch)) for batch in self.space.batches_of(choices, n)]
        names = parts[0][1].values
        flags = _scattered(n, [(index, part.flags.astype(float)) for index, part in parts])
        values = {name: _scattered(n, [(index, part[name]) for index, part in parts]) for name in names}
        return Rating(self.duty.names, values, flags.astype(np.int64))


def objective_name(objective: Objective) -> str:
    """'heat rejected, full_power'."""
    label = OUTPUTS[objective.output].label
    return f"{label}, {objective.at}" if objective.at else label


def _joined(n: int, parts: list[tuple[IntArray, Evaluation]]) -> Evaluation:
    return Evaluation(*(
        _scattered(n, [(index, getattr(part, name)) for index, part in parts])
        for name in ("objectives", "margins", "tie")
    ))


def _scattered(n: int, parts: list[tuple[IntArray, Array]]) -> Array:
    full = np.empty((n, *parts[0][1].shape[1:]))
    for index, part in parts:
        full[index] = part
    return full
