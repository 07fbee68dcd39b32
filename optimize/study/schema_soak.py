"""[soak] as written: a schedule of pulls and rests, or a recorded run."""

from typing import Annotated, Any

from pydantic import AfterValidator, Field, PlainValidator, ValidationInfo, field_validator

from optimize import units
from optimize.study.faults import did_you_mean, refusal, shown
from optimize.study.model_system import Soak, SoakPhase, Trace
from optimize.study.schema_duty import air_temperature
from optimize.study.trace import Recording
from optimize.study.values import Table, one_of_two, optional_quantity, quantity, whole

USUAL_STEP = 0.2  # s
MOST_STEPS = 1_000_000  # of one run; each is taken by every core that is looked at


def _duty(raw: object, info: ValidationInfo[Any]) -> str | None:
    if raw is None:
        return None
    if not isinstance(raw, str):
        raise refusal(f"expected the name of a duty point, got {shown(raw)}", "write it in quotes")
    if raw not in info.context.duties:
        raise refusal(f"unknown duty point {shown(raw)}", did_you_mean(raw, info.context.duties))
    return raw


DutyPoint = Annotated[str | None, PlainValidator(_duty)]


class PhaseTable(Table):
    """{ pull or rest, lasts, front_air_flow, pump_speed }"""

    pull: DutyPoint = None
    rest: DutyPoint = Field(None, validate_default=True)
    lasts: Annotated[float, quantity("time", above=0.0)]
    front_air_flow: Annotated[float | None, optional_quantity("mass flow", at_least=0.0)] = None
    pump_speed: Annotated[float | None, optional_quantity("fraction", at_least=0.0)] = None

    @field_validator("rest")
    @classmethod
    def _one_kind(cls, rest: str | None, info: ValidationInfo[Any]) -> str | None:
        if "pull" in info.data:
            do = "give exactly one of the two, with the name of a duty point"
            one_of_two(info.data["pull"], rest, ("pull", "rest"), do)
        return rest

    @field_validator("pump_speed")
    @classmethod
    def _stands_in_rests_only(cls, speed: float | None, info: ValidationInfo[Any]) -> float | None:
        if speed == 0 and info.data.get("pull"):
            raise refusal("the pump stands still in a pull", "let it run, or make this a rest")
        return speed

    def typed(self) -> SoakPhase:
        return SoakPhase(
            self.pull or self.rest or "", self.lasts, self.pull is not None, self.front_air_flow, self.pump_speed
        )


def _some_pull(schedule: list[PhaseTable] | None) -> list[PhaseTable] | None:
    if schedule is not None and not any(phase.pull for phase in schedule):
        raise refusal("no pull: nothing would heat the coolant", "add { pull = 'full_power', lasts = '11 s' }")
    return schedule


def _trace(raw: object, info: ValidationInfo[Any]) -> Recording | None:
    if raw is None:
        return None
    if not isinstance(raw, str) or not raw:
        raise refusal(f"expected the path of a trace, got {shown(raw)}", "write it in quotes")
    recording: Recording = info.context.read_trace(raw)
    return recording


class SoakTable(Table):
    """[soak]; whether there is a schedule or a trace, and what goes with each, is told by `agreement`."""

    limit: Annotated[float, quantity("temperature"), AfterValidator(air_temperature)]
    schedule: Annotated[list[PhaseTable] | None, AfterValidator(_some_pull)] = None
    repeat: Annotated[int, whole(1, 10_000)] = 1
    trace: Annotated[Recording | None, PlainValidator(_trace)] = None
    trace_duty: DutyPoint = None
    step: Annotated[float | None, optional_quantity("time", above=0.0)] = Field(None, validate_default=True)
    recovered_within: Annotated[float, quantity("temperature difference", above=0.0)] = 3.0

    @field_validator("step")
    @classmethod
    def _short_enough(cls, given: float | None, info: ValidationInfo[Any]) -> float:
        """The shortest phase must hold a step, and the run not too many of them."""
        step = USUAL_STEP if given is None else given
        phases = info.data.get("schedule") or []
        shortest = min((phase.lasts for phase in phases), default=step)
        if step > shortest:
            long, short = (units.show(t, "time", "SI") for t in (step, shortest))
            raise refusal(f"a step of {long} is longer than a phase of {short}", "write a shorter step")
        recording = info.data.get("trace") or Recording()
        total = sum(phase.lasts for phase in phases) * info.data.get("repeat", 1) + max(recording.time, default=0.0)
        if total / step > MOST_STEPS:
            raise refusal(f"the run has more than {MOST_STEPS} steps", "write a longer step, or a shorter run")
        return step

    def typed(self) -> Soak:
        phases = tuple(phase.typed() for phase in self.schedule or ()) * self.repeat
        assert self.step is not None
        return Soak(self.limit, phases, self._recorded(), self.step, self.recovered_within)

    def _recorded(self) -> Trace | None:
        run = self.trace
        return None if run is None else Trace(self.trace_duty or "", run.time, run.engine_speed, run.load)
