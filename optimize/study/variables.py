"""How a thing that varies may be written: fixed, toleranced, a range, stock sizes, names of a catalogue."""

import math
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Annotated, Any

from pydantic import Field, PlainValidator, ValidationInfo, field_validator

from optimize.study.faults import did_you_mean, refusal, shown
from optimize.study.model import Variable
from optimize.study.tolerances import NARROW, Toleranced, width_fault
from optimize.study.values import Rule, Ruled, Table, ValueReading, each_once, read, value_reading

# Names of the design variables in columns and on the command line, where they are not the key's own
OTHER_NAMES = {"tanks.length": "tank_length", "tanks.wall": "tank_wall"}
MOST_STEPS = 1_000_000
_STEP_SLACK = 1e-9  # 40 .. 90 by 0.1 must hit its end in spite of rounding


class ValueTable(Table):
    """{ value, tolerance }"""

    value: Ruled
    tolerance: Toleranced = None


class ChooseTable(Table):
    """{ choose = [...], tolerance }"""

    choose: Annotated[tuple[float, ...], PlainValidator(lambda raw, info: _stock(raw, info.context.rule))]
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
        ends = None if rule.kind == "whole" else (self.start, self.to)
        return Variable("", values, None, None, self.tolerance, ends)


def _step(raw: object, info: ValidationInfo[Any]) -> float:
    rule: Rule = info.context.rule
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
    return tuple(each_once(raw, lambda item: read(item, rule)))


def varying(kind: str, **bounds: float) -> PlainValidator:
    """Validator of a number that may be fixed, toleranced, a range, a list or a choice; gives a `Variable`."""
    rule = Rule(kind, **bounds)
    return PlainValidator(lambda raw, info: _checked(_variable(raw, value_reading(rule, info)), rule))


def _variable(raw: object, context: ValueReading) -> Variable:
    rule = context.rule
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
        raise refusal(fault, NARROW)
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
        return Variable("", tuple(each_once(raw, lambda item: _name(item, names, noun))))

    return PlainValidator(read_names)


def _name(item: object, names: Iterable[str] | None, noun: str) -> str:
    if not isinstance(item, str):
        raise refusal(f"expected {noun}, got {shown(item)}", "write names in quotes")
    if names is not None and item not in names:
        raise refusal(f"unknown {noun.split(' ', 1)[1]} {shown(item)}", did_you_mean(item, names))
    return item


def named(variable: Variable, name: str) -> Variable:
    return replace(variable, name=name)
