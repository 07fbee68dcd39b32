"""How one value may be written: a quantity, a tolerance, a thing that varies, a choice of names.

Every reader here is a pydantic validator: it takes what TOML gave and returns SI, or raises a refusal.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Annotated, Any, Literal, TypeVar

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    ModelWrapValidatorHandler,
    PlainValidator,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_validator,
)
from pydantic_core import PydanticCustomError

from optimize import units
from optimize.study.faults import MOST_FAULTS, did_you_mean, phrased, refusal, refusals, shown
from optimize.study.model import Tolerance, Variable

Value = TypeVar("Value")

CHECK = "check the number and its unit"
MOST_STEPS = 1_000_000
_STEP_SLACK = 1e-9  # 40 .. 90 by 0.1 must hit its end in spite of rounding


@dataclass(frozen=True)
class Rule:
    """What a value must be: a kind of `optimize.units` or "whole" (an integer), and its bounds in SI."""

    kind: str
    above: float | None = None
    at_least: float | None = None
    below: float | None = None
    at_most: float | None = None

    @property
    def is_bare(self) -> bool:
        return self.kind in ("number", "whole")

    @property
    def bounds(self) -> str:
        """The bounds in words."""
        words = [("above", self.above), ("at least", self.at_least), ("below", self.below), ("at most", self.at_most)]
        return " and ".join(f"{word} {self.show(bound)}" for word, bound in words if bound is not None)

    def show(self, value: float) -> str:
        return f"{value:.12g}" if self.is_bare else units.show(value, self.kind, "SI")

    def admits(self, value: float) -> bool:
        return (
            (self.above is None or value > self.above) and (self.at_least is None or value >= self.at_least)
            and (self.below is None or value < self.below) and (self.at_most is None or value <= self.at_most)
        )


class Table(BaseModel):
    """A table of a study or catalogue: every key known, nothing guessed, faults in our words."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)

    @model_validator(mode="wrap")
    @classmethod
    def _in_our_words(cls, raw: Any, handler: ModelWrapValidatorHandler[Any]) -> Any:
        try:
            return handler(raw)
        except ValidationError as error:
            raise phrased(error, _keys_of(cls)) from None


def _keys_of(table: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in table.model_fields.items()]


def read(raw: object, rule: Rule) -> float:
    """SI value of what stands in the file, within the rule's bounds."""
    value = _bare(raw, rule) if rule.is_bare else _with_unit(raw, rule.kind)
    if not rule.admits(value):
        raise refusal(f"must be {rule.bounds}, got {shown(raw)}", CHECK)
    return value


def _bare(raw: object, rule: Rule) -> float:
    expected = "a whole number" if rule.kind == "whole" else "a bare number"
    if isinstance(raw, bool) or not isinstance(raw, int if rule.kind == "whole" else (int, float)):
        raise refusal(f"expected {expected}, got {shown(raw)}", "write it without quotes and without a unit")
    if abs(raw) > 1e300 or not math.isfinite(raw):
        raise refusal(f"expected a finite number, got {shown(raw)}", "write a number")
    return float(raw)


def _with_unit(raw: object, kind: str) -> float:
    if not isinstance(raw, str):
        what = f"expected {units.KINDS[kind].phrase} such as '{units.KINDS[kind].example}'"
        is_number = isinstance(raw, (int, float)) and not isinstance(raw, bool)
        given = f"the bare number {shown(raw)}" if is_number else shown(raw)
        raise refusal(f"{what}, got {given}", "write number and unit together, in quotes")
    try:
        return units.parse(raw, kind)
    except units.UnitError as error:
        raise refusal(error.what, error.do) from None


def quantity(kind: str, **bounds: float) -> PlainValidator:
    """Validator of one fixed value."""
    rule = Rule(kind, **bounds)
    return PlainValidator(lambda raw: read(raw, rule))


def optional_quantity(kind: str, **bounds: float) -> PlainValidator:
    """Validator of one fixed value that may be absent (None, which TOML cannot write)."""
    rule = Rule(kind, **bounds)
    return PlainValidator(lambda raw: None if raw is None else read(raw, rule))


def whole(at_least: int, at_most: int) -> PlainValidator:
    """Validator of one integer; not by way of a float, which would round a long seed."""

    def integer(raw: object) -> int:
        if isinstance(raw, bool) or not isinstance(raw, int):
            raise refusal(f"expected a whole number, got {shown(raw)}", "write it without quotes and without a point")
        if not at_least <= raw <= at_most:
            raise refusal(f"must be at least {at_least} and at most {at_most}, got {shown(raw)}", "check the number")
        return raw

    return PlainValidator(integer)


def _ruled(raw: object, info: ValidationInfo[Any]) -> float:
    return read(raw, info.context["rule"])


Ruled = Annotated[float, PlainValidator(_ruled)]


class ToleranceTable(Table):
    """{ law, half_width, sigmas }; the half width is read by the rule of the value it belongs to."""

    law: Literal["normal", "uniform", "triangular"]
    half_width: Annotated[tuple[float, bool], PlainValidator(lambda raw, info: _half_width(raw, info))]
    sigmas: Annotated[float | None, quantity("number", above=0.0)] = Field(None, validate_default=False)

    @field_validator("sigmas")
    @classmethod
    def _fits_the_law(cls, sigmas: float | None, info: ValidationInfo[Any]) -> float | None:
        if sigmas is not None and info.data.get("law") in ("uniform", "triangular"):
            raise refusal(f"a {info.data['law']} law has no sigmas", "leave it out, or write law = 'normal'")
        return sigmas

    @model_validator(mode="after")
    def _normal_has_sigmas(self) -> "ToleranceTable":
        if self.law == "normal" and self.sigmas is None:
            raise refusal("a normal law needs sigmas", "say how many standard deviations the half width is: sigmas = 3")
        return self

    def typed(self) -> Tolerance:
        return Tolerance(self.law, self.half_width[0], self.sigmas, self.half_width[1])


def _half_width(raw: object, info: ValidationInfo[Any]) -> tuple[float, bool]:
    """(value, relative): "4 %" of the nominal, "2 points" of a fraction, or a value of the nominal's own kind."""
    rule: Rule = info.context["rule"]
    number, unit = None, ""
    if isinstance(raw, str):
        try:
            number, unit = units.split(raw, "fraction" if rule.is_bare else rule.kind)
        except units.UnitError as error:
            raise refusal(error.what, error.do) from None
    if number is not None and unit in ("points", "point", "%"):
        return _percent(raw, number, unit, rule)
    return read(raw, Rule(rule.kind, at_least=0.0)), False


def _percent(raw: object, number: float, unit: str, rule: Rule) -> tuple[float, bool]:
    if unit != "%" and rule.kind != "fraction":
        raise refusal("'points' are percentage points, for fractions only", "write '4 %' of the value, or its own unit")
    if number < 0.0:
        raise refusal(f"must be at least zero, got {shown(raw)}", "a half width counts to both sides")
    if unit == "%" and number >= 100.0:
        raise refusal(f"the half width {shown(raw)} is as wide as the value itself", "stay below 100 %")
    return float(f"{number / 100:.15g}"), unit == "%"


def read_tolerance(raw: object, info: ValidationInfo[Any]) -> Tolerance:
    return ToleranceTable.model_validate(raw, context=info.context).typed()


def tolerance_of(rule: Rule) -> PlainValidator:
    """Validator of a tolerance on a value of the rule."""
    return PlainValidator(lambda raw: ToleranceTable.model_validate(raw, context={"rule": rule}).typed())


def width_fault(tolerance: Tolerance, numbers: Iterable[float], rule: Rule) -> str:
    """Why the half width does not fit the values; empty if it does."""
    for value in numbers:
        half = tolerance.half_width * (abs(value) if tolerance.relative else 1.0)
        if not tolerance.relative and half >= abs(value):
            return f"the half width {rule.show(half)} is not smaller than the value {rule.show(value)}"
        if not rule.admits(value + half):
            return f"the tolerance takes {rule.show(value)} to {rule.show(value + half)}; it must stay {rule.bounds}"
    return ""


def _band(raw: object) -> tuple[float, float]:
    """["-8 %", "8 %"]: how far the truth may lie below and above a value."""
    if not isinstance(raw, list) or len(raw) != 2:
        what = f"expected two fractions such as ['-8 %', '8 %'], got {shown(raw)}"
        raise refusal(what, "write the lower and the upper end")
    low, high = (read(item, Rule("fraction", above=-1.0)) for item in raw)
    if low > high:
        raise refusal(f"{shown(raw[0])} is above {shown(raw[1])}", "write the lower end first")
    return low, high


Band = Annotated[tuple[float, float], PlainValidator(_band)]
Toleranced = Annotated[Tolerance | None, PlainValidator(read_tolerance)]


class ValueTable(Table):
    """{ value, tolerance }"""

    value: Ruled
    tolerance: Toleranced = None


class ChooseTable(Table):
    """{ choose = [...], tolerance }"""

    choose: Annotated[tuple[float, ...], PlainValidator(lambda raw, info: _stock(raw, info.context["rule"]))]
    tolerance: Toleranced = None


class RangeTable(Table):
    """{ from, to, step, tolerance }: without a step continuous, except integers."""

    start: Ruled = Field(alias="from")
    to: Ruled
    step: Annotated[float | None, PlainValidator(lambda raw, info: _step(raw, info))] = None
    tolerance: Toleranced = None

    @field_validator("to")
    @classmethod
    def _rises(cls, to: float, info: ValidationInfo[Any]) -> float:
        start = info.data.get("start")
        if start is not None and to < start:
            raise refusal("'to' is below 'from'", "swap the two")
        if start is not None and to == start:
            raise refusal("the range is empty: 'to' equals 'from'", "write the value alone")
        return to

    def typed(self, rule: Rule) -> Variable:
        step = 1.0 if rule.kind == "whole" and self.step is None else self.step
        if step is None:
            return Variable("", (), self.start, self.to, self.tolerance)
        count = math.floor((self.to - self.start) / step + _STEP_SLACK) + 1
        values = tuple(float(f"{self.start + i * step:.12g}") for i in range(count))
        return Variable("", values, None, None, self.tolerance)


def _step(raw: object, info: ValidationInfo[Any]) -> float:
    rule: Rule = info.context["rule"]
    step = read(raw, Rule(rule.kind))
    if step <= 0.0:
        raise refusal(f"must be above zero, got {shown(raw)}", "leave the step out for a continuous range")
    start, to = info.data.get("start"), info.data.get("to")
    if start is None or to is None:
        return step
    if step > (to - start) * (1 + _STEP_SLACK):
        raise refusal(f"the step {shown(raw)} is longer than the range", "write the values as a list")
    if (to - start) / step > MOST_STEPS:
        raise refusal(f"the range has more than {MOST_STEPS} steps", "use a wider step, or none: continuous")
    return step


def _stock(raw: object, rule: Rule) -> tuple[float, ...]:
    """A list of stock sizes, each once."""
    if not isinstance(raw, list) or not raw:
        given = "an empty list" if raw == [] else shown(raw)
        raise refusal(f"expected a list of values, got {given}", "name at least one")
    return tuple(_each_once(raw, lambda item: read(item, rule)))


def varying(kind: str, **bounds: float) -> PlainValidator:
    """Validator of a number that may be fixed, toleranced, a range, a list or a choice; gives a `Variable`."""
    rule = Rule(kind, **bounds)
    return PlainValidator(lambda raw: _checked(_variable(raw, rule), rule))


def _variable(raw: object, rule: Rule) -> Variable:
    context = {"rule": rule}
    if isinstance(raw, list):
        return Variable("", _stock(raw, rule))
    if not isinstance(raw, dict):
        return Variable("", (read(raw, rule),))
    if "choose" in raw:
        chosen = ChooseTable.model_validate(raw, context=context)
        return Variable("", chosen.choose, tolerance=chosen.tolerance)
    if {"from", "to", "step"} & raw.keys():
        return RangeTable.model_validate(raw, context=context).typed(rule)
    fixed = ValueTable.model_validate(raw, context=context)
    return Variable("", (fixed.value,), tolerance=fixed.tolerance)


def _checked(variable: Variable, rule: Rule) -> Variable:
    if variable.tolerance is None:
        return variable
    if rule.kind == "whole":
        raise refusal("a count has no tolerance", "leave the tolerance out")
    if fault := width_fault(variable.tolerance, variable.numbers, rule):
        raise refusal(fault, "narrow the tolerance, or check its unit")
    return variable


def choice(known: Callable[[Any], Iterable[str] | None], noun: str, all_word: bool) -> PlainValidator:
    """Validator of one name, a list of names, or "all"; `known` takes the names there are from the context.

    `noun` is what is chosen, with its article.
    """

    def read_names(raw: object, info: ValidationInfo[Any]) -> Variable:
        names = known(info.context)
        if all_word and raw == "all":
            return Variable("", tuple(names or ()))
        if raw == []:
            raise refusal(f"expected {noun}, got an empty list", "name one" + " or write 'all'" * all_word)
        if not isinstance(raw, list):
            return Variable("", (_name(raw, names, noun),))
        return Variable("", tuple(_each_once(raw, lambda item: _name(item, names, noun))))

    return PlainValidator(read_names)


def _name(item: object, names: Iterable[str] | None, noun: str) -> str:
    if not isinstance(item, str):
        raise refusal(f"expected {noun}, got {shown(item)}", "write names in quotes")
    if names is not None and item not in names:
        raise refusal(f"unknown {noun.split(' ', 1)[1]} {shown(item)}", did_you_mean(item, names))
    return item


def _each_once(items: list[Any], reader: Callable[[Any], Value]) -> list[Value]:
    """All items read, none twice; every fault of the list at once."""
    values: dict[Value, None] = {}
    found: list[tuple[int | str, PydanticCustomError]] = []
    for index, item in enumerate(items):
        if len(found) == MOST_FAULTS:
            break
        try:
            value = reader(item)
            if value in values:
                raise refusal(f"{shown(item)} stands twice in the list", "name it once")
            values[value] = None
        except PydanticCustomError as error:
            found.append((index, error))
    if found:
        raise refusals(found)
    return list(values)


def named(variable: Variable, name: str) -> Variable:
    return replace(variable, name=name)
