"""One fin, turbulator or port as written in a catalogue, and how its dimensions must agree."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, PlainValidator, ValidationInfo

from optimize.study.faults import refusal, shown
from optimize.study.model import Tolerance
from optimize.study.tolerances import tolerance_of, width_fault
from optimize.study.values import Band, ReadSamples, Rule, Table, optional_quantity, quantity

LENGTH = Rule("length", above=0.0)
ANGLE = Rule("angle", above=0.0, below=90.0)
TableRow = tuple[float, float, float]

Length = Annotated[float, quantity("length", above=0.0)]
OptionalLength = Annotated[float | None, optional_quantity("length", above=0.0)]
LengthTolerance = Annotated[Tolerance | None, tolerance_of(LENGTH)]

# The dimensions of each family and shape, which are also what may be toleranced.
DIMENSIONS: dict[str, tuple[str, ...]] = {
    "offset strip": ("pitch", "spacing", "thickness", "strip_length"),
    "plain": ("pitch", "spacing", "thickness"),
    "louver": ("pitch", "spacing", "thickness", "louver_pitch", "louver_angle", "louver_length"),
    "wavy": ("pitch", "spacing", "thickness", "wave_length", "wave_amplitude"),
    "measured": ("pitch", "spacing", "thickness", "strip_length"),
    "open": ("spacing",),
    "round": ("bore", "line_bore"),
    "D": ("radius", "open_height", "line_bore"),
    "slot": ("height", "width", "line_bore"),
}


@dataclass(frozen=True)
class Reading:
    """What the entries of one catalogue are read with: the families it may hold, and the file's own tolerances.

    `read_table` and `read_samples` read files beside the catalogue, note the faults in them, and refuse one that is
    not there.
    """

    families: tuple[str, ...]
    defaults: dict[str, Tolerance]
    read_table: Callable[[str], tuple[TableRow, ...]]
    read_samples: ReadSamples


class FinTolerances(Table):
    """Tolerances of a roll; as [tolerances] of the file for every entry that has the dimension."""

    pitch: LengthTolerance = None
    spacing: LengthTolerance = None
    thickness: LengthTolerance = None
    strip_length: LengthTolerance = None
    louver_pitch: LengthTolerance = None
    louver_angle: Annotated[Tolerance | None, tolerance_of(ANGLE)] = None
    louver_length: LengthTolerance = None
    wave_length: LengthTolerance = None
    wave_amplitude: LengthTolerance = None


class PortTolerances(Table):
    """Tolerances of a port; as [tolerances] of the file for every entry that has the dimension."""

    bore: LengthTolerance = None
    radius: LengthTolerance = None
    open_height: LengthTolerance = None
    height: LengthTolerance = None
    width: LengthTolerance = None
    line_bore: LengthTolerance = None


Tolerances = FinTolerances | PortTolerances


def given(tolerances: Tolerances) -> dict[str, Tolerance]:
    """The tolerances that stand in the table."""
    return {key: value for key, value in tolerances if value is not None}


def _one_pitch(density: float | None, info: ValidationInfo[Any]) -> float | None:
    if "pitch" in info.data and (info.data["pitch"] is None) == (density is None):
        which = "neither pitch nor fin_density" if density is None else "both pitch and fin_density"
        raise refusal(which, "give one of them: pitch = '1.4 mm' or fin_density = '18 1/in'", "key")
    return density


def _pitch(data: dict[str, Any]) -> float | None:
    density = data.get("fin_density")
    return 1.0 / density if density else data.get("pitch")


def _thin(thickness: float, info: ValidationInfo[Any]) -> float:
    for name, room in (("pitch", _pitch(info.data)), ("spacing", info.data.get("spacing"))):
        if room is not None and thickness >= room:
            raise refusal(f"a fin {LENGTH.show(thickness)} thick leaves no gap in a {name} of {LENGTH.show(room)}",
                          "check the units of both")
    return thickness


def _within_spacing(louver_length: float, info: ValidationInfo[Any]) -> float:
    spacing = info.data.get("spacing")
    if spacing is not None and louver_length >= spacing:
        raise refusal(f"{LENGTH.show(louver_length)} does not fit the spacing of {LENGTH.show(spacing)}",
                      "a louver ends short of the bends of its fin")
    return louver_length


def _within_circle(open_height: float, info: ValidationInfo[Any]) -> float:
    radius = info.data.get("radius")
    if radius is not None and open_height > 2.0 * radius:
        raise refusal(f"{LENGTH.show(open_height)} is more than twice the radius of {LENGTH.show(radius)}",
                      "the open height of a D port is measured from the crown of its arc")
    return open_height


def _long_side(width: float, info: ValidationInfo[Any]) -> float:
    height = info.data.get("height")
    if height is not None and width < height:
        raise refusal(f"{LENGTH.show(width)} is less than the height of {LENGTH.show(height)}",
                      "the height of a slot is its short side, across the core thickness")
    return width


def _fitting(own: Tolerances, info: ValidationInfo[Any]) -> Tolerances:
    """Each tolerance must have its dimension, and be narrower than it; so must the defaults of the file."""
    has = DIMENSIONS[info.data.get("family") or info.data["shape"]]
    for key in given(own):
        if key not in has or (key != "pitch" and info.data.get(key, 0.0) is None):
            raise refusal(f"a tolerance on {key}, which this entry does not have", "leave it out")
    dimensions = dimensions_of(info.data)
    for key, tolerance in effective(own, info.context, dimensions).items():
        rule = ANGLE if key == "louver_angle" else LENGTH
        if fault := width_fault(tolerance, (dimensions[key],), rule):
            raise refusal(f"{key}: {fault}", "narrow it, here or in the file's [tolerances]")
    return own


def dimensions_of(data: dict[str, Any]) -> dict[str, float]:
    """The numbers of an entry, with the pitch where it was given as a fin density."""
    numbers = {key: value for key, value in data.items() if isinstance(value, float) and key != "fin_density"}
    pitch = _pitch(data)
    return numbers if pitch is None else {**numbers, "pitch": pitch}


def effective(
    own: Tolerances, reading: Reading, dimensions: dict[str, float]
) -> dict[str, Tolerance]:
    merged = {**reading.defaults, **given(own)}
    return {key: tolerance for key, tolerance in merged.items() if key in dimensions}


def _rows(raw: object, info: ValidationInfo[Any]) -> tuple[TableRow, ...]:
    if not isinstance(raw, str) or not raw:
        raise refusal(f"expected the path of a measured table, got {shown(raw)}", "write it in quotes")
    rows: tuple[TableRow, ...] = info.context.read_table(raw)
    return rows


Pitch = Annotated[float | None, optional_quantity("length", above=0.0)]
FinDensity = Annotated[float | None, optional_quantity("per length", above=0.0), AfterValidator(_one_pitch)]
Thickness = Annotated[float, quantity("length", above=0.0), AfterValidator(_thin)]
RollTolerances = Annotated[FinTolerances, AfterValidator(_fitting)]
PortOwnTolerances = Annotated[PortTolerances, AfterValidator(_fitting)]


class OffsetStrip(Table):
    """A strip fin; fields in the order in which they are checked against each other."""

    family: Literal["offset strip"]
    pitch: Pitch = None
    fin_density: FinDensity = Field(None, validate_default=True)
    spacing: Length
    thickness: Thickness
    strip_length: Length
    tolerances: RollTolerances = Field(FinTolerances(), validate_default=True)


class Plain(Table):
    """A plain fin."""

    family: Literal["plain"]
    pitch: Pitch = None
    fin_density: FinDensity = Field(None, validate_default=True)
    spacing: Length
    thickness: Thickness
    tolerances: RollTolerances = Field(FinTolerances(), validate_default=True)


class Louver(Table):
    """A louvered fin."""

    family: Literal["louver"]
    pitch: Pitch = None
    fin_density: FinDensity = Field(None, validate_default=True)
    spacing: Length
    thickness: Thickness
    louver_pitch: Length
    louver_angle: Annotated[float, quantity("angle", above=0.0, below=90.0)]
    louver_length: Annotated[float, quantity("length", above=0.0), AfterValidator(_within_spacing)]
    tolerances: RollTolerances = Field(FinTolerances(), validate_default=True)


class Wavy(Table):
    """A wavy fin; the amplitude is half of peak to peak."""

    family: Literal["wavy"]
    pitch: Pitch = None
    fin_density: FinDensity = Field(None, validate_default=True)
    spacing: Length
    thickness: Thickness
    wave_length: Length
    wave_amplitude: Length
    tolerances: RollTolerances = Field(FinTolerances(), validate_default=True)


class Measured(Table):
    """A fin with a table of Re, j, f, and what of its surface is known better than from the drawing."""

    family: Literal["measured"]
    pitch: Pitch = None
    fin_density: FinDensity = Field(None, validate_default=True)
    spacing: Length
    thickness: Thickness
    strip_length: OptionalLength = None
    table: Annotated[tuple[TableRow, ...], PlainValidator(_rows)]
    band_j: Band
    band_f: Band
    hydraulic_diameter: OptionalLength = None
    area_density: Annotated[float | None, optional_quantity("per length", above=0.0)] = None
    fin_area_ratio: Annotated[float | None, optional_quantity("fraction", above=0.0, below=1.0)] = None
    tolerances: RollTolerances = Field(FinTolerances(), validate_default=True)


class OpenPassage(Table):
    """A coolant passage without a turbulator."""

    family: Literal["open"]
    spacing: Length
    tolerances: RollTolerances = Field(FinTolerances(), validate_default=True)


class RoundPort(Table):
    shape: Literal["round"]
    bore: Length
    line_bore: Length
    tolerances: PortOwnTolerances = Field(PortTolerances(), validate_default=True)


class DPort(Table):
    """A segment of a circle: `open_height` from the crown of the arc to the flat."""

    shape: Literal["D"]
    radius: Length
    open_height: Annotated[float, quantity("length", above=0.0), AfterValidator(_within_circle)]
    line_bore: Length
    tolerances: PortOwnTolerances = Field(PortTolerances(), validate_default=True)


class SlotPort(Table):
    """A stadium: `height` is its short side."""

    shape: Literal["slot"]
    height: Length
    width: Annotated[float, quantity("length", above=0.0), AfterValidator(_long_side)]
    line_bore: Length
    tolerances: PortOwnTolerances = Field(PortTolerances(), validate_default=True)
