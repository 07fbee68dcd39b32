"""A core in its pocket as lengths to draw [mm], by the same geometry the rating uses; nothing is rated here.

Axes: x along the coolant from the core's left tank face, y along the stack, z against the air from the pocket's floor.
Air comes from above; coolant enters on the left, in the lowest chamber (it meets the leaving air first) or first bank.
"""

from dataclasses import dataclass
from math import nan

import numpy as np

from optimize.errors import FinfrontError
from optimize.space import Batch, Parameters, Space
from optimize.study.model import Tolerance
from physics.arrays import Array
from physics.core import Designs, Geometry, chamber_size, chambers, dividers, geometry, impossible
from physics.envelope import Envelope, clearances

_MM = 1e3
Band = tuple[float, float]


@dataclass(frozen=True)
class Fins:
    """The fins of one side [mm, degrees]; NaN where the family has no use for it."""

    name: str
    family: str
    spacing: float
    pitch: float
    thickness: float
    strip_length: float
    louver_pitch: float
    louver_angle: float
    louver_length: float
    wave_length: float
    wave_amplitude: float


@dataclass(frozen=True)
class PortShape:
    """A port [mm]: its dimensions by their names, height across the thickness, width along the stack, area [mm2]."""

    name: str
    shape: str
    values: dict[str, float]
    height: float
    width: float
    area: float


@dataclass(frozen=True)
class PortPlace:
    """Where a port opens: the tank, its chamber (along the stack, through the thickness), axis y and lower edge z."""

    left: bool
    bank: int
    layer: int
    y: float
    z: float


@dataclass(frozen=True)
class CoreShape:
    """Everything that is drawn of one core [mm], [kg], [L]; `bands` are tolerances by column name, below and above."""

    length: float
    thickness: float
    height: float  # of the stack
    overall: float
    passages: int
    passes: int
    side_by_side: bool
    plate: float
    side_plate: float
    air_bar: float
    coolant_bar: float
    divider: float
    tank_length: float
    wall: float
    land: float
    chamber_height: float
    chamber_width: float
    layers: int  # chambers of a tank through the thickness
    banks: int  # chambers of a tank along the stack
    air: Fins
    coolant: Fins
    port: PortShape
    inlet: PortPlace
    outlet: PortPlace
    header: str
    pocket: tuple[float, float, float, float]  # length, width, depth, proud height
    room: dict[str, float]
    bands: dict[str, Band]
    density: float
    dry_mass: float
    coolant_volume: float

    @property
    def pass_width(self) -> float:
        """Width of one pass of a coolant passage, across the flow."""
        return (self.thickness - 2 * self.coolant_bar - (self.layers - 1) * self.divider) / self.layers

    def floor(self, layer: int) -> float:
        """Lower inside edge of a chamber."""
        return self.wall + layer * (self.chamber_height + self.wall)

    def edge(self, bank: int) -> float:
        """First inside edge of a chamber along the stack."""
        return self.wall + bank * (self.chamber_width + self.wall)

    def air_passage(self, i: int) -> tuple[float, float]:
        """From and to along the stack, of air passage 0 .. n."""
        start = self.side_plate + i * (self.air.spacing + self.coolant.spacing + 2 * self.plate)
        return start, start + self.air.spacing

    def coolant_passage(self, i: int) -> tuple[float, float]:
        """From and to along the stack, of coolant passage 0 .. n - 1."""
        start = self.air_passage(i)[1] + self.plate
        return start, start + self.coolant.spacing


def core_shape(space: Space, core: Parameters) -> CoreShape:
    """The shape of one core given as values (1,) of every design variable.

    Raises FinfrontError where no such core can be built.
    """
    batch = space.batch(core, np.zeros(1, dtype=np.int64))
    d = batch.designs
    with np.errstate(all="ignore"):
        g = geometry(d)
        broken = impossible(d, g)
    if np.any(broken) or not np.isfinite(g.stack_height[0]):
        raise FinfrontError(
            "no such core can be built: no width is left for a passage, a chamber or a port",
            space.study.path, "make it larger, or bars, walls and dividers thinner",
        )
    return _shape(space, core, batch, d, g)


def _shape(space: Space, core: Parameters, batch: Batch, d: Designs, g: Geometry) -> CoreShape:
    e = space.study.envelope
    envelope = Envelope(e.pocket_length, e.pocket_width, e.pocket_depth, e.proud_height)
    height, width = (_mm(size) for size in chamber_size(d, g.stack_height))
    layers, banks = (int(_one(number)) for number in chambers(d))
    port = _port(space, core, d)
    inlet, outlet = _places(d, space.study.header, port, (height, width), (layers, banks))
    return CoreShape(
        length=_mm(d.length), thickness=_mm(d.thickness), height=_mm(g.stack_height), overall=_mm(g.overall_length),
        passages=round(_one(d.passages)), passes=round(_one(d.passes)), side_by_side=_one(d.side_by_side) > 0,
        plate=_mm(d.plate_thickness), side_plate=_mm(d.side_plate_thickness), air_bar=_mm(d.air_bar_width),
        coolant_bar=_mm(d.coolant_bar_width), divider=_mm(d.divider_width) if _one(dividers(d)) else 0.0,
        tank_length=_mm(d.tank_length), wall=_mm(d.tank_wall), land=_mm(d.seal_land),
        chamber_height=height, chamber_width=width, layers=layers, banks=banks,
        air=_fins(space, core, batch, "air_fin"), coolant=_fins(space, core, batch, "turbulator"),
        port=port, inlet=inlet, outlet=outlet, header=space.study.header,
        pocket=(e.pocket_length * _MM, e.pocket_width * _MM, e.pocket_depth * _MM, e.proud_height * _MM),
        room={name: _mm(value) for name, value in clearances(d, g, envelope).items()},
        bands=_bands(space, core, batch.parameters), density=_one(d.density),
        dry_mass=_one(g.dry_mass), coolant_volume=_one(g.coolant_volume) * 1e3,
    )


def _fins(space: Space, core: Parameters, batch: Batch, variable: str) -> Fins:
    name = space.words[variable][int(core[variable][0])]
    rolls = space.study.air_fins if variable == "air_fin" else space.study.turbulators
    part = "air_fin" if variable == "air_fin" else "coolant_fin"
    keys = ("spacing", "pitch", "thickness", "strip_length", "louver_pitch", "louver_angle", "louver_length",
            "wave_length", "wave_amplitude")  # fmt: skip
    values = {key: _one(batch.parameters[f"{part}.{key}"]) for key in keys}
    return Fins(name, rolls[name].family, **{
        key: value if key == "louver_angle" else float(f"{value * _MM:.9g}") for key, value in values.items()
    })


def _port(space: Space, core: Parameters, d: Designs) -> PortShape:
    port = space.study.ports[space.words["port"][int(core["port"][0])]]
    values = {key: float(f"{value * _MM:.9g}") for key, value in port.values.items()}
    return PortShape(port.name, port.shape, values, _mm(d.port.height), _mm(d.port.width), _one(d.port.area) * 1e6)


def _places(
    d: Designs, header: str, port: PortShape, chamber: tuple[float, float], count: tuple[int, int]
) -> tuple[PortPlace, PortPlace]:
    """Inlet and outlet: on the seal land of their chamber's floor, as the clearance to the flange is counted."""
    wall, land = _mm(d.tank_wall), _mm(d.seal_land)
    (height, width), (layers, banks), passes = chamber, count, round(_one(d.passes))

    def place(left: bool, bank: int, layer: int, low_end: bool) -> PortPlace:
        edge = wall + bank * (width + wall)
        y = edge + width / 2
        if header != "centre":
            y = edge + land + port.width / 2 if low_end else edge + width - land - port.width / 2
        return PortPlace(left, bank, layer, y, wall + layer * (height + wall) + land)

    outlet = place(passes % 2 == 0, banks - 1, layers - 1, header == "same end")
    return place(True, 0, 0, True), outlet


def _bands(space: Space, core: Parameters, parameters: Parameters) -> dict[str, Band]:
    """Tolerances in the drawing's units: a share of the nominal becomes an amount."""
    return {
        name: _amount(name, tolerance, _one(parameters[name]))
        for name, tolerance in space.tolerances(core).items() if name in parameters
    }


def _amount(name: str, tolerance: Tolerance, nominal: float) -> Band:
    factor = abs(nominal) if tolerance.relative else 1.0
    unit = 1.0 if name.endswith("louver_angle") else _MM
    return tolerance.below * factor * unit, tolerance.above * factor * unit


def _one(value: Array) -> float:
    return float(np.ravel(value)[0]) if np.size(value) else nan


def _mm(value: Array) -> float:
    """To the picometre: what is 6.35 mm in the study is 6.35 here."""
    return float(f"{_one(value) * _MM:.9f}")
