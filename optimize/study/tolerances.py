"""How a tolerance may be written: its law, and how far it reaches by the rule of the value it belongs to."""

from collections.abc import Iterable, Iterator
from typing import Annotated, Any, Literal

from pydantic import PlainValidator, ValidationInfo, field_validator
from pydantic_core import PydanticCustomError

from optimize import units
from optimize.study.faults import refusal, shown
from optimize.study.model import Tolerance
from optimize.study.values import (
    Rule,
    Table,
    ValueReading,
    one_of_two,
    optional_quantity,
    quantity,
    read,
    value_reading,
)

NARROW = "narrow the tolerance, or check its unit"
_SKEWED = "give half_width, or below and above for a skewed law"
Disagreements = Iterator[tuple[str, PydanticCustomError]]
Width = Annotated[tuple[float, bool] | None, PlainValidator(lambda raw, info: _width(raw, info))]


class ToleranceTable(Table):
    """{ law, half_width or below and above, sigmas or Cp, bounded, tighten_cost } or { law, samples, nominal, ... }."""

    law: Literal["normal", "uniform", "triangular", "measured"]
    half_width: Width = None
    below: Width = None
    above: Width = None
    sigmas: Annotated[float | None, optional_quantity("number", at_least=1.0)] = None
    Cp: Annotated[float | None, optional_quantity("number", at_least=0.34)] = None
    bounded: bool = False
    samples: Annotated[tuple[float, ...], PlainValidator(lambda raw, info: _samples(raw, info))] = ()
    nominal: Annotated[float | None, PlainValidator(lambda raw, info: read(raw, info.context.rule))] = None
    tighten_cost: Annotated[float, quantity("number", above=0.0)] = 1.0

    @classmethod
    def disagreements(cls, raw: dict[str, Any]) -> Disagreements:
        if raw.get("law") == "measured":
            return _of_samples(raw)
        return _of_a_formula(raw, raw["law"]) if raw.get("law") in _FORMULAE else iter(())

    @field_validator("above")
    @classmethod
    def _fits_the_other_side(
        cls, above: tuple[float, bool] | None, info: ValidationInfo[Any]
    ) -> tuple[float, bool] | None:
        below = info.data.get("below")
        if below is None or above is None:
            return above
        if below[1] != above[1]:
            raise refusal("one of 'below' and 'above' is a share of the value, the other is not",
                          "write both in %, or both in a unit")
        if below[0] == above[0] == 0.0:
            raise refusal("'below' and 'above' are both zero", "widen one of them, or leave the tolerance out")
        return above

    @field_validator("half_width")
    @classmethod
    def _is_a_width(cls, half_width: tuple[float, bool] | None) -> tuple[float, bool] | None:
        if half_width is not None and half_width[0] == 0.0:
            raise refusal("a half width of zero is no tolerance", "widen it, or leave the tolerance out")
        return half_width

    def typed(self) -> Tolerance:
        if self.law == "measured":
            return self._measured()
        below, above = (self.half_width, self.half_width) if self.half_width is not None else (self.below, self.above)
        assert below is not None
        assert above is not None
        sigmas = self.sigmas if self.Cp is None else float(f"{3 * self.Cp:.15g}")
        return Tolerance(self.law, below[0], above[0], sigmas, below[1], self.bounded, (), self.tighten_cost)

    def _measured(self) -> Tolerance:
        assert self.nominal is not None
        deviations = tuple(sample - self.nominal for sample in self.samples)
        below, above = max(-min(deviations, default=0.0), 0.0), max(0.0, *deviations, 0.0)
        return Tolerance("measured", below, above, None, False, False, deviations, self.tighten_cost)


_FORMULAE = ("normal", "uniform", "triangular")


def _of_samples(raw: dict[str, Any]) -> Disagreements:
    for key in ("half_width", "below", "above", "sigmas", "Cp", "bounded"):
        if key in raw:
            yield key, refusal(f"a measured law has no {key}", "leave it out: the samples say how they scatter")
    for key, do in (("samples", "add the path of a file, such as 'measured/spacing.csv'"),
                    ("nominal", "add what the samples should have been, such as '6.35 mm'")):
        if key not in raw:
            yield key, refusal(f"missing key '{key}'", do, "key")


def _of_a_formula(raw: dict[str, Any], law: str) -> Disagreements:
    for key in ("samples", "nominal"):
        if key in raw:
            yield key, refusal(f"a {law} law has no {key}", "leave it out, or write law = 'measured'")
    yield from _of_widths(raw)
    if law == "normal":
        try:
            do = "say how many standard deviations the half width is: sigmas = 3, or Cp = 1 for the same"
            one_of_two(raw.get("sigmas"), raw.get("Cp"), ("sigmas", "Cp"), do)
        except PydanticCustomError as error:
            yield "Cp", error
        return
    for key in ("sigmas", "Cp"):
        if key in raw:
            yield key, refusal(f"a {law} law has no {key}", "leave it out, or write law = 'normal'")
    if "bounded" in raw:
        yield "bounded", refusal(f"a {law} law is bounded by nature", "leave it out")


def _of_widths(raw: dict[str, Any]) -> Disagreements:
    sides = [key for key in ("below", "above") if key in raw]
    if "half_width" in raw and sides:
        yield sides[0], refusal(f"both 'half_width' and '{sides[0]}'", _SKEWED, "key")
    elif "half_width" not in raw and not sides:
        yield "half_width", refusal("missing key 'half_width'", _SKEWED, "key")
    elif "half_width" not in raw and len(sides) == 1:
        other = "above" if sides == ["below"] else "below"
        do = "add it: a skewed law has both; one of them may be zero"
        yield other, refusal(f"missing key '{other}'", do, "key")


def _width(raw: object, info: ValidationInfo[ValueReading]) -> tuple[float, bool]:
    """(value, relative): "4 %" of the nominal, "2 points" of a fraction, or a value of the nominal's own kind."""
    rule = info.context.rule
    number, unit = None, ""
    if isinstance(raw, str):
        try:
            number, unit = units.split(raw, "fraction" if rule.is_bare else rule.width.kind)
        except units.UnitError as error:
            raise refusal(error.what, error.do) from None
    if number is not None and unit in ("points", "point", "%"):
        return _percent(raw, number, unit, rule, info.field_name == "half_width")
    return read(raw, rule.width), False


def _percent(raw: object, number: float, unit: str, rule: Rule, is_half: bool) -> tuple[float, bool]:
    if rule.kind == "temperature":
        raise refusal("a temperature is no amount: no share of it can be taken", "write a difference, such as '3 K'")
    if unit != "%" and rule.kind != "fraction":
        raise refusal("'points' are percentage points, for fractions only", "write '4 %' of the value, or its own unit")
    if number < 0.0:
        do = "a half width counts to both sides" if is_half else "a width has no sign"
        raise refusal(f"must be at least zero, got {shown(raw)}", do)
    if unit == "%" and number >= 100.0:
        which = "the half width" if is_half else "the width"
        raise refusal(f"{which} {shown(raw)} is as wide as the value itself", "stay below 100 %")
    return float(f"{number / 100:.15g}"), unit == "%"


def _samples(raw: object, info: ValidationInfo[ValueReading]) -> tuple[float, ...]:
    """The values of a file of samples; not looked at under another law."""
    if info.data.get("law") in _FORMULAE:
        return ()
    if not isinstance(raw, str) or not raw:
        raise refusal(f"expected the path of a file of samples, got {shown(raw)}", "write it in quotes")
    return info.context.read_samples(raw, info.context.key, info.context.rule)


def read_tolerance(raw: object, info: ValidationInfo[ValueReading]) -> Tolerance:
    return ToleranceTable.model_validate(raw, context=info.context).typed()


def tolerance_of(rule: Rule) -> PlainValidator:
    """Validator of a tolerance on a value of the rule."""
    return PlainValidator(
        lambda raw, info: ToleranceTable.model_validate(raw, context=value_reading(rule, info)).typed()
    )


def reach(tolerance: Tolerance, value: float) -> tuple[float, float]:
    """How far the tolerance of a value reaches below and above it [SI]."""
    scale = abs(value) if tolerance.relative else 1.0
    return scale * tolerance.below, scale * tolerance.above


def width_fault(tolerance: Tolerance, numbers: Iterable[float], rule: Rule) -> str:
    """Why the tolerance does not fit the values; empty if it does."""
    for value in numbers:
        if tolerance.relative and value == 0.0:
            points = ", in points" if rule.kind == "fraction" else ""
            return f"a share of {rule.show(value)} is nothing: give the width itself{points}"
        below, above = reach(tolerance, value)
        for side, width, end in (("below", below, value - below), ("above", above, value + above)):
            if not tolerance.relative and width and width >= abs(value):
                called = _called(tolerance, side, rule.width.show(width))
                return f"{called} is not smaller than the value {rule.show(value)}"
            if not rule.admits(end):
                return f"the tolerance takes {rule.show(value)} to {rule.show(end)}; it must stay {rule.bounds}"
    return ""


def _called(tolerance: Tolerance, side: str, width: str) -> str:
    if tolerance.law == "measured":
        return f"the deviation of a sample, {width} {side},"
    return f"the half width {width}" if tolerance.below == tolerance.above else f"the width {side}, {width},"


Toleranced = Annotated[Tolerance | None, PlainValidator(read_tolerance)]
