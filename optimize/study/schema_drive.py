"""[blower], [engine] and [net_gain] as written: what presses the charge through the core, and what that is worth."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import Field, PlainValidator, ValidationInfo, field_validator
from pydantic_core import PydanticCustomError

from optimize.study.faults import MOST_FAULTS, did_you_mean, refusal, refusals, shown
from optimize.study.model_system import Blower, Engine, NetGain, Rows
from optimize.study.values import Rule, Table, optional_quantity, pairs, quantity, read

if TYPE_CHECKING:
    from physics.blower import Curve

EFFICIENCY = Rule("fraction", above=0.0, at_most=1.0)
FILLING = Rule("fraction", above=0.0, at_most=1.3)  # a tuned intake fills an engine beyond its displacement
RATIO, SPEED = Rule("number", at_least=1.0), Rule("rotation", above=0.0)
# Engine power per charge flow: 1/(air/fuel 12.5 x 288 g/kWh) = 1000 kJ/kg; a rich full load, from memory.
POWER_PER_AIR = 1e6
BARE = ("passages", "turn_loss", "lid_loss", "plenum_loss")  # variables without a unit


def table_over(x: Rule, y: Rule, noun: str, example: str) -> Callable[[object], Rows | None]:
    """Reader of one value, or of rows (x, value)."""

    def read_table(raw: object) -> Rows | None:
        if not isinstance(raw, list):
            return None if raw is None else ((x.at_least or 0.0, read(raw, y)),)
        return pairs(raw, noun, example, 1, (lambda item: read(item, x), lambda item: read(item, y)))

    return read_table


_over_ratio = table_over(RATIO, EFFICIENCY, "pressure ratio and efficiency", "[[1.0, '96 %'], [1.8, '88 %']]")
_over_speed = table_over(SPEED, FILLING, "speed and efficiency", "[['2000 rpm', '88 %'], ['6000 rpm', '93 %']]")


class BuiltInTable(Table):
    """[blower.isentropic_efficiency]: a machine that compresses within, then at constant volume."""

    built_in_pressure_ratio: Annotated[float, quantity("number", at_least=1.0)]
    internal_efficiency: Annotated[float, quantity("fraction", above=0.0, at_most=1.0)]

    def typed(self) -> Rows:
        from physics.blower import isentropic_curve

        return rows_of(isentropic_curve(self.built_in_pressure_ratio, self.internal_efficiency))


class LeakageTable(Table):
    """[blower.leakage]: a dry machine by its leakage and its friction, at its usual speed."""

    area: Annotated[float, quantity("small area", above=0.0)]
    torque: Annotated[float, quantity("torque", at_least=0.0)]
    speed: Annotated[float, quantity("rotation", above=0.0)]


def rows_of(curve: "Curve") -> Rows:
    """A curve of the physics as rows."""
    return tuple((float(x), float(y)) for x, y in zip(curve.x, curve.y, strict=True))


def _isentropic(raw: object) -> Rows | None:
    if raw is None:
        return None
    return BuiltInTable.model_validate(raw).typed() if isinstance(raw, dict) else _over_ratio(raw)


class BlowerTable(Table):
    """[blower]"""

    displacement: Annotated[float, quantity("volume", above=0.0)]
    drive_ratio: Annotated[float | None, optional_quantity("number", above=0.0)] = None
    leakage: LeakageTable | None = None
    volumetric_efficiency: Annotated[Rows | None, PlainValidator(_over_ratio)] = Field(None, validate_default=True)
    isentropic_efficiency: Annotated[Rows | None, PlainValidator(_isentropic)] = Field(None, validate_default=True)
    mechanical_efficiency: Annotated[float, quantity("fraction", above=0.0, at_most=1.0)]
    inlet_loss: Annotated[float, quantity("pressure", at_least=0.0, below=50e3)] = 0.0

    @field_validator("volumetric_efficiency", "isentropic_efficiency")
    @classmethod
    def _one_way(cls, rows: Rows | None, info: ValidationInfo[Any]) -> Rows | None:
        if "leakage" not in info.data or (info.data["leakage"] is None) == (rows is not None):
            return rows
        if rows is None:
            raise refusal(f"missing key '{info.field_name}'", "add it, or [blower.leakage] instead of both", "key")
        raise refusal("[blower.leakage] gives it already", "keep one of the two")

    def typed(self, T1: float, p1: float) -> Blower:
        """ValueError where the leakage is all the blower sweeps; T1 [K], p1 [Pa] of the air outside."""
        volumetric, isentropic = self.volumetric_efficiency, self.isentropic_efficiency
        if self.leakage is not None:
            from physics.blower import leakage

            leak = self.leakage
            p_inlet = p1 - self.inlet_loss
            curves = leakage(self.displacement, leak.area, leak.torque, leak.speed, p_inlet, T1)
            volumetric, isentropic = (rows_of(curve) for curve in curves)
        assert volumetric is not None
        assert isentropic is not None
        return Blower(self.displacement, self.drive_ratio, volumetric, isentropic, self.mechanical_efficiency,
                      self.inlet_loss)


class EngineTable(Table):
    """[engine]: of four strokes."""

    displacement: Annotated[float, quantity("volume", above=0.0)]
    volumetric_efficiency: Annotated[Rows, PlainValidator(_over_speed)]

    def typed(self) -> Engine:
        return Engine(self.displacement, self.volumetric_efficiency)


def _reference(raw: object, info: ValidationInfo[Any]) -> dict[str, str]:
    """Variables by name, as they are typed behind --core; numbers are read by the command that types cores."""
    if not isinstance(raw, dict):
        raise refusal(f"expected a table, got {shown(raw)}", "write { thickness = '60 mm', passages = 9, ... }")
    found: list[tuple[int | str, PydanticCustomError]] = []
    core: dict[str, str] = {}
    for key, value in raw.items():
        try:
            core[key] = _typed_value(key, value, info.context)
        except PydanticCustomError as error:
            found.append((key, error))
    if found:
        raise refusals(found[:MOST_FAULTS])
    return core


def _typed_value(key: str, value: object, known: Any) -> str:
    """A name of the catalogues, a bare number where the variable is one, else text with a unit."""
    if key not in known.variables:
        raise refusal(f"unknown variable {shown(key)}", did_you_mean(key, known.variables), "key")
    if key in BARE and isinstance(value, (int, float)) and not isinstance(value, bool):
        return str(value)
    choices = known.variables[key]
    if not isinstance(value, str):
        expected, do = ("a number", "write it without quotes") if key in BARE else ("text", "write it in quotes")
        raise refusal(f"expected {expected}, got {shown(value)}", do)
    if choices is not None and value not in choices:
        raise refusal(f"unknown {key} {shown(value)}", did_you_mean(value, choices))
    return value


class NetGainTable(Table):
    """[net_gain]"""

    reference: Annotated[dict[str, str], PlainValidator(_reference)]
    power_per_air: Annotated[float, quantity("specific work", above=0.0)] = POWER_PER_AIR
    power_per_kelvin: Annotated[float, quantity("fraction", at_least=0.0, below=0.1)] = 0.0

    def typed(self) -> NetGain:
        return NetGain(dict(self.reference), self.power_per_air, self.power_per_kelvin)
