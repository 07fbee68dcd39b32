"""[loop] as written: pumps, sections of line, front exchanger, reservoir."""

from itertools import pairwise
from typing import Annotated, Any

from pydantic import AfterValidator, Field, PlainValidator, ValidationInfo, field_validator

from optimize import units
from optimize.study.faults import did_you_mean, refusal, shown
from optimize.study.model import Variable
from optimize.study.model_system import FrontExchanger, Loop, PumpCurve, Reservoir, Section
from optimize.study.schema_duty import coolant_temperature
from optimize.study.values import Rule, Table, optional_quantity, pairs, quantity, read
from optimize.study.variables import choice
from physics.pipes import COEFFICIENTS, FITTINGS
from physics.reservoir import ICE_HEAT, LATENT_HEAT, MELTING

GRAVITY = 9.80665  # m/s2, by definition
WATER_DENSITY = 998.2  # kg/m3 at 20 degC: what a pump is measured with unless said otherwise
WATER_HEAT = 4.2e3  # J/(kg K), handbook value
FLOW, HEAD, PRESSURE = Rule("volume flow", at_least=0.0), Rule("head", at_least=0.0), Rule("pressure", at_least=0.0)

Point = tuple[float, float, str]  # flow [m3/s], head [m] or pressure [Pa], which of the two
OneLength = Annotated[float, quantity("length", at_least=0.0)]


def _head(raw: object) -> tuple[float, str]:
    if not isinstance(raw, str):
        return read(raw, HEAD), "head"
    try:
        _, kind = units.parse_one_of(raw, ("head", "pressure"))
    except units.UnitError as error:
        raise refusal(error.what, error.do) from None
    return read(raw, HEAD if kind == "head" else PRESSURE), kind


def _curve(raw: object) -> tuple[Point, ...]:
    example = "[['0 L/min', '9.5 m'], ['60 L/min', '4 m']]"
    rows = pairs(raw, "flow and head", example, 2, (lambda flow: read(flow, FLOW), _head))
    points = tuple((flow, *head) for flow, head in rows)
    if len({kind for _, _, kind in points}) == 2:
        raise refusal("heads and pressures in one curve", "write all in metres, or all in kPa")
    if points[0][0] != 0.0:
        raise refusal("the curve does not start at zero flow", "add the head against a closed valve: ['0 L/min', ...]")
    if points[0][1] == 0.0:
        raise refusal("the pump gives no head at zero flow", "check the first row")
    if any(b[1] > a[1] for a, b in pairwise(points)):
        raise refusal("the curve rises with flow", "give a curve that falls, or stays level")
    return points


class PumpTable(Table):
    """[loop.pump], [loop.second_pump]"""

    curve: Annotated[tuple[Point, ...], PlainValidator(_curve)]
    curve_density: Annotated[float | None, optional_quantity("density", above=0.0)] = Field(None, validate_default=True)
    speed: Annotated[float | None, optional_quantity("fraction", above=0.0)] = None
    voltage: Annotated[float | None, optional_quantity("voltage", above=0.0)] = Field(None, validate_default=True)
    curve_voltage: Annotated[float | None, optional_quantity("voltage", above=0.0)] = Field(None, validate_default=True)

    @field_validator("curve_density")
    @classmethod
    def _with_pressures(cls, density: float | None, info: ValidationInfo[Any]) -> float | None:
        if density is not None and "curve" in info.data and info.data["curve"][0][2] == "head":
            raise refusal("a curve in metres of head is the same for every fluid", "leave it out")
        return density

    @field_validator("voltage")
    @classmethod
    def _one_speed(cls, voltage: float | None, info: ValidationInfo[Any]) -> float | None:
        if voltage is not None and info.data.get("speed") is not None:
            raise refusal("both speed and voltage", "keep one: the voltage makes the speed", "key")
        return voltage

    @field_validator("curve_voltage")
    @classmethod
    def _both_voltages(cls, curve_voltage: float | None, info: ValidationInfo[Any]) -> float | None:
        if "voltage" not in info.data or (info.data["voltage"] is None) == (curve_voltage is None):
            return curve_voltage
        if curve_voltage is None:
            raise refusal("missing key 'curve_voltage'", "add it: the voltage the curve was measured at", "key")
        raise refusal("'curve_voltage' without 'voltage'", "add the voltage the pump runs at, or leave both out", "key")

    def typed(self) -> PumpCurve:
        weight = (self.curve_density or WATER_DENSITY) * GRAVITY
        heads = tuple(value if kind == "head" else value / weight for _, value, kind in self.curve)
        by_voltage = self.voltage / self.curve_voltage if self.voltage and self.curve_voltage else 1.0
        return PumpCurve(tuple(flow for flow, _, _ in self.curve), heads, self.speed or by_voltage)


def _line(raw: object, info: ValidationInfo[Any]) -> str | None:
    if raw is None:
        return None
    if not isinstance(raw, str):
        raise refusal(f"expected a line, got {shown(raw)}", "write its name in quotes")
    if info.context.lines is not None and raw not in info.context.lines:
        raise refusal(f"unknown line {shown(raw)}", did_you_mean(raw, info.context.lines))
    return raw


def _fitting(kind: str) -> str:
    known = (*FITTINGS, *COEFFICIENTS)
    if kind not in known:
        raise refusal(f"unknown fitting {shown(kind)}", did_you_mean(kind, known), "key")
    return kind


Fittings = dict[Annotated[str, AfterValidator(_fitting)], Annotated[float, quantity("whole", at_least=1, at_most=1000)]]


class SectionTable(Table):
    """[[loop.sections]]"""

    name: str
    length: OneLength
    line: Annotated[str | None, PlainValidator(_line)] = None
    fittings: Fittings = Field(default_factory=dict)

    def typed(self) -> Section:
        return Section(self.name, self.length, self.line, dict(self.fittings))


def _losses(raw: object) -> tuple[tuple[float, float], ...]:
    flow, loss = Rule("volume flow", above=0.0), Rule("pressure", above=0.0)
    example = "[['20 L/min', '3 kPa'], ['50 L/min', '18 kPa']]"
    rows = pairs(raw, "flow and loss", example, 2, (lambda item: read(item, flow), lambda item: read(item, loss)))
    if any(b[1] <= a[1] for a, b in pairwise(rows)):
        raise refusal("the loss does not rise with flow", "check the rows")
    return rows


class FrontExchangerTable(Table):
    """[loop.front_exchanger]"""

    loss: Annotated[tuple[tuple[float, float], ...], PlainValidator(_losses)]
    effectiveness: Annotated[float | None, optional_quantity("fraction", above=0.0, below=1.0)] = None
    UA: Annotated[float | None, optional_quantity("conductance", above=0.0)] = Field(None, validate_default=True)
    volume: Annotated[float, quantity("volume", at_least=0.0)] = 0.0
    metal: Annotated[float, quantity("mass", at_least=0.0)] = 0.0

    @field_validator("UA")
    @classmethod
    def _one_of_the_two(cls, UA: float | None, info: ValidationInfo[Any]) -> float | None:
        if "effectiveness" in info.data and (info.data["effectiveness"] is None) == (UA is None):
            which = "neither effectiveness nor UA" if UA is None else "both effectiveness and UA"
            raise refusal(which, "give one of them: effectiveness = '52 %' or UA = '950 W/K'", "key")
        return UA

    def typed(self) -> FrontExchanger:
        flow, loss = zip(*self.loss, strict=True)
        return FrontExchanger(flow, loss, self.effectiveness, self.UA, self.volume, self.metal)


def _liquid(value: float, info: ValidationInfo[Any]) -> float:
    fluid = info.context.coolant
    freezing = getattr(fluid, "freezing_point", None)
    if freezing is not None and value <= freezing:
        given, point = (units.show(T, "temperature", "SI") for T in (value, freezing))
        raise refusal(f"{given}: {fluid.name} freezes at {point}", "start warmer, or strengthen the mixture")
    coolant_temperature(value, info)
    return value


class ReservoirTable(Table):
    """[loop.reservoir]"""

    volume: Annotated[float, quantity("volume", above=0.0)]
    start_temperature: Annotated[float, quantity("temperature"), AfterValidator(_liquid)]
    ice: Annotated[float | None, optional_quantity("mass", above=0.0)] = None
    ice_temperature: Annotated[float | None, optional_quantity("temperature")] = None

    @field_validator("ice")
    @classmethod
    def _water_only(cls, ice: float | None, info: ValidationInfo[Any]) -> float | None:
        fluid = info.context.coolant
        if ice is not None and fluid is not None and fluid.name != "water":
            raise refusal(f"ice in {fluid.name}", "ice needs fluid = 'water': melting, it would thin a glycol")
        return ice

    @field_validator("ice_temperature")
    @classmethod
    def _frozen(cls, temperature: float | None, info: ValidationInfo[Any]) -> float | None:
        if temperature is None:
            return None
        if temperature > MELTING:
            given = units.show(temperature, "temperature", "SI")
            raise refusal(f"ice at {given} has melted", "give 0 degC or less; -8 degC is below freezing")
        if "ice" in info.data and info.data["ice"] is None:
            raise refusal("no ice to have it", "add ice = '4 kg', or leave it out")
        cls._leaves_water(temperature, info.data)
        return temperature

    @classmethod
    def _leaves_water(cls, ice_temperature: float, told: dict[str, Any]) -> None:
        """Refuse ice that would freeze all the water it is put in."""
        if told.get("ice") is None or not {"volume", "start_temperature"} <= told.keys():
            return
        warmth = LATENT_HEAT + WATER_HEAT * max(told["start_temperature"] - MELTING, 0.0)
        if told["ice"] * ICE_HEAT * (MELTING - ice_temperature) >= told["volume"] * WATER_DENSITY * warmth:
            given = units.show(ice_temperature, "temperature", "SI")
            raise refusal(f"ice at {given} would freeze all the water", "less ice, warmer ice or a larger volume")

    def typed(self) -> Reservoir:
        cold = MELTING if self.ice_temperature is None else self.ice_temperature
        return Reservoir(self.volume, self.start_temperature, self.ice or 0.0, cold)


def _some(sections: list[SectionTable]) -> list[SectionTable]:
    if not sections:
        raise refusal("no section of line", "add one: [[loop.sections]] with name, length and fittings")
    return sections


Lines = Annotated[Variable, choice(lambda known: known.lines, "a line", all_word=True)]


class LoopTable(Table):
    """[loop]"""

    line: Lines
    cap_pressure: Annotated[float | None, optional_quantity("pressure", at_least=0.0)] = None
    opening_pressure: Annotated[float, quantity("pressure", at_least=0.0)] = 0.0
    pump: PumpTable
    second_pump: PumpTable | None = None
    sections: Annotated[list[SectionTable], AfterValidator(_some)]
    front_exchanger: FrontExchangerTable | None = None
    reservoir: ReservoirTable | None = None

    def typed(self) -> Loop:
        front, reservoir = self.front_exchanger, self.reservoir
        return Loop(
            pumps=tuple(pump.typed() for pump in (self.pump, self.second_pump) if pump is not None),
            sections=tuple(section.typed() for section in self.sections),
            front_exchanger=front.typed() if front is not None else None,
            reservoir=reservoir.typed() if reservoir is not None else None,
            cap_pressure=self.cap_pressure, opening_pressure=self.opening_pressure,
        )  # fmt: skip
