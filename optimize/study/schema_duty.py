"""Duty points and the air outside, as written; which keys of a point go together is told by `agreement`."""

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Annotated, Any

from pydantic import AfterValidator, PlainValidator, ValidationInfo
from pydantic_core import PydanticCustomError

from optimize import units
from optimize.study.faults import refusal, shown
from optimize.study.model import Tolerance
from optimize.study.tolerances import NARROW, ToleranceTable, reach, width_fault
from optimize.study.values import CHECK, Rule, Table, ValueReading, quantity, read, value_reading
from optimize.study.variables import ValueTable
from physics.properties import AIR

LEAST_PRESSURE = 20e3  # Pa; no charge cooler works so near to vacuum: a gauge pressure was given
OUTSIDE = (45e3, 115e3)  # Pa; 45 kPa at 6300 m in the standard atmosphere


def inside(value: float, low: float, high: float, kind: str, fluid: str) -> float:
    """The value, if the fluid's properties are known there."""
    if not low <= value <= high:
        span = f"{units.show(low, kind, 'SI', 6)} to {units.show(high, kind, 'SI', 6)}"
        given = units.show(value, kind, "SI", 6)
        raise refusal(f"{given} is outside the known properties of {fluid}", f"stay within {span}")
    return value


def air_temperature(value: float | None) -> float | None:
    """Validator: a temperature at which air is known."""
    low, high = AIR.temperature_range
    return None if value is None else inside(value, low, high, "temperature", "the air")


def _air_temperature(value: float, info: ValidationInfo[Any]) -> None:
    air_temperature(value)


def _air_pressure(value: float, info: ValidationInfo[Any]) -> None:
    """Refuses what is no absolute pressure of a charge, or outside what is known of air."""
    if value < LEAST_PRESSURE:
        given = units.show(value, "absolute pressure", "SI")
        what = f"{given} is no absolute pressure of a charge: it is below 20 kPa"
        raise refusal(what, "was a gauge pressure given? add the pressure of the air outside")
    inside(value, *AIR.pressure_range, "absolute pressure", "the air")


def _outside_pressure(value: float, info: ValidationInfo[Any]) -> None:
    """Refuses what is no absolute pressure of the air outside, from the sea to the highest passes."""
    low, high = OUTSIDE
    if not low <= value <= high:
        given = units.show(value, "absolute pressure", "SI")
        raise refusal(f"{given} is no pressure of the air outside", "give it absolute: about 101 kPa at the sea")


def coolant_temperature(value: float | None, info: ValidationInfo[Any]) -> float | None:
    """Validator: a temperature at which the study's coolant is known."""
    fluid = info.context.coolant
    if fluid is None or value is None:
        return value
    low, high = fluid.temperature_range
    return inside(value, low, high, "temperature", fluid.name)


@dataclass(frozen=True)
class Said:
    """What a duty point or [ambient] says of a quantity: value [SI] of a kind of unit, scatter from run to run."""

    value: float
    kind: str
    tolerance: Tolerance | None = None


Check = Callable[[float, ValidationInfo[Any]], object]


def said(kind: str, check: Check = lambda value, info: None, **bounds: float) -> PlainValidator:
    """Validator of a quantity, or of { value, tolerance }; `check` refuses what the bounds let through."""
    rule = Rule(kind, **bounds)

    def read_said(raw: object, info: ValidationInfo[Any]) -> Said:
        reading = replace(value_reading(rule, info), check=lambda value: check(value, info))
        if not isinstance(raw, dict):
            value = read(raw, rule)
            reading.check(value)
            return Said(value, kind)
        table = ValueTable.model_validate(raw, context=reading)
        return _fitting(Said(table.value, kind, table.tolerance), reading)

    return PlainValidator(read_said)


def _fitting(quantity: Said, reading: ValueReading) -> Said:
    """Both ends of the tolerance must be what the value may be."""
    if quantity.tolerance is None:
        return quantity
    value, show = quantity.value, reading.rule.show
    if fault := width_fault(quantity.tolerance, (value,), reading.rule):
        raise refusal(fault, NARROW)
    below, above = reach(quantity.tolerance, value)
    for end in (value - below, value + above):
        try:
            reading.check(end)
        except PydanticCustomError as error:
            what = (error.context or {})["what"]
            raise refusal(f"the tolerance takes {show(value)} to {show(end)}: {what}", NARROW) from None
    return quantity


def _flow(raw: object) -> tuple[float, str]:
    """Value and kind: a mass flow, or a volume flow at the coolant's inlet temperature."""
    if not isinstance(raw, str):
        read(raw, Rule("volume flow"))
    try:
        value, kind = units.parse_one_of(str(raw), ("volume flow", "mass flow"))
    except units.UnitError as error:
        raise refusal(error.what, error.do) from None
    if value <= 0.0:
        raise refusal(f"must be above zero, got {shown(raw)}", CHECK)
    return value, kind


def _flow_tolerance(raw: object, info: ValidationInfo[ValueReading]) -> Tolerance | None:
    """A tolerance in the kind of its flow; not looked at while that is unknown."""
    if "value" not in info.data:
        return None
    rule = Rule(info.data["value"][1], above=0.0)
    return ToleranceTable.model_validate(raw, context=replace(info.context, rule=rule)).typed()


class FlowTable(Table):
    """{ value, tolerance } of a mass flow or a volume flow."""

    value: Annotated[tuple[float, str], PlainValidator(_flow)]
    tolerance: Annotated[Tolerance | None, PlainValidator(_flow_tolerance)] = None


def _coolant_flow(raw: object, info: ValidationInfo[Any]) -> Said:
    if not isinstance(raw, dict):
        return Said(*_flow(raw))
    reading = value_reading(Rule("volume flow", above=0.0), info)
    table = FlowTable.model_validate(raw, context=reading)
    value, kind = table.value
    return _fitting(Said(value, kind, table.tolerance), replace(reading, rule=Rule(kind, above=0.0)))


AirFlow = Annotated[Said | None, said("mass flow", above=0.0)]
AirTemperature = Annotated[Said | None, said("temperature", _air_temperature)]
AirPressure = Annotated[Said | None, said("absolute pressure", _air_pressure, above=0.0)]
CoolantTemperature = Annotated[Said | None, said("temperature", coolant_temperature)]
OutsidePressure = said("absolute pressure", _outside_pressure)
Humidity = Annotated[Said | None, said("fraction", at_least=0.0, at_most=1.0)]


class AmbientTable(Table):
    """[ambient]: the air outside."""

    temperature: Annotated[Said, said("temperature", _air_temperature)]
    pressure: Annotated[Said, OutsidePressure]
    humidity: Humidity = None


class DutyTable(Table):
    """[duty.NAME]"""

    weight: Annotated[float, quantity("number", at_least=0.0)] = 1.0
    air_flow: AirFlow = None
    air_temperature: AirTemperature = None
    air_pressure: AirPressure = None
    manifold_pressure: AirPressure = None
    engine_speed: Annotated[Said | None, said("rotation", above=0.0)] = None
    coolant_flow: Annotated[Said | None, PlainValidator(_coolant_flow)] = None
    coolant_temperature: CoolantTemperature = None
    ambient_temperature: AirTemperature = None
    ambient_pressure: Annotated[Said | None, OutsidePressure] = None
    humidity: Humidity = None
    front_air_flow: AirFlow = None
    pump_speed: Annotated[Said, said("fraction", above=0.0)] = Said(1.0, "fraction")


def _duty_name(name: str) -> str:
    if not re.fullmatch(r"[a-z][a-z0-9_]{0,39}", name) or name in ("worst", "mean", "ambient"):
        raise refusal("this cannot be the name of a duty point",
                      "use small letters, digits and '_', up to 40; not 'worst', 'mean' or 'ambient'")
    return name


def _weighted(duty: dict[str, DutyTable]) -> dict[str, DutyTable]:
    if not duty:
        raise refusal("no duty point", "add a table such as [duty.full_power]")
    if not sum(point.weight for point in duty.values()) > 0.0:
        raise refusal("the weights of the duty points sum to zero", "give one of them a weight above zero")
    return duty


DutyPoints = Annotated[dict[Annotated[str, AfterValidator(_duty_name)], DutyTable], AfterValidator(_weighted)]
