"""A study as the program works with it: frozen, typed, SI; only `load` makes one from a file."""

from dataclasses import dataclass, field

from optimize.study.corrections import FittedModel
from optimize.study.model_system import Blower, Engine, LineType, Loop, NetGain, Soak

LARGEST_BLOCKAGE = 0.9  # of a free-flow area: beyond it there is no passage to speak of


@dataclass(frozen=True)
class Tolerance:
    """Scatter of one value about its nominal.

    `law` is "normal", "uniform", "triangular" (peak at the nominal) or "measured". `below` and `above`, >= 0, say how
    far the law reaches to either side: fractions of the nominal if `relative`, else in the value's SI unit. `sigmas`
    standard deviations fill each side of a "normal" law, None for the others; `bounded`: what lies beyond is sorted
    out. A "measured" law draws one of its `deviations` from the nominal [SI]. `tighten_cost`: what halving it costs,
    in the user's own measure.
    """

    law: str
    below: float
    above: float
    sigmas: float | None
    relative: bool
    bounded: bool = False
    deviations: tuple[float, ...] = ()
    tighten_cost: float = 1.0


@dataclass(frozen=True)
class Variable:
    """One thing a core is made of: fixed (one value), discrete (several) or continuous (`low` to `high`, no values).

    Numbers are SI; `core.passes` and catalogue choices hold texts. `ends`: of a range taken in steps, as written; the
    last step may fall short of the second.
    """

    name: str
    values: tuple[float, ...] | tuple[str, ...]
    low: float | None = None
    high: float | None = None
    tolerance: Tolerance | None = None
    ends: tuple[float, float] | None = None

    @property
    def is_continuous(self) -> bool:
        return not self.values

    @property
    def is_fixed(self) -> bool:
        return len(self.values) == 1

    @property
    def size(self) -> int | None:
        """Number of values; None if continuous."""
        return len(self.values) or None

    @property
    def numbers(self) -> tuple[float, ...]:
        """The values of a numeric variable, or the ends of a continuous one; empty for texts."""
        if self.low is not None and self.high is not None:
            return (self.low, self.high)
        return tuple(value for value in self.values if not isinstance(value, str))


@dataclass(frozen=True)
class DutyPoint:
    """Mass flows [kg/s], temperatures [K], absolute pressures [Pa], speed [rev/s]; None for what is left open.

    The air: flow, temperature and pressure; or flow and manifold pressure; or the engine's speed. The coolant: flow
    and temperature; or the temperature alone; or neither. What is taken from outside (ambient_..., humidity) is the
    point's own or that of [ambient]. `pump_speed` is a share of the pumps' own speed.
    """

    name: str
    weight: float
    air_flow: float | None = None
    air_temperature: float | None = None
    air_pressure: float | None = None
    manifold_pressure: float | None = None
    engine_speed: float | None = None
    coolant_flow: float | None = None
    coolant_temperature: float | None = None
    ambient_temperature: float | None = None
    ambient_pressure: float | None = None
    humidity: float | None = None
    front_air_flow: float | None = None
    pump_speed: float = 1.0
    outside: frozenset[str] = frozenset()  # which of temperature, pressure, humidity are those of [ambient]


@dataclass(frozen=True)
class Coolant:
    """Fluid name; strength as a fraction by `basis` ("volume" or "mass"); both None for water."""

    fluid: str
    strength: float | None
    basis: str | None


@dataclass(frozen=True)
class Envelope:
    """The pocket in the casting [m]; `proud_height` is the room above the flange, under the lid."""

    pocket_length: float
    pocket_width: float
    pocket_depth: float
    proud_height: float


@dataclass(frozen=True)
class FinRoll:
    """One fin or turbulator of a catalogue.

    `values` holds, as the family has them, pitch, spacing, thickness, strip_length, louver_pitch, louver_length,
    wave_length, wave_amplitude, hydraulic_diameter [m], louver_angle [degrees], area_density [1/m], fin_area_ratio.
    `table` holds rows (Re, j, f) of a measured fin; bands are (low, high) as fractions of the value.
    """

    name: str
    family: str
    values: dict[str, float]
    tolerances: dict[str, Tolerance]
    table: tuple[tuple[float, float, float], ...] | None = None
    band_j: tuple[float, float] | None = None
    band_f: tuple[float, float] | None = None


@dataclass(frozen=True)
class PortType:
    """One coolant port: "round" (bore), "D" (radius, open_height) or "slot" (height, width), and line_bore [m]."""

    name: str
    shape: str
    values: dict[str, float]
    tolerances: dict[str, Tolerance]


@dataclass(frozen=True)
class Objective:
    """An output to maximise or minimise, `at` a duty point, "worst" or "mean"; None for outputs of the core.

    `of` the copies of a core, for the robust front: "P95" and the like, "mean" or "worst"; None: as [robust] says.
    """

    output: str
    maximise: bool
    at: str | None
    of: str | None = None


@dataclass(frozen=True)
class Limit:
    """Bounds on an output [SI], `at` a duty point, "worst" or "mean"; None for outputs of the core.

    `of` the copies, for the robust front: a percentile or mean that must keep it; None: every copy counted must.
    """

    output: str
    minimum: float | None
    maximum: float | None
    at: str | None
    of: str | None = None


@dataclass(frozen=True)
class Search:
    """How the front is looked for; `off_grid`: and then moved off the steps of its ranges."""

    method: str = "auto"
    evaluations: int = 50_000
    population: int = 200
    out_of_range: str = "flag"
    off_grid: bool = False


@dataclass(frozen=True)
class Correlation:
    """Spearman's rank correlation between two tolerances, by the names of their columns ("air_fin.spacing")."""

    between: tuple[str, str]
    rank: float


@dataclass(frozen=True)
class Scatter:
    """How many copies of each front core are made (0: none), and how sure every interval is.

    With `narrow_to`, draws are doubled until the interval of the share is that narrow, or `most_draws` are made.
    `nested`: draws of the model, and copies under each, for the cores with a name. `wanted_share` is what the
    tolerance budget is to reach.
    """

    draws: int = 512
    confidence: float = 0.95
    narrow_to: float | None = None
    most_draws: int = 16_384
    nested: tuple[int, int] = (64, 256)
    wanted_share: float = 0.99
    correlations: tuple[Correlation, ...] = ()


@dataclass(frozen=True)
class Robust:
    """The front of the copies: `of` which of them the objectives are (on their bad side), `share` that must meet all.

    `of` is "P95" and the like, "mean" or "worst"; `scatter` "shop" or "shop and run"; `draws` copies of each core
    that may be on it.
    """

    of: str = "P95"
    share: float = 0.99
    draws: int = 4096
    scatter: str = "shop"


@dataclass(frozen=True)
class Study:
    """One question, complete: what varies, what it is asked to do, what it must keep.

    `variables` is keyed "core.thickness", "tanks.port", "material.density", "ducts.lid_loss", and "loop.line" where
    there is a loop. `bands` holds "tank_loss" always and "air_j", "air_f", "coolant_j", "coolant_f" where the study
    overrides the fins' own. `run_tolerances` is keyed "full_power.air_flow" for what a duty point says itself and
    "ambient.temperature" for what all share: scatter from run to run. `robust` None: no robust front. `files` holds
    catalogues, measured tables and traces as read, keyed by their paths from the study's folder.
    """

    path: str
    text: str
    title: str
    about: str
    seed: int
    units: str
    coolant: Coolant
    duty: tuple[DutyPoint, ...]
    envelope: Envelope
    variables: dict[str, Variable]
    header: str
    air_fins: dict[str, FinRoll]
    turbulators: dict[str, FinRoll]
    ports: dict[str, PortType]
    objectives: tuple[Objective, ...]
    limits: tuple[Limit, ...]
    search: Search
    scatter: Scatter
    bands: dict[str, tuple[float, float]]
    files: dict[str, str]
    lines: dict[str, LineType] = field(default_factory=dict)
    loop: Loop | None = None
    blower: Blower | None = None
    engine: Engine | None = None
    net_gain: NetGain | None = None
    soak: Soak | None = None
    run_tolerances: dict[str, Tolerance] = field(default_factory=dict)
    robust: Robust | None = None
    fitted: FittedModel | None = None
