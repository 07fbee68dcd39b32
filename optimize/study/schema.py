"""The study file as written: every key, its kind of value, its bounds, and how keys must agree.

Fields stand in the order in which they are checked against each other; a check is skipped while what it needs is
itself at fault, so that all true faults of a file show at once.
"""

import re
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, PlainValidator, ValidationInfo, field_validator
from pydantic_core import PydanticCustomError

from optimize import units
from optimize.study.faults import did_you_mean, refusal, shown
from optimize.study.model import Variable
from optimize.study.values import CHECK, Band, Rule, Table, choice, optional_quantity, quantity, read, varying, whole
from physics.outputs import OUTPUTS
from physics.properties import AIR, Fluid

ASK = "each is a table [[objectives]] with 'maximise' or 'minimise'"
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


def _output_name(raw: object) -> str | None:
    if raw is None:
        return None
    if not isinstance(raw, str):
        raise refusal(f"expected the name of an output, got {shown(raw)}", "write it in quotes")
    if raw not in OUTPUTS:
        raise refusal(f"unknown output {shown(raw)}", did_you_mean(raw, OUTPUTS))
    return raw


OptionalOutput = Annotated[str | None, PlainValidator(_output_name)]


def _checked_at(at: object, output: str | None, duties: tuple[str, ...], words: tuple[str, ...]) -> str | None:
    """The duty point at which an output is taken: needed for outputs of the duty, refused for outputs of the core."""
    if at is not None and not isinstance(at, str):
        raise refusal(f"expected the name of a duty point, got {shown(at)}", "write it in quotes")
    places = (*duties, *words)
    per = OUTPUTS[output].per if output else None
    if per == "core" and at is not None:
        raise refusal(f"'{output}' belongs to the core, not to a duty point", "leave 'at' out")
    if per == "duty" and at is None:
        raise refusal("missing key 'at'", f"say where '{output}' is taken: {', '.join(places)}", "key")
    if at is not None and at not in places:
        raise refusal(f"unknown duty point {shown(at)}", did_you_mean(at, places))
    return at


class ObjectiveTable(Table):
    """[[objectives]]"""

    maximise: OptionalOutput = None
    minimise: OptionalOutput = Field(None, validate_default=True)
    at: Annotated[str | None, PlainValidator(lambda raw: raw)] = Field(None, validate_default=True)

    @field_validator("minimise")
    @classmethod
    def _one_direction(cls, minimise: str | None, info: ValidationInfo[Any]) -> str | None:
        if "maximise" in info.data and (info.data["maximise"] is None) == (minimise is None):
            which = "neither 'maximise' nor" if minimise is None else "both 'maximise' and"
            raise refusal(f"{which} 'minimise'", "give exactly one of the two", "key")
        return minimise

    @field_validator("at")
    @classmethod
    def _at_a_duty_point(cls, at: object, info: ValidationInfo[Any]) -> str | None:
        output = info.data.get("maximise") or info.data.get("minimise")
        return _checked_at(at, output, info.context.duties, ("worst", "mean"))


def _bound(raw: object, info: ValidationInfo[Any]) -> float | None:
    """A limit, in the unit of its output; not looked at while the output is unknown."""
    output = info.data.get("output")
    return None if raw is None or output is None else read(raw, Rule(OUTPUTS[output].kind))


class LimitTable(Table):
    """[[limits]]"""

    output: Annotated[str, PlainValidator(_output_name)]
    min: Annotated[float | None, PlainValidator(_bound)] = None
    max: Annotated[float | None, PlainValidator(_bound)] = Field(None, validate_default=True)
    at: Annotated[str | None, PlainValidator(lambda raw: raw)] = Field(None, validate_default=True)

    @field_validator("max")
    @classmethod
    def _something_to_keep(cls, high: float | None, info: ValidationInfo[Any]) -> float | None:
        if "output" not in info.data or "min" not in info.data:
            return high
        low = info.data["min"]
        if low is None and high is None:
            raise refusal("neither 'min' nor 'max'", "give one of them, or both", "key")
        if low is not None and high is not None and low > high:
            raise refusal("'max' is below 'min': nothing can keep both", "swap the two, or drop one")
        return high

    @field_validator("at")
    @classmethod
    def _at_a_duty_point(cls, at: object, info: ValidationInfo[Any]) -> str | None:
        return _checked_at(at, info.data.get("output"), info.context.duties, ("worst",))


class SearchTable(Table):
    """[search]"""

    method: Literal["auto", "sweep", "evolve"] = "auto"
    population: Annotated[int, whole(4, 100_000)] = 200
    evaluations: Annotated[int, whole(1, MOST_EVALUATIONS)] = 20_000
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


def list_faults(raw: dict[str, Any]) -> list[tuple[tuple[str | int, ...], PydanticCustomError]]:
    """What is wrong with the lists of objectives and limits as a whole; read from the file as written, so that
    a fault in one entry does not hide it."""
    found: list[tuple[tuple[str | int, ...], PydanticCustomError]] = []
    objectives, limits = raw.get("objectives"), raw.get("limits")
    if isinstance(objectives, list) and len(objectives) not in (2, 3):
        found.append((("objectives",), refusal(f"expected two or three objectives, got {len(objectives)}", ASK)))
    for key, entries in (("objectives", objectives), ("limits", limits)):
        found += [((key, index), refusal(f"a second entry for '{output}'{f' at {at!r}' if at else ''}", do))
                  for index, output, at, do in _repeated(key, entries)]
    return found


def _repeated(key: str, entries: object) -> list[tuple[int, str, str | None, str]]:
    do = "keep one, with both 'min' and 'max' if need be" if key == "limits" else "keep one"
    seen: set[tuple[str, str | None]] = set()
    found = []
    for index, entry in enumerate(entries if isinstance(entries, list) else []):
        words = [entry.get(k) for k in ("output", "maximise", "minimise")] if isinstance(entry, dict) else []
        output = next((word for word in words if isinstance(word, str) and word in OUTPUTS), None)
        at = entry.get("at") if output else None
        if output is None or not (at is None or isinstance(at, str)):
            continue
        if (output, at) in seen:
            found.append((index, output, at, do))
        seen.add((output, at))
    return found
