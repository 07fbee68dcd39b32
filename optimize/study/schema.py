"""The study file as written: every key, its kind of value, its bounds, and how keys must agree.

Fields stand in the order in which they are checked against each other; a check is skipped while what it needs is
itself at fault, so that all true faults of a file show at once.
"""

import re
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, PlainValidator, ValidationInfo, field_validator

from optimize import units
from optimize.study.faults import refusal, shown
from optimize.study.goals import LimitTable, ObjectiveTable
from optimize.study.model import Variable
from optimize.study.values import CHECK, Band, Rule, Table, optional_quantity, quantity, read, whole
from optimize.study.variables import choice, varying
from physics.properties import AIR, Fluid

LEAST_PRESSURE = 20e3  # Pa; no charge cooler works so near to vacuum: a gauge pressure was given
MOST_EVALUATIONS = 100_000_000


@dataclass(frozen=True)
class Known:
    """What the rest of the file holds, for the keys that refer to it; None where that could not be read."""

    duties: tuple[str, ...]
    air_fins: tuple[str, ...] | None
    turbulators: tuple[str, ...] | None
    ports: tuple[str, ...] | None
    coolant: Fluid | None


def length(**bounds: float) -> PlainValidator:
    return varying("length", **(bounds or {"above": 0.0}))


Length = Annotated[Variable, length()]
Blockage = Annotated[Variable, varying("fraction", at_least=0.0, below=0.9)]
Fouling = Annotated[Variable, varying("fouling", at_least=0.0)]
Loss = Annotated[Variable, varying("number", at_least=0.0)]
Area = Annotated[Variable, varying("area", above=0.0)]
Conductivity = Annotated[Variable, varying("conductivity", above=0.0)]
FixedLength = Annotated[float, quantity("length", above=0.0)]
AirFins = Annotated[Variable, choice(lambda known: known.air_fins, "an air fin", all_word=True)]
Turbulators = Annotated[Variable, choice(lambda known: known.turbulators, "a turbulator", all_word=True)]
PortNames = Annotated[Variable, choice(lambda known: known.ports, "a port", all_word=True)]
PASSES = ("1", *(f"{n} {how}" for how in ("through the thickness", "side by side") for n in range(2, 7)))
Passes = Annotated[Variable, choice(lambda known: PASSES, "a pass layout", all_word=False)]


class CoolantTable(Table):
    """[coolant]"""

    fluid: Literal["water", "ethylene glycol", "propylene glycol"]
    strength: Annotated[float | None, optional_quantity("fraction", above=0.0, below=1.0)] = Field(
        None, validate_default=True
    )
    basis: Literal["volume", "mass"] | None = Field(None, validate_default=True)

    @field_validator("strength", "basis")
    @classmethod
    def _mixtures_only(cls, value: object, info: ValidationInfo[Any]) -> object:
        fluid = info.data.get("fluid")
        if fluid == "water" and value is not None:
            raise refusal("water has none", "leave it out, or name the glycol")
        if fluid not in (None, "water") and value is None:
            do = "add strength = '50 %'" if info.field_name == "strength" else "say 'volume' or 'mass': they differ"
            raise refusal(f"missing key '{info.field_name}'", do, "key")
        return value


class CataloguesTable(Table):
    """[catalogues]: paths from the folder of the study."""

    air_fins: str
    turbulators: str
    ports: str


def _air_temperature(value: float) -> float:
    low, high = AIR.temperature_range
    return _inside(value, low, high, "temperature", "the air")


def _air_pressure(value: float) -> float:
    if value < LEAST_PRESSURE:
        given = units.show(value, "absolute pressure", "SI")
        what = f"{given} is no absolute pressure of a charge: it is below 20 kPa"
        raise refusal(what, "was a gauge pressure given? add the pressure of the air outside")
    return _inside(value, *AIR.pressure_range, "absolute pressure", "the air")


def _coolant_temperature(value: float, info: ValidationInfo[Any]) -> float:
    fluid = info.context.coolant
    if fluid is None:
        return value
    low, high = fluid.temperature_range
    return _inside(value, low, high, "temperature", fluid.name)


def _inside(value: float, low: float, high: float, kind: str, fluid: str) -> float:
    if not low <= value <= high:
        span = f"{units.show(low, kind, 'SI', 6)} to {units.show(high, kind, 'SI', 6)}"
        given = units.show(value, kind, "SI", 6)
        raise refusal(f"{given} is outside the known properties of {fluid}", f"stay within {span}")
    return value


def _coolant_flow(raw: object) -> tuple[float, str]:
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


class DutyTable(Table):
    """[duty.NAME]"""

    weight: Annotated[float, quantity("number", at_least=0.0)] = 1.0
    air_flow: Annotated[float, quantity("mass flow", above=0.0)]
    air_temperature: Annotated[float, quantity("temperature"), AfterValidator(_air_temperature)]
    air_pressure: Annotated[float, quantity("absolute pressure", above=0.0), AfterValidator(_air_pressure)]
    coolant_flow: Annotated[tuple[float, str], PlainValidator(_coolant_flow)]
    coolant_temperature: Annotated[float, quantity("temperature"), AfterValidator(_coolant_temperature)]


def _duty_name(name: str) -> str:
    if not re.fullmatch(r"[a-z][a-z0-9_]{0,39}", name) or name in ("worst", "mean"):
        raise refusal("this cannot be the name of a duty point",
                      "use small letters, digits and '_', up to 40; not 'worst' or 'mean'")
    return name


class EnvelopeTable(Table):
    """[envelope]"""

    pocket_length: FixedLength
    pocket_width: FixedLength
    pocket_depth: FixedLength
    proud_height: Annotated[float, quantity("length", at_least=0.0)]


def _between_bars(bar: Variable, info: ValidationInfo[Any]) -> Variable:
    """The widest core must leave room between its narrowest bars: length for the air, thickness for the coolant."""
    key = "length" if info.field_name == "air_bar_width" else "thickness"
    core = info.data.get(key)
    if core is not None and max(core.numbers) <= 2.0 * min(bar.numbers):
        raise refusal(f"two bars leave no room in a {key} of {units.show(max(core.numbers), 'length', 'SI')}",
                      "check the units of both")
    return bar


class CoreTable(Table):
    """[core]"""

    length: Length
    thickness: Length
    passages: Annotated[Variable, varying("whole", at_least=1, at_most=1000)]
    passes: Passes
    air_fin: AirFins
    turbulator: Turbulators
    plate_thickness: Length
    side_plate_thickness: Length
    air_bar_width: Annotated[Variable, length(), AfterValidator(_between_bars)]
    coolant_bar_width: Annotated[Variable, length(), AfterValidator(_between_bars)]
    divider_width: Length
    air_blockage: Blockage
    coolant_blockage: Blockage
    air_fouling: Fouling
    coolant_fouling: Fouling


class TanksTable(Table):
    """[tanks]"""

    length: Length
    wall: Length
    seal_land: Annotated[Variable, length(at_least=0.0)]
    port: PortNames
    header: Literal["centre", "same end", "opposite ends"]
    turn_loss: Loss


class MaterialTable(Table):
    """[material]"""

    fin_conductivity: Conductivity
    plate_conductivity: Conductivity
    density: Annotated[Variable, varying("density", above=0.0)]


class DuctsTable(Table):
    """[ducts]"""

    lid_loss: Loss
    lid_area: Area
    plenum_loss: Loss
    plenum_area: Area


class SearchTable(Table):
    """[search]"""

    method: Literal["auto", "sweep", "evolve"] = "auto"
    population: Annotated[int, whole(4, 100_000)] = 200
    evaluations: Annotated[int, whole(1, MOST_EVALUATIONS)] = 50_000
    out_of_range: Literal["flag", "refuse"] = "flag"

    @field_validator("evaluations")
    @classmethod
    def _one_generation(cls, evaluations: int, info: ValidationInfo[Any]) -> int:
        if evaluations < info.data.get("population", 0):
            raise refusal(f"fewer than one population of {info.data['population']}", "raise it")
        return evaluations


def _power_of_two(draws: int) -> int:
    if draws & (draws - 1):
        near = 1 << draws.bit_length() - 1
        raise refusal(f"must be 0 or a power of two, got {draws}", f"{near} or {2 * near}")
    return draws


class ScatterTable(Table):
    """[scatter]"""

    draws: Annotated[int, whole(0, 1 << 20), AfterValidator(_power_of_two)] = 512
    confidence: Annotated[float, quantity("number", above=0.0, below=1.0)] = 0.95


class ModelTable(Table):
    """[model]: published bands overridden."""

    air_j: Band | None = None
    air_f: Band | None = None
    coolant_j: Band | None = None
    coolant_f: Band | None = None
    tank_loss: Band = (-0.25, 0.25)


def _title(title: str) -> str:
    if not title.strip() or len(title) > 200:
        raise refusal("expected a title of 1 to 200 letters", "name the study")
    return title


def _weighted(duty: dict[str, DutyTable]) -> dict[str, DutyTable]:
    if not duty:
        raise refusal("no duty point", "add a table such as [duty.full_power]")
    if not sum(point.weight for point in duty.values()) > 0.0:
        raise refusal("the weights of the duty points sum to zero", "give one of them a weight above zero")
    return duty


class StudyFile(Table):
    """The whole file."""

    title: Annotated[str, AfterValidator(_title)]
    about: str = ""
    seed: Annotated[int, whole(0, 2**63 - 1)]
    units: Literal["SI", "US"]
    coolant: CoolantTable
    catalogues: CataloguesTable
    duty: Annotated[dict[Annotated[str, AfterValidator(_duty_name)], DutyTable], AfterValidator(_weighted)]
    envelope: EnvelopeTable
    core: CoreTable
    tanks: TanksTable
    material: MaterialTable
    ducts: DuctsTable
    objectives: list[ObjectiveTable]
    limits: list[LimitTable] = Field(default_factory=list)
    search: SearchTable = SearchTable()
    scatter: ScatterTable = ScatterTable()
    model: ModelTable = ModelTable()
