"""What the core supplier makes and the casting designer leaves room for: every value with its bounds, in sections."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from optimize import units
from optimize.handover.bench import Stream
from optimize.handover.digits import decimals_of_largest, decimals_within
from optimize.handover.placing import Opening
from optimize.handover.plain_text import clean, words
from optimize.handover.subject import Subject
from optimize.space import KINDS
from optimize.study.catalogue_entries import DIMENSIONS
from optimize.study.model import FinRoll, Tolerance
from optimize.study.tolerances import reach
from optimize.tighten_tables import width_text
from optimize.tolerance.model_draws import fitted_bands
from physics.outputs import CLEARANCES, OUTPUTS

_FIN_KINDS = {"louver_angle": "angle", "area_density": "per length", "fin_area_ratio": "number"}
_PER_INCH = 0.0254
INNER = (2.5, 97.5)  # [%] between which 95 % of the copies lie
FOLLOWS = "follows: 95 % of copies"
SUMMED = "follows: arithmetic sum"
_SMALLEST = 1e-9  # [m] of a tolerance; less is rounding
NO_TOLERANCE = "none stated"
BENCH = "shop and correlations together"


@dataclass(frozen=True)
class Entry:
    """One line: a value in the study's unit (or a text) with its bounds, and how they are meant."""

    label: str
    value: float | str | None
    unit: str = ""
    low: float | None = None
    high: float | None = None
    law: str = ""
    sigmas: float | None = None
    note: str = ""

    @property
    def places(self) -> int:
        """Decimals of the numbers: what is accepted on a bench keeps four digits."""
        number = self.value if isinstance(self.value, float) else None
        if self.law == BENCH:
            return decimals_of_largest([number or 0.0])
        return decimals_within([number], self.low, self.high)

    @property
    def Cp(self) -> float | None:
        """Capability of a process whose half width is so many standard deviations."""
        return None if self.sigmas is None else self.sigmas / 3


@dataclass(frozen=True)
class Section:
    """Lines under one heading."""

    title: str
    entries: tuple[Entry, ...]


def specification(s: Subject) -> list[Section]:
    """Everything, in the order in which it is looked for."""
    return [
        _core_block(s), _air_fin(s), _turbulator(s), _tanks(s), _ports(s), _material(s), _assumed(s), _weights(s),
        _pocket(s), _bench(s),
    ]


def kind_of(name: str) -> str:
    """Kind of unit of a parameter: 'thickness', 'air_fin.pitch'."""
    return KINDS.get(name) or _FIN_KINDS.get(name.partition(".")[2], "small length")


def dimension(s: Subject, name: str, label: str = "", note: str = "") -> Entry:
    """A parameter of the core with its tolerance."""
    kind, system, value = kind_of(name), s.problem.study.units, s.values[name]
    tolerance = s.tolerances.get(name)
    label = label or words(name.rpartition(".")[2])
    if tolerance is None:
        return Entry(label, _shown(value, kind, system), units.unit_symbol(kind, system), law=NO_TOLERANCE, note=note)
    below, above = reach(tolerance, value)
    return Entry(
        label, _shown(value, kind, system), units.unit_symbol(kind, system),
        _shown(max(value - below, 0.0), kind, system), _shown(value + above, kind, system),
        law_words(name, tolerance, system), tolerance.sigmas, note,
    )


def law_words(name: str, tolerance: Tolerance, system: str) -> str:
    """'± 0.5 mm, normal', '-0.1/+0.3 mm, triangular', '± 0.2 mm, 30 samples measured'."""
    width = width_text(name, tolerance, system)
    law = f"{len(tolerance.deviations)} samples measured" if tolerance.law == "measured" else tolerance.law
    cut = ", beyond it sorted out" if tolerance.bounded else ""
    return f"{width if width.startswith('-') else f'± {width}'}, {law}{cut}"


def follows(s: Subject, name: str, note: str = "") -> Entry:
    """An output of the core, and where 95 % of its copies have it."""
    output, system = OUTPUTS[name], s.problem.study.units
    made = s.copies[name][np.isfinite(s.copies[name])]
    value, unit = _shown(s.sheet.rating[name][0], output.kind, system), units.unit_symbol(output.kind, system)
    low, high = np.percentile(made, INNER, method="inverted_cdf") if made.size else (np.nan, np.nan)
    if not high > low:
        return Entry(output.label, value, unit, law="follows", note=note)
    bounds = _shown(low, output.kind, system), _shown(high, output.kind, system)
    return Entry(output.label, value, unit, *bounds, FOLLOWS, None, note)


def summed(s: Subject, name: str, note: str = "") -> Entry:
    """A length made of others, between what it is with all of them at their worst ends (the arithmetic sum).

    A core whose every dimension is within its tolerance is then within these bounds too.
    """
    output, system = OUTPUTS[name], s.problem.study.units
    value = float(s.sheet.rating[name][0])
    steps = s.ends[name].reshape(-1, 2) - value
    low, high = value + np.minimum(steps.min(axis=1), 0.0).sum(), value + np.maximum(steps.max(axis=1), 0.0).sum()
    shown, unit = _shown(value, output.kind, system), units.unit_symbol(output.kind, system)
    if not high - low > _SMALLEST:
        return Entry(output.label, shown, unit, law="follows", note=note)
    bounds = _shown(low, output.kind, system), _shown(high, output.kind, system)
    return Entry(output.label, shown, unit, *bounds, SUMMED, None, note)


def _shown(value: float, kind: str, system: str) -> float:
    return float(units.to_display(value, kind, system))


def passes_words(s: Subject) -> str:
    """'2 through the thickness'."""
    return str(s.problem.space.labels("passes", s.core["passes"])[0])


def chosen(s: Subject, name: str) -> str:
    """The name of the fin, turbulator or port of the core, as the catalogue has it."""
    return str(s.problem.space.labels(name, s.core[name])[0])


def _core_block(s: Subject) -> Section:
    n, passes = s.values["passages"], passes_words(s)
    order = {
        "through the thickness": "the coolant meets the leaving air first", "side by side": "the stack in banks",
    }.get(passes.partition(" ")[2], "")
    divided = [dimension(s, "divider_width")] if s.values["passes"] > 1 and not s.values["side_by_side"] else []
    return Section("Core block", (
        dimension(s, "length", "core length", "along the coolant"),
        dimension(s, "thickness", "core thickness", "along the air"),
        summed(s, "stack_height", "over the side plates"),
        summed(s, "overall_length"),
        Entry("coolant passages", n), Entry("air passages", n + 1, note="air outermost on both sides"),
        Entry("coolant passes", clean(passes), note=order),
        dimension(s, "plate_thickness", "parting plate thickness"), dimension(s, "side_plate_thickness"),
        dimension(s, "air_bar_width"), dimension(s, "coolant_bar_width"), *divided,
    ))


def _fin(s: Subject, title: str, part: str, roll: FinRoll) -> Section:
    entries = [Entry("catalogue entry", clean(roll.name, 60), note=f"{roll.family} fins")]
    names = [*DIMENSIONS[roll.family], *(key for key in roll.values if key not in DIMENSIONS[roll.family])]
    for key in (key for key in names if key in roll.values):
        note = "height over all, between the plates" if key == "spacing" else ""
        entries.append(dimension(s, f"{part}.{key}", note=note))
        if key == "pitch":
            entries.append(_density(s, f"{part}.pitch"))
    if roll.table is not None:
        entries.append(Entry("measured j and f", float(len(roll.table)), "points", note="the owner's own measurement"))
    return Section(f"{title}: {clean(roll.name, 60)}", tuple(entries))


def _density(s: Subject, name: str) -> Entry:
    """Fins in an inch, the measure of the trade in either system of units."""
    value, tolerance = s.values[name], s.tolerances.get(name)
    if tolerance is None:
        return Entry("fin density", _PER_INCH / value, "1/in", law=NO_TOLERANCE)
    below, above = reach(tolerance, value)
    low, high = _PER_INCH / (value + above), _PER_INCH / (value - below)
    return Entry("fin density", _PER_INCH / value, "1/in", low, high, "follows from the pitch")


def _air_fin(s: Subject) -> Section:
    return _fin(s, "Air fin", "air_fin", s.problem.study.air_fins[chosen(s, "air_fin")])


def _turbulator(s: Subject) -> Section:
    return _fin(s, "Turbulator, coolant side", "coolant_fin", s.problem.study.turbulators[chosen(s, "turbulator")])


def _tanks(s: Subject) -> Section:
    header = {
        "centre": "ports at the middle of the stack", "same end": "both ports at one end of the stack",
        "opposite ends": "ports at opposite ends of the stack",
    }[s.problem.study.header]
    rooms = [float(len(tank.chambers)) for tank in s.placed.tanks]
    return Section("Tanks", (
        dimension(s, "tank_length", "inside length of each tank", "along the core"),
        dimension(s, "tank_wall", "wall", "the walls between chambers too"),
        dimension(s, "seal_land", "seal land round a port"),
        Entry("chambers, tank at the inlet", rooms[0]), Entry("chambers, tank at the far end", rooms[1]),
        Entry("header", clean(s.problem.study.header), note=header),
    ))


def _ports(s: Subject) -> Section:
    name = chosen(s, "port")
    port = s.problem.study.ports[name]
    entries = [Entry("catalogue entry", clean(name, 60), note=_shape_words(port.shape))]
    entries += [dimension(s, f"port.{key}") for key in DIMENSIONS[port.shape] if key in port.values]
    entries += [follows(s, "port_area"), follows(s, "port_open_share")]
    for opening in s.placed.ports:
        entries += _place(s, opening)
    return Section(f"Coolant ports: {clean(name, 60)}", tuple(entries))


def _shape_words(shape: str) -> str:
    return {"round": "round", "D": "D: segment of a circle, flat towards the flange", "slot": "slot along the stack"}[
        shape
    ]


def _place(s: Subject, port: Opening) -> list[Entry]:
    """Where an opening lies: what the casting designer needs."""
    system, end = s.problem.study.units, "inlet end" if port.end < 0 else "far end"
    unit = units.unit_symbol("length", system)
    up, across = -port.centre, port.y
    return [
        Entry(f"{port.name}, middle below the flange", _shown(up, "length", system), unit, note=f"at the {end}"),
        Entry(f"{port.name}, off the middle of the stack", _shown(across, "length", system), unit),
    ]


def _material(s: Subject) -> Section:
    return Section("Material", tuple(
        dimension(s, name, note="braze alloy and temper: the supplier's" if name == "density" else "")
        for name in ("density", "fin_conductivity", "plate_conductivity")
    ))


def _assumed(s: Subject) -> Section:
    taken = "of the free-flow area, by braze and squashed fins"
    return Section("Assumed of making and service", (
        dimension(s, "air_blockage", note=taken), dimension(s, "coolant_blockage", note=taken),
        dimension(s, "air_fouling", note="in service; none on a new core"),
        dimension(s, "coolant_fouling", note="in service; none on a new core"),
        dimension(s, "turn_loss", "loss coefficient of a turn in a tank"),
    ))


def _weights(s: Subject) -> Section:
    names = (
        "dry_mass", "filled_mass", "coolant_volume", "air_area", "coolant_area", "air_free_flow_area",
        "coolant_free_flow_area",
    )
    notes = {"dry_mass": "without port bosses and fittings", "filled_mass": "coolant at 20 °C"}
    return Section("Masses, volumes, areas", tuple(follows(s, name, notes.get(name, "")) for name in names))


def _pocket(s: Subject) -> Section:
    system, pocket = s.problem.study.units, s.problem.study.envelope
    unit = units.unit_symbol("length", system)
    sizes = (
        ("pocket length", pocket.pocket_length, "along the coolant"), ("pocket width", pocket.pocket_width, "along the "
        "stack"), ("pocket depth", pocket.pocket_depth, "below the flange"),
        ("room above the flange", pocket.proud_height, "under the lid"),
    )
    rows = [Entry(label, _shown(value, "length", system), unit, note=note) for label, value, note in sizes]
    rows += [summed(s, name, "" if s.sheet.rating[name][0] >= -1e-12 else "DOES NOT FIT") for name in CLEARANCES]
    return Section("In the pocket", tuple(rows))


def _bench(s: Subject) -> Section:
    """The largest flow of each stream; the sheet Bench has the rest."""
    system = s.problem.study.units
    unit = units.unit_symbol("pressure", system)
    entries = []
    for stream in s.bench:
        point = stream.points[-1]
        low, high = (_shown(v, "pressure", system) for v in point.both)
        entries.append(Entry(
            f"{stream.name} loss, {clean(stream.fluid, 80)}", _shown(point.loss, "pressure", system), unit, low, high,
            BENCH, None, f"at {flow_words(stream, system)}",
        ))
    return Section("Flow bench at 20 °C, largest flow (see Bench)", tuple(entries))


def flow_words(stream: Stream, system: str) -> str:
    """The largest flow of a stream as it is set on a bench: the air's mass flow, the coolant's volume flow."""
    point = stream.points[-1]
    if stream.name == "air":
        return units.show(point.mass_flow, "mass flow", system)
    return units.show(point.volume_flow, "volume flow", system)


def source_lines(s: Subject) -> list[str]:
    """Where the losses come from, and the bands they are trusted within."""
    band = fitted_bands(s.problem.study, s.sheet.batch.air_family, s.sheet.batch.coolant_family)
    parts = [f"{words(name)} {100 * low:+.0f} to {100 * high:+.0f} %" for name, (low, high) in band.items()]
    return [f"Bands of the correlations: {', '.join(parts)}.", *(clean(line, 400) for line in s.sheet.sources())]


def every(sections: Iterable[Section]) -> list[Entry]:
    """All lines of all sections."""
    return [entry for section in sections for entry in section.entries]
