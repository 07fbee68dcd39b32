"""The study file as written: every key, its kind of value, its bounds, and how keys must agree.

Fields stand in the order in which they are checked against each other; a check is skipped while what it needs is
itself at fault, so that all true faults of a file show at once.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, PlainValidator, ValidationInfo, field_validator

from optimize import units
from optimize.study.agreement import has_output_table
from optimize.study.catalogue_entries import FinTolerances, PortTolerances
from optimize.study.faults import refusal, refusals
from optimize.study.goals import LimitTable, ObjectiveTable
from optimize.study.model import LARGEST_BLOCKAGE, Variable
from optimize.study.schema_drive import BlowerTable, EngineTable, NetGainTable
from optimize.study.schema_duty import AmbientTable, DutyPoints, DutyTable
from optimize.study.schema_loop import LoopTable
from optimize.study.schema_scatter import PARTS, RobustTable, ScatterTable, correlated_scatter, runs_that_scatter
from optimize.study.schema_soak import SoakTable
from optimize.study.trace import Recording
from optimize.study.values import Band, ReadSamples, Table, as_spelt, optional_quantity, quantity, whole
from optimize.study.variables import OTHER_NAMES, choice, varying
from physics.fluid import Fluid

MOST_EVALUATIONS = 100_000_000
COUNTS = ("passages", "air_fin", "turbulator", "port", "line")  # and names: nothing of that scatters


@dataclass(frozen=True)
class Known:
    """What the rest of the file holds, for the keys that refer to it; None where that could not be read.

    `tolerances`: of what a core is made of, by "air_fin", "coolant_fin", "port" and the name of the entry.
    """

    duties: tuple[str, ...]
    air_fins: tuple[str, ...] | None
    turbulators: tuple[str, ...] | None
    ports: tuple[str, ...] | None
    lines: tuple[str, ...] | None
    coolant: Fluid | None
    raw: dict[str, Any]  # the file, misspelt keys as they were meant
    read_trace: Callable[[str], Recording]
    read_samples: ReadSamples
    tolerances: dict[str, dict[str, frozenset[str]] | None]

    @property
    def variables(self) -> dict[str, tuple[str, ...] | None]:
        """Design variables by name, with the names there are to choose from; None for numbers and unread catalogues."""
        chosen = {"air_fin": self.air_fins, "turbulator": self.turbulators, "port": self.ports, "passes": PASSES}
        return {name: chosen.get(name) for name in VARIABLES} | ({"line": self.lines} if "loop" in self.raw else {})

    @property
    def scattering(self) -> tuple[str, ...]:
        """Names of all that can carry a tolerance."""
        own = (name for name, choices in self.variables.items() if choices is None)
        keys = {part: PortTolerances if part == "port" else FinTolerances for part in PARTS}
        parts = (f"{part}.{key}" for part, table in keys.items() for key in table.model_fields)
        return tuple(name for name in (*own, *parts) if name not in COUNTS)

    def has(self, needed: str) -> bool:
        """Whether the file has what an output needs, see `physics.outputs`."""
        return has_output_table(self.raw, needed)


def length(**bounds: float) -> PlainValidator:
    return varying("length", **(bounds or {"above": 0.0}))


Length = Annotated[Variable, length()]
Blockage = Annotated[Variable, varying("fraction", at_least=0.0, below=LARGEST_BLOCKAGE)]
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
    lines: str | None = None


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

    method: Literal["auto", "sweep", "certify", "evolve"] = "auto"
    population: Annotated[int, whole(4, 100_000)] = 200
    evaluations: Annotated[int, whole(1, MOST_EVALUATIONS)] = 50_000
    out_of_range: Literal["flag", "refuse"] = "flag"
    off_grid: bool = False

    @field_validator("evaluations")
    @classmethod
    def _one_generation(cls, evaluations: int, info: ValidationInfo[Any]) -> int:
        if evaluations < info.data.get("population", 0):
            raise refusal(f"fewer than one population of {info.data['population']}", "raise it")
        return evaluations


def _moves(table: SearchTable, info: ValidationInfo[Any]) -> SearchTable:
    """Validator: off the grid something must be free to move; skipped while a table could not be read."""
    told = [info.data.get(key) for key in ("core", "tanks", "material", "ducts")]
    values = [value for part in told if part is not None for _, value in part if isinstance(value, Variable)]
    if table.off_grid and None not in told and not any(value.ends or value.is_continuous for value in values):
        do = 'write thickness = { from = "40 mm", to = "90 mm", step = "5 mm" }, or leave off_grid out'
        raise refusals([("off_grid", refusal("no variable is a range that a core could be moved in", do))])
    return table


class ModelTable(Table):
    """[model]: published bands overridden, and the corrections that a bench test gave."""

    fitted: str | None = None

    air_j: Band | None = None
    air_f: Band | None = None
    coolant_j: Band | None = None
    coolant_f: Band | None = None
    tank_loss: Band = (-0.25, 0.25)


def _title(title: str) -> str:
    if not title.strip() or len(title) > 200:
        raise refusal("expected a title of 1 to 200 letters", "name the study")
    return title


# Names of the design variables in columns and on the command line
VARIABLES = tuple(
    OTHER_NAMES.get(f"{top}.{key}", key)
    for top, table in (("core", CoreTable), ("tanks", TanksTable), ("material", MaterialTable), ("ducts", DuctsTable))
    for key in table.model_fields if key != "header"
)


class StudyFile(Table):
    """The whole file."""

    title: Annotated[str, AfterValidator(_title)]
    about: str = ""
    seed: Annotated[int, whole(0, 2**63 - 1)]
    units: Literal["SI", "US"]
    coolant: CoolantTable
    catalogues: CataloguesTable
    duty: DutyPoints
    ambient: AmbientTable | None = None
    loop: LoopTable | None = None
    blower: BlowerTable | None = None
    engine: EngineTable | None = None
    net_gain: NetGainTable | None = None
    soak: SoakTable | None = None
    envelope: EnvelopeTable
    core: CoreTable
    tanks: TanksTable
    material: MaterialTable
    ducts: DuctsTable
    objectives: list[ObjectiveTable]
    limits: list[LimitTable] = Field(default_factory=list)
    search: Annotated[SearchTable, AfterValidator(_moves)] = SearchTable()
    scatter: Annotated[ScatterTable, AfterValidator(correlated_scatter)] = ScatterTable()
    robust: Annotated[RobustTable, AfterValidator(runs_that_scatter)] | None = None
    model: ModelTable = ModelTable()


# Where a key that is misspelt would look like one that is missing
_CHECKED = (("catalogues", CataloguesTable), ("ambient", AmbientTable), ("loop", LoopTable), ("blower", BlowerTable),
            ("soak", SoakTable))


def as_meant(raw: dict[str, Any]) -> dict[str, Any]:
    """The file as written, misspelt keys under the names they come near to: each is told once, as unknown."""
    meant: dict[str, Any] = as_spelt(raw, StudyFile)
    for key, table in _CHECKED:
        if key in meant:
            meant[key] = as_spelt(meant[key], table)
    if isinstance(points := meant.get("duty"), dict):
        meant["duty"] = {name: as_spelt(point, DutyTable) for name, point in points.items()}
    return meant

