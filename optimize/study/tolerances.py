"""How a tolerance may be written: its law, and a half width by the rule of the value it belongs to."""

from collections.abc import Iterable
from typing import Annotated, Any, Literal

from pydantic import Field, PlainValidator, ValidationInfo, field_validator, model_validator

from optimize import units
from optimize.study.faults import refusal, shown
from optimize.study.model import Tolerance
from optimize.study.values import Rule, Table, quantity, read


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


Toleranced = Annotated[Tolerance | None, PlainValidator(read_tolerance)]
