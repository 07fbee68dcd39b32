"""Duty points as the program works with them, and how they scatter from run to run, from what the file says."""

from dataclasses import replace

from optimize.study.model import DutyPoint, Tolerance
from optimize.study.schema_duty import AmbientTable, DutyTable, Said
from physics.fluid import Fluid

ATMOSPHERE = 101_325.0  # Pa; the density of a liquid does not ask for it
_OUTSIDE = {"ambient_temperature": "temperature", "ambient_pressure": "pressure", "humidity": "humidity"}


def duty_point(name: str, table: DutyTable, ambient: AmbientTable | None, fluid: Fluid) -> DutyPoint:
    """A duty point in SI, with the air outside that it shares with others."""
    own = {key: quantity.value for key, quantity in table if isinstance(quantity, Said)}
    if table.coolant_flow is not None:
        own["coolant_flow"] *= _per_flow(table, fluid)
    return DutyPoint(
        name=name, weight=table.weight, **{**own, **outside(table, ambient)},
        outside=frozenset(word for key, word in _OUTSIDE.items() if ambient is not None and key not in own),
    )


def outside(table: DutyTable, ambient: AmbientTable | None) -> dict[str, float]:
    """Temperature, pressure and humidity outside, as far as given: the duty point's own, or those of [ambient]."""
    shared = {f"ambient_{key}" if key != "humidity" else key: quantity for key, quantity in ambient or ()}
    said = {key: getattr(table, key) or shared.get(key) for key in _OUTSIDE}
    return {key: quantity.value for key, quantity in said.items() if quantity is not None}


def run_tolerances(
    points: dict[str, DutyTable], ambient: AmbientTable | None, fluid: Fluid
) -> dict[str, Tolerance]:
    """Tolerances by "full_power.air_flow" and "ambient.temperature", in the units of `DutyPoint`."""
    tables = {**points, "ambient": ambient}
    found = {
        f"{place}.{key}": quantity.tolerance
        for place, table in tables.items()
        for key, quantity in table or ()
        if isinstance(quantity, Said) and quantity.tolerance is not None
    }
    for name, table in points.items():
        if (key := f"{name}.coolant_flow") in found and not found[key].relative:
            found[key] = _scaled(found[key], _per_flow(table, fluid))
    return found


def _per_flow(table: DutyTable, fluid: Fluid) -> float:
    """Mass flow per coolant flow as given: the density at the inlet temperature for a volume flow."""
    if table.coolant_flow is None or table.coolant_flow.kind != "volume flow" or table.coolant_temperature is None:
        return 1.0
    return float(fluid.density(table.coolant_temperature.value, ATMOSPHERE))


def _scaled(tolerance: Tolerance, factor: float) -> Tolerance:
    return replace(
        tolerance, below=factor * tolerance.below, above=factor * tolerance.above,
        deviations=tuple(factor * deviation for deviation in tolerance.deviations),
    )
