"""A study as a search problem: points -> cores -> rating -> objectives, margins, tie-breaks."""

from functools import cached_property
from typing import Any

import numpy as np

from optimize.errors import FinfrontError
from optimize.feasibility import margin_names, margins, objective_value
from optimize.search.problem import Axis, Evaluation
from optimize.soaking import SoakRun, soak_outputs
from optimize.space import Batch, Parameters, Space
from optimize.study.model import Objective, Study
from optimize.surroundings import duty_of, installation_of, tables_of, with_line
from optimize.tolerance.model_draws import nominal_factors, outside_fit
from optimize.typed_core import typed_core
from physics.arrays import Array, IntArray
from physics.duty import Duty, ModelFactors
from physics.envelope import Envelope
from physics.flags import Flag
from physics.installation import Installation
from physics.net_gain import Reference, Worth, reference_of
from physics.outputs import OUTPUTS
from physics.rating import Rating, rate, with_net_gain

Outside = tuple[Duty, Installation]  # duty points and what stands around the core, (n, m) where designs have their own
TIE_BREAKS = ("coolant_pressure_drop", "dry_mass")


def envelope_of(study: Study) -> Envelope:
    """The pocket of a study."""
    e = study.envelope
    return Envelope(e.pocket_length, e.pocket_width, e.pocket_depth, e.proud_height)


def output_names(study: Study) -> tuple[str, ...]:
    """The outputs this study has, by the tables it holds."""
    tables = tables_of(study)
    return tuple(name for name, output in OUTPUTS.items() if not output.needs or output.needs in tables)


class CoreProblem:
    """What the searches see of a study; pickled by its study alone.

    Raises FinfrontError when the reference core of its net gain is no core of the study.
    """

    def __init__(self, study: Study) -> None:
        self.study = study
        self.space = Space(study)
        self.duty = duty_of(study)
        self.envelope = envelope_of(study)
        self.around = installation_of(study)
        self.outputs = output_names(study)
        self._reference = self._reference_core()
        self.soaks = SoakRun(study, self.duty, self.around) if study.soak is not None else None
        asked = [o.output for o in study.objectives] + [limit.output for limit in study.limits]
        self._soak_asked = any(OUTPUTS[name].needs == "soak" for name in asked)

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

    def rate(
        self, batch: Batch, factors: ModelFactors | None = None, soak: bool = False, outside: Outside | None = None
    ) -> Rating:
        """Rate a batch under the study's duty, in its envelope and among what stands around the core.

        The schedule of pulls and rests is run where a goal asks for it, or with `soak`: it takes far longer. `outside`
        has duty points, and what stands around, in place of the study's own; not for the schedule.
        """
        duty, around = outside or (self.duty, self.around)
        own = factors or self._nominal(batch)
        rating = self._in_the_fit(batch, self._rated(batch, duty, around, own))
        if self.study.net_gain is not None:
            worth = Worth(self.study.net_gain.power_per_air, self.study.net_gain.power_per_kelvin)
            rating = with_net_gain(rating, self._reference_state(factors, outside), worth, around)
        if self.soaks is not None and (soak or self._soak_asked):
            schedule = self.soaks.run(batch, own)
            values = {**rating.values, **soak_outputs(schedule.soaked)}
            rating = Rating(rating.duty_names, values, rating.flags | schedule.flags)
        return rating

    def _rated(self, batch: Batch, duty: Duty, around: Installation, factors: ModelFactors | None) -> Rating:
        return rate(batch.designs, duty, factors, self.envelope, with_line(around, batch.line))

    def _nominal(self, batch: Batch) -> ModelFactors | None:
        """The corrections of a fitted model; None where the study names none."""
        return nominal_factors(self.study, batch.air_family, batch.coolant_family)

    def _in_the_fit(self, batch: Batch, rating: Rating) -> Rating:
        """The rating, flagged where a fitted model is used beyond what it was fitted on."""
        if self.study.fitted is None:
            return rating
        beyond = outside_fit(self.study.fitted, batch.air_family, batch.coolant_family, rating)
        return Rating(rating.duty_names, rating.values, rating.flags | np.where(beyond, int(Flag.FIT_RANGE), 0))

    def rate_at(self, batch: Batch, duty: Duty, around: Installation) -> Rating:
        """Rate a batch at other duty points than the study's."""
        return rate(batch.designs, duty, self._nominal(batch), None, with_line(around, batch.line))

    def _reference_core(self) -> Batch | None:
        """The core that the net gain is measured against."""
        if self.study.net_gain is None:
            return None
        pairs = [f"{name}={value}" for name, value in self.study.net_gain.reference.items()]
        try:
            core = typed_core(self.space, pairs)
        except FinfrontError as error:
            where = f"{self.study.path}, 'reference' in [net_gain]"
            raise FinfrontError(error.what, where, error.do.replace("--core ", "")) from None
        return self.space.batch(core, np.zeros(1, dtype=np.int64))

    def _reference_state(self, factors: ModelFactors | None, outside: Outside | None) -> Reference:
        """What the reference core does, under the same factors on the correlations and the same duty points."""
        assert self._reference is not None
        if factors is not None or outside is not None:
            duty, around = outside or (self.duty, self.around)
            own = factors or self._nominal(self._reference)
            return reference_of(self._rated(self._reference, duty, around, own).values)
        return self._nominal_reference

    @cached_property
    def _nominal_reference(self) -> Reference:
        assert self._reference is not None
        own = self._nominal(self._reference)
        return reference_of(self._rated(self._reference, self.duty, self.around, own).values)

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
        return self.evaluate_choices(self.space.choices(points) if len(points) else {}, len(points))

    def evaluate_choices(self, choices: Parameters, n: int) -> Evaluation:
        """Judge n cores given by values of the variables, on the grid of the study or not."""
        if n == 0:
            widths = len(self.objective_names), len(self.margin_names), len(TIE_BREAKS)
            return Evaluation(*(np.empty((0, width)) for width in widths))
        parts = [(batch.index, self.judge(batch, self.rate(batch))) for batch in self.space.batches_of(choices, n)]
        if len(parts) == 1 and len(parts[0][1].objectives) == n:
            return parts[0][1]
        return _joined(n, parts)

    def rate_points(self, points: Array, soak: bool = False) -> Rating:
        """The full rating of points (n, axes), in their order."""
        return self.rate_choices(self.space.choices(points), len(points), soak)

    def rate_choices(self, choices: Parameters, n: int, soak: bool = False) -> Rating:
        """The full rating of n cores given by values of the variables, in their order."""
        parts = [(batch.index, self.rate(batch, soak=soak)) for batch in self.space.batches_of(choices, n)]
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
