"""Duty points and the air outside, as written; which keys of a point go together is told by `agreement`."""

import re
from typing import Annotated, Any

from pydantic import AfterValidator, PlainValidator, ValidationInfo

from optimize import units
from optimize.study.faults import refusal, shown
from optimize.study.values import CHECK, Rule, Table, optional_quantity, quantity, read
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


def air_pressure(value: float | None) -> float | None:
    """Validator: an absolute pressure at which air is known."""
    if value is None:
        return None
    if value < LEAST_PRESSURE:
        given = units.show(value, "absolute pressure", "SI")
        what = f"{given} is no absolute pressure of a charge: it is below 20 kPa"
        raise refusal(what, "was a gauge pressure given? add the pressure of the air outside")
    return inside(value, *AIR.pressure_range, "absolute pressure", "the air")


def outside_pressure(value: float | None) -> float | None:
    """Validator: an absolute pressure of the air outside, from the sea to the highest passes."""
    low, high = OUTSIDE
    if value is not None and not low <= value <= high:
        given = units.show(value, "absolute pressure", "SI")
        raise refusal(f"{given} is no pressure of the air outside", "give it absolute: about 101 kPa at the sea")
    return value


def coolant_temperature(value: float | None, info: ValidationInfo[Any]) -> float | None:
    """Validator: a temperature at which the study's coolant is known."""
    fluid = info.context.coolant
    if fluid is None or value is None:
        return value
    low, high = fluid.temperature_range
    return inside(value, low, high, "temperature", fluid.name)


def _coolant_flow(raw: object) -> tuple[float, str] | None:
    """Value and kind: a mass flow, or a volume flow at the coolant's inlet temperature."""
    if raw is None:
        return None
    if not isinstance(raw, str):
        read(raw, Rule("volume flow"))
    try:
        value, kind = units.parse_one_of(str(raw), ("volume flow", "mass flow"))
    except units.UnitError as error:
        raise refusal(error.what, error.do) from None
    if value <= 0.0:
        raise refusal(f"must be above zero, got {shown(raw)}", CHECK)
    return value, kind


AirTemperature = Annotated[float | None, optional_quantity("temperature"), AfterValidator(air_temperature)]
AirPressure = Annotated[float | None, optional_quantity("absolute pressure", above=0.0), AfterValidator(air_pressure)]
CoolantTemperature = Annotated[float | None, optional_quantity("temperature"), AfterValidator(coolant_temperature)]
Humidity = Annotated[float | None, optional_quantity("fraction", at_least=0.0, at_most=1.0)]
FrontAirFlow = Annotated[float | None, optional_quantity("mass flow", above=0.0)]


class AmbientTable(Table):
    """[ambient]: the air outside."""

    temperature: Annotated[float, quantity("temperature"), AfterValidator(air_temperature)]
    pressure: Annotated[float, quantity("absolute pressure"), AfterValidator(outside_pressure)]
    humidity: Humidity = None


class DutyTable(Table):
    """[duty.NAME]"""

    weight: Annotated[float, quantity("number", at_least=0.0)] = 1.0
    air_flow: Annotated[float | None, optional_quantity("mass flow", above=0.0)] = None
    air_temperature: AirTemperature = None
    air_pressure: AirPressure = None
    manifold_pressure: AirPressure = None
    engine_speed: Annotated[float | None, optional_quantity("rotation", above=0.0)] = None
    coolant_flow: Annotated[tuple[float, str] | None, PlainValidator(_coolant_flow)] = None
    coolant_temperature: CoolantTemperature = None
    ambient_temperature: AirTemperature = None
    ambient_pressure: Annotated[
        float | None, optional_quantity("absolute pressure"), AfterValidator(outside_pressure)
    ] = None
    humidity: Humidity = None
    front_air_flow: FrontAirFlow = None
    pump_speed: Annotated[float, quantity("fraction", above=0.0)] = 1.0


def _duty_name(name: str) -> str:
    if not re.fullmatch(r"[a-z][a-z0-9_]{0,39}", name) or name in ("worst", "mean"):
        raise refusal("this cannot be the name of a duty point",
                      "use small letters, digits and '_', up to 40; not 'worst' or 'mean'")
    return name


def _weighted(duty: dict[str, DutyTable]) -> dict[str, DutyTable]:
    if not duty:
        raise refusal("no duty point", "add a table such as [duty.full_power]")
    if not sum(point.weight for point in duty.values()) > 0.0:
        raise refusal("the weights of the duty points sum to zero", "give one of them a weight above zero")
    return duty


DutyPoints = Annotated[dict[Annotated[str, AfterValidator(_duty_name)], DutyTable], AfterValidator(_weighted)]
