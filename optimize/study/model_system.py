"""What stands around the core in a study, as the program works with it: frozen, typed, SI."""

from dataclasses import dataclass

Rows = tuple[tuple[float, float], ...]  # a table of (x, value), x rising; one row is a constant


@dataclass(frozen=True)
class LineType:
    """One coolant line of a catalogue: bore and roughness [m]."""

    name: str
    bore: float
    roughness: float


@dataclass(frozen=True)
class PumpCurve:
    """Volume flow [m3/s] from 0, head [m] not rising, and the share of that curve's speed at which the pump runs."""

    flow: tuple[float, ...]
    head: tuple[float, ...]
    speed: float


@dataclass(frozen=True)
class Section:
    """A length of line [m] with counts of fittings; `line` None for the line the study chooses."""

    name: str
    length: float
    line: str | None
    fittings: dict[str, float]


@dataclass(frozen=True)
class FrontExchanger:
    """Loss [Pa] over coolant volume flow [m3/s]; effectiveness or UA [W/K]; coolant in it [m3], its metal [kg]."""

    flow: tuple[float, ...]
    loss: tuple[float, ...]
    effectiveness: float | None
    UA: float | None
    volume: float
    metal: float


@dataclass(frozen=True)
class Reservoir:
    """Volume [m3], temperatures [K], ice [kg]."""

    volume: float
    start_temperature: float
    ice: float
    ice_temperature: float


@dataclass(frozen=True)
class Loop:
    """The coolant circuit: pumps in series; `cap_pressure` above ambient and `opening_pressure` [Pa]."""

    pumps: tuple[PumpCurve, ...]
    sections: tuple[Section, ...]
    front_exchanger: FrontExchanger | None
    reservoir: Reservoir | None
    cap_pressure: float | None
    opening_pressure: float


@dataclass(frozen=True)
class Blower:
    """Displacement [m3] a revolution, inlet loss [Pa]; efficiencies over pressure ratio."""

    displacement: float
    drive_ratio: float | None
    volumetric: Rows
    isentropic: Rows
    mechanical: float
    inlet_loss: float


@dataclass(frozen=True)
class Engine:
    """Displacement [m3] of a four-stroke; volumetric efficiency over speed [rev/s]."""

    displacement: float
    volumetric: Rows


@dataclass(frozen=True)
class NetGain:
    """The core gained against, as typed; power per charge flow [J/kg], share of power lost per kelvin [1/K]."""

    reference: dict[str, str]
    power_per_air: float
    power_per_kelvin: float


@dataclass(frozen=True)
class SoakPhase:
    """A pull or a rest of a duty point [s]; flows [kg/s] and speeds other than the duty point's."""

    duty: str
    lasts: float
    pull: bool
    front_air_flow: float | None
    pump_speed: float | None


@dataclass(frozen=True)
class Trace:
    """A recorded run at a duty point: time from its first row [s], engine speed [rev/s], load 0..1."""

    duty: str
    time: tuple[float, ...]
    engine_speed: tuple[float, ...]
    load: tuple[float, ...]


@dataclass(frozen=True)
class Soak:
    """Pulls and rests in order, repeats multiplied out, or a trace; charge limit [K], step [s], difference [K]."""

    limit: float
    schedule: tuple[SoakPhase, ...]
    trace: Trace | None
    step: float
    recovered_within: float
