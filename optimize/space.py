"""From a study's design variables to batches of cores: axes for the searches, parameters, Designs.

Parameters are a flat dictionary of columns, named as in `physics.core.Designs`, with `air_fin.pitch`,
`coolant_fin.spacing`, `port.bore` and the like for what comes from a catalogue: the one place where a nominal core,
a core typed by hand and a manufactured copy meet before `assemble` turns them into Designs.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, replace
from functools import cached_property
from math import prod

import numpy as np

from optimize.search.problem import Axis
from optimize.study.model import FinRoll, PortType, Study, Tolerance, Variable
from optimize.study.model_system import LineType
from physics.arrays import Array, IntArray
from physics.columns import column
from physics.core import HEADERS, Designs
from physics.fins import AIR_FAMILIES, COOLANT_FAMILIES, Fin, FinFamily, measured
from physics.pipes import Line
from physics.ports import Port, d_port, round_port, slot_port

# Study keys whose column has another name than the last part of the key
_COLUMNS = {"tanks.length": "tank_length", "tanks.wall": "tank_wall", "material.density": "density"}
_OUTER = ("air_fin", "turbulator", "passes")
_SHAPES = ("round", "D", "slot")
PORT_KEYS = ("bore", "radius", "open_height", "height", "width", "line_bore")
_FIN_KEYS = tuple(f.name for f in fields(Fin))
PASSES = ("1", *(f"{n} {words}" for words in ("through the thickness", "side by side") for n in range(2, 7)))

# Kind of unit of each numeric design variable, see optimize.units
KINDS = {
    **dict.fromkeys((
        "length", "thickness", "plate_thickness", "side_plate_thickness", "air_bar_width", "coolant_bar_width",
        "divider_width", "tank_length", "tank_wall", "seal_land",
    ), "length"),
    **dict.fromkeys(("passages", "turn_loss", "lid_loss", "plenum_loss"), "number"),
    **dict.fromkeys(("air_blockage", "coolant_blockage"), "fraction"),
    **dict.fromkeys(("air_fouling", "coolant_fouling"), "fouling"),
    **dict.fromkeys(("fin_conductivity", "plate_conductivity"), "conductivity"),
    **dict.fromkeys(("lid_area", "plenum_area"), "area"),
    "density": "density",
}

Parameters = dict[str, Array]


@dataclass(frozen=True)
class Batch:
    """Cores that share an air family and a coolant family: their positions in the batch asked for, and parameters."""

    index: IntArray
    parameters: Parameters
    air_family: FinFamily
    coolant_family: FinFamily

    @property
    def designs(self) -> Designs:
        return assemble(self.parameters, self.air_family, self.coolant_family)

    @property
    def line(self) -> Line | None:
        """The coolant line of each core, in a study that has a loop."""
        if "line.bore" not in self.parameters:
            return None
        return Line(self.parameters["line.bore"], self.parameters["line.roughness"])


def variable_name(key: str) -> str:
    """The name of a design variable in columns, messages and `--core`: 'core.thickness' -> 'thickness'.

    >>> variable_name("tanks.length"), variable_name("core.thickness")
    ('tank_length', 'thickness')
    """
    return _COLUMNS.get(key, key.split(".")[1])


def split_passes(text: str) -> tuple[float, float]:
    """Number of passes and 1 for banks side by side.

    >>> split_passes("2 through the thickness"), split_passes("3 side by side"), split_passes("1")
    ((2.0, 0.0), (3.0, 1.0), (1.0, 0.0))
    """
    number, _, words = text.partition(" ")
    return float(number), float(words == "side by side")


def fin_family(roll: FinRoll) -> FinFamily:
    """The family of a catalogue entry; a measured one is a family of its own."""
    if roll.family != "measured":
        return AIR_FAMILIES.get(roll.family) or COOLANT_FAMILIES[roll.family]
    if roll.table is None or roll.band_j is None or roll.band_f is None:
        raise ValueError(f"{roll.name}: a measured fin needs its table and bands")
    Re, j, f = zip(*roll.table, strict=True)
    return measured(roll.name, Re, j, f, roll.band_j, roll.band_f)


class Space:
    """The design space of a study: axes for what varies, columns for what does not.

    Names (fins, turbulators, ports, kinds of passes) go as codes: positions in `self.words[variable]`.
    """

    def __init__(self, study: Study) -> None:
        self.study = study
        self.variables = {variable_name(key): variable for key, variable in study.variables.items()}
        varying = [name for name, variable in self.variables.items() if not variable.is_fixed]
        outer = [name for name in _OUTER if name in varying]
        self.names = tuple(outer + [name for name in varying if name not in outer])
        self.axes = tuple(self._axis(name) for name in self.names)
        self.words = {
            "air_fin": tuple(study.air_fins), "turbulator": tuple(study.turbulators), "port": tuple(study.ports),
            "passes": PASSES,
        }
        self._families = {
            "air_fin": [fin_family(roll) for roll in study.air_fins.values()],
            "turbulator": [fin_family(roll) for roll in study.turbulators.values()],
        }
        self._tables = {
            "air_fin": _fin_table("air_fin", study.air_fins),
            "turbulator": _fin_table("coolant_fin", study.turbulators),
            "port": _port_table(study.ports), "passes": _passes_table(),
        }
        if "line" in self.variables:
            self.words["line"] = tuple(study.lines)
            self._tables["line"] = _line_table(study.lines)
        self._values = {name: self.coded(variable) for name, variable in self.variables.items()}

    def _axis(self, name: str) -> Axis:
        variable = self.variables[name]
        if variable.low is not None and variable.high is not None:
            return Axis(name, None, variable.low, variable.high)
        return Axis(name, variable.size, outer=name in _OUTER)

    def coded(self, variable: Variable) -> Array:
        """The values of a variable as numbers: SI, or codes for names."""
        name = variable_name(variable.name)
        return np.array([self.code(name, value) for value in variable.values], dtype=float)

    def code(self, name: str, value: str | float) -> float:
        """A value of a variable as a number: itself, or the position of its name."""
        return float(self.words[name].index(value)) if isinstance(value, str) else float(value)

    @property
    def size(self) -> int | None:
        """Number of cores; None when a variable is continuous."""
        sizes = [axis.size for axis in self.axes]
        return None if None in sizes else prod(size for size in sizes if size is not None)

    def choices(self, points: Array) -> Parameters:
        """Points (n, axes) as values of the variables, SI or codes; (1,) for what is the same in all of them."""
        return {name: self._picked(name, points) for name in self.variables}

    def core(self, point: Array) -> Parameters:
        """One point as values of the variables, one each."""
        return self.choices(point[None, :])

    def _picked(self, name: str, points: Array) -> Array:
        if name not in self.names:
            return self._values[name]
        picked = _shared(points[:, self.names.index(name)])
        if self.variables[name].is_continuous:
            return picked
        return np.asarray(self._values[name][picked.astype(np.int64)])

    def labels(self, name: str, values: Array) -> list[str] | Array:
        """Values of a variable for the eye: names instead of codes."""
        return [self.words[name][int(code)] for code in values] if name in self.words else values

    def batches(self, points: Array) -> Iterator[Batch]:
        """The cores at points (n, axes), parted by fin families."""
        return self.batches_of(self.choices(points), len(points))

    def batches_of(self, choices: Parameters, n: int | None = None) -> Iterator[Batch]:
        """The n cores of values of the variables, (n,) or (1,) each, parted by fin families."""
        n = n or max(value.size for value in choices.values())
        kinds = self._kinds(choices)
        for kind in np.unique(kinds):
            if kinds.size == 1:
                yield self.batch(choices, np.arange(n))
                return
            index = np.flatnonzero(kinds == kind)
            yield self.batch({name: v if v.size == 1 else v[index] for name, v in choices.items()}, index)

    def _kinds(self, choices: Parameters) -> IntArray:
        """A number for each pair of families, (n,) or (1,)."""
        kinds = np.zeros(1, dtype=np.int64)
        for name, families in self._families.items():
            order = list(dict.fromkeys(family.name for family in families))
            ranks = np.array([order.index(family.name) for family in families])
            kinds = kinds * len(order) + ranks[choices[name].astype(np.int64)]
        return kinds

    def batch(self, choices: Parameters, index: IntArray) -> Batch:
        """Columns of one family pair from values of the variables."""
        mouth, factor = HEADERS[self.study.header]
        parameters = {name: value for name, value in choices.items() if name not in self.words}
        parameters |= {"header_mouth": column(mouth), "header_factor": column(factor)}
        for name, table in self._tables.items():
            code = choices[name].astype(np.int64)
            parameters |= {key: column_of_table[code] for key, column_of_table in table.items()}
        air, coolant = (self._families[name][int(choices[name][0])] for name in ("air_fin", "turbulator"))
        return Batch(index, parameters, air, coolant)

    @cached_property
    def ports(self) -> list[Port]:
        """The ports a study may choose from, in the order of its axis, a column of one each."""
        table, codes = self._tables["port"], self._values["port"].astype(np.int64)
        return [port_of({key: column[[code]] for key, column in table.items()}) for code in codes]

    @cached_property
    def lines(self) -> list[Line]:
        """The coolant lines a study may choose from, in the order of its axis; none without a loop."""
        if "line" not in self.variables:
            return []
        table, codes = self._tables["line"], self._values["line"].astype(np.int64)
        return [Line(table["line.bore"][[code]], table["line.roughness"][[code]]) for code in codes]

    def tolerances(self, choices: Parameters) -> dict[str, Tolerance]:
        """Every tolerance that acts on one core, by column name."""
        fin, turbulator, port = (self.words[name][int(choices[name][0])] for name in ("air_fin", "turbulator", "port"))
        found = {name: v.tolerance for name, v in self.variables.items() if v.tolerance is not None}
        parts = {
            "air_fin": self.study.air_fins[fin].tolerances,
            "coolant_fin": self.study.turbulators[turbulator].tolerances,
            "port": self.study.ports[port].tolerances,
        }
        return found | {f"{part}.{key}": tol for part, tols in parts.items() for key, tol in tols.items()}


def _shared(values: Array) -> Array:
    """A column that never changes in the batch as (1,)."""
    return values[:1] if np.all(values == values[0]) else values


def _fin_table(part: str, rolls: Mapping[str, FinRoll]) -> Parameters:
    return {f"{part}.{key}": np.array([roll.values.get(key, np.nan) for roll in rolls.values()]) for key in _FIN_KEYS}


def _port_table(ports: Mapping[str, PortType]) -> Parameters:
    shapes = np.array([float(_SHAPES.index(port.shape)) for port in ports.values()])
    sizes = {f"port.{key}": np.array([p.values.get(key, np.nan) for p in ports.values()]) for key in PORT_KEYS}
    return {"port.shape": shapes, **sizes}


def _line_table(lines: Mapping[str, LineType]) -> Parameters:
    return {f"line.{key}": np.array([getattr(line, key) for line in lines.values()]) for key in ("bore", "roughness")}


def _passes_table() -> Parameters:
    numbers = np.array([split_passes(text) for text in PASSES])
    return {"passes": numbers[:, 0].copy(), "side_by_side": numbers[:, 1].copy()}


def assemble(parameters: Parameters, air_family: FinFamily, coolant_family: FinFamily) -> Designs:
    """Designs from a flat dictionary of columns."""
    own = {f.name: parameters[f.name] for f in fields(Designs) if f.name in parameters}
    return Designs(
        **own,
        air_fin=_part(parameters, "air_fin"), coolant_fin=_part(parameters, "coolant_fin"), port=port_of(parameters),
        air_family=air_family, coolant_family=coolant_family,
    )


def _part(parameters: Parameters, part: str) -> Fin:
    return Fin(**{key: parameters[f"{part}.{key}"] for key in _FIN_KEYS})


def port_of(parameters: Parameters) -> Port:
    """The ports of columns named 'port.shape', 'port.bore' and so on."""
    shape, bore, radius, open_height, height, width, line = (
        parameters[f"port.{key}"] for key in ("shape", *PORT_KEYS)
    )
    with np.errstate(invalid="ignore"):
        drawn = (round_port(bore, line), d_port(radius, open_height, line), slot_port(height, width, line))
    result = drawn[0]
    for code, port in enumerate(drawn[1:], start=1):
        chosen = shape == code
        if np.any(chosen):
            result = replace(result, **{
                f.name: np.where(chosen, getattr(port, f.name), getattr(result, f.name)) for f in fields(Port)
            })
    return result
