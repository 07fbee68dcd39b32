"""`load(path)`: a study file and its catalogues to a typed `Study`, or all their faults at once."""

import os
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path as FilePath
from typing import Any

from pydantic import ValidationError

from optimize.study import catalogue, goals, schema
from optimize.study.catalogue_entries import FinTolerances, PortTolerances, Reading, TableRow, Tolerances, given
from optimize.study.faults import Fault, StudyFaults, faults_of, refusal
from optimize.study.lines import line_of
from optimize.study.measured import read_measured
from optimize.study.model import (
    Coolant,
    DutyPoint,
    Envelope,
    FinRoll,
    Limit,
    Objective,
    PortType,
    Scatter,
    Search,
    Study,
    Variable,
)
from optimize.study.toml_file import TomlFile, UnreadableError, beside, read_toml
from optimize.study.values import Table
from optimize.study.variables import named
from optimize.units import quoted
from physics.properties import Fluid, coolant

MakeCoolant = Callable[[str, float | None, str | None], Fluid]
ATMOSPHERE = 101_325.0  # Pa; the density of a liquid does not ask for it


@dataclass
class Desk:
    """What is gathered while the files of one study are read: faults, and the texts of the files it names."""

    study: str
    faults: list[Fault] = field(default_factory=list)
    files: dict[str, str] = field(default_factory=dict)

    def keep(self, path: str, text: str) -> None:
        self.files[FilePath(os.path.relpath(path, os.path.dirname(self.study) or ".")).as_posix()] = text

    def note(self, source: TomlFile, error: ValidationError) -> None:
        self.faults += faults_of(error, source.path, source.lines)

    def unreadable(self, fault: Fault) -> str:
        """What to say where the file is named; a fault with a line is told of the file itself."""
        if fault.line is None:
            return f"{fault.what}: {quoted(fault.file)}"
        self.faults.append(fault)
        return ""


@dataclass(frozen=True)
class Shelf:
    """One catalogue as far as it could be read; `names` even where entries are at fault."""

    names: tuple[str, ...] | None = None
    file: Table | None = None
    reading: Reading | None = None


def load(path: str | os.PathLike[str], make_coolant: MakeCoolant = coolant) -> Study:
    """The study of a file.

    Parameters
    ----------
    path : of the study file; its catalogues are found from its folder.
    make_coolant : name, strength and basis to a fluid; raises ValueError for a mixture it does not know.

    Raises
    ------
    StudyFaults
        with every fault of the study, its catalogues and its measured tables.
    """
    desk = Desk(os.fspath(path))
    try:
        source = read_toml(desk.study)
    except UnreadableError as error:
        raise StudyFaults([replace(error.fault, what=_study_wording(error.fault.what))], desk.study) from None
    air_fins, turbulators, ports = (_shelf(desk, source, key) for key in ("air_fins", "turbulators", "ports"))
    fluid = _fluid(desk, source, make_coolant)
    duties = _names(source.raw.get("duty")) or ()
    known = schema.Known(duties, air_fins.names, turbulators.names, ports.names, fluid)
    file = _study_file(desk, source, known)
    if desk.faults or file is None or fluid is None:
        raise StudyFaults(desk.faults, desk.study)
    return _study(file, source, fluid, (_rolls(air_fins), _rolls(turbulators), _ports(ports)), desk.files)


def _study_wording(what: str) -> str:
    return "no such study file" if what == "no such file" else what


def _study_file(desk: Desk, source: TomlFile, known: schema.Known) -> schema.StudyFile | None:
    for path, error in goals.list_faults(source.raw):
        context = error.context or {}
        fault = Fault(source.path, line_of(path, source.lines), f"[[{path[0]}]]: {context['what']}", context["do"])
        desk.faults.append(fault)
    try:
        return schema.StudyFile.model_validate(source.raw, context=known)
    except ValidationError as error:
        desk.note(source, error)
        return None


def _names(table: object) -> tuple[str, ...] | None:
    return tuple(table) if isinstance(table, dict) else None


_SHELVES: dict[str, tuple[str, tuple[str, ...], type[Table], type[Tolerances]]] = {
    "air_fins": ("fin", catalogue.AIR_FAMILIES, catalogue.FinFile, FinTolerances),
    "turbulators": ("turbulator", catalogue.COOLANT_FAMILIES, catalogue.TurbulatorFile, FinTolerances),
    "ports": ("port", (), catalogue.PortFile, PortTolerances),
}


def _shelf(desk: Desk, study: TomlFile, key: str) -> Shelf:
    """The catalogue under a key of [catalogues]; a file that cannot be read is a fault of the study's line."""
    paths = study.raw.get("catalogues")
    path = paths.get(key) if isinstance(paths, dict) else None
    if not isinstance(path, str):
        return Shelf()
    try:
        source = read_toml(beside(study.path, path))
    except UnreadableError as error:
        if what := desk.unreadable(error.fault):
            line = line_of(("catalogues", key), study.lines)
            do = "paths are read from the folder of the study"
            desk.faults.append(Fault(study.path, line, f"'{key}' in [catalogues]: {what}", do))
        return Shelf()
    desk.keep(source.path, source.text)
    return _entries(desk, source, key)


def _entries(desk: Desk, source: TomlFile, key: str) -> Shelf:
    top, families, file, tolerances = _SHELVES[key]
    reading = Reading(families, _defaults(source.raw, tolerances), _table_reader(desk, source.path))
    names = _names(source.raw.get(top))
    try:
        return Shelf(names, file.model_validate(source.raw, context=reading), reading)
    except ValidationError as error:
        desk.note(source, error)
        return Shelf(names)


def _defaults(raw: dict[str, Any], tolerances: type[Tolerances]) -> dict[str, Any]:
    """The file's own tolerances, or none while they are at fault: that is told with the rest of the file."""
    try:
        return given(tolerances.model_validate(raw.get("tolerances", {})))
    except ValidationError:
        return {}


def _table_reader(desk: Desk, path: str) -> Callable[[str], tuple[TableRow, ...]]:
    def read_table(name: str) -> tuple[TableRow, ...]:
        try:
            rows, faults, text = read_measured(beside(path, name))
        except UnreadableError as error:
            if what := desk.unreadable(error.fault):
                raise refusal(what, "paths are read from the folder of the catalogue") from None
            return ()
        desk.keep(beside(path, name), text)
        desk.faults += faults
        return rows

    return read_table


def _fluid(desk: Desk, source: TomlFile, make_coolant: MakeCoolant) -> Fluid | None:
    """The coolant, or None while its table is at fault."""
    try:
        table = schema.CoolantTable.model_validate(source.raw.get("coolant"))
    except ValidationError:
        return None
    try:
        return make_coolant(table.fluid, table.strength, table.basis)
    except ValueError as error:
        line = line_of(("coolant", "strength"), source.lines)
        what, do = f"'strength' in [coolant]: {error}", "give a strength in that range"
        desk.faults.append(Fault(source.path, line, what, do))
        return None


def _rolls(shelf: Shelf) -> dict[str, FinRoll]:
    assert isinstance(shelf.file, (catalogue.FinFile, catalogue.TurbulatorFile))
    assert shelf.reading is not None
    entries = shelf.file.fin if isinstance(shelf.file, catalogue.FinFile) else shelf.file.turbulator
    return {name: catalogue.fin_roll(name, entry, shelf.reading) for name, entry in entries.items()}


def _ports(shelf: Shelf) -> dict[str, PortType]:
    assert isinstance(shelf.file, catalogue.PortFile)
    assert shelf.reading is not None
    return {name: catalogue.port_type(name, entry, shelf.reading) for name, entry in shelf.file.port.items()}


def _study(
    file: schema.StudyFile,
    source: TomlFile,
    fluid: Fluid,
    shelves: tuple[dict[str, FinRoll], dict[str, FinRoll], dict[str, PortType]],
    files: dict[str, str],
) -> Study:
    air_fins, turbulators, ports = shelves
    return Study(
        path=source.path, text=source.text, title=file.title, about=file.about, seed=file.seed, units=file.units,
        coolant=Coolant(file.coolant.fluid, file.coolant.strength, file.coolant.basis),
        duty=tuple(_duty_point(name, table, fluid) for name, table in file.duty.items()),
        envelope=Envelope(**dict(file.envelope)),
        variables=_variables(file), header=file.tanks.header,
        air_fins=air_fins, turbulators=turbulators, ports=ports,
        objectives=tuple(_objective(table) for table in file.objectives),
        limits=tuple(Limit(table.output, table.min, table.max, table.at) for table in file.limits),
        search=Search(**dict(file.search)), scatter=Scatter(**dict(file.scatter)),
        bands={key: band for key, band in file.model if band is not None},
        files=files,
    )  # fmt: skip


def _duty_point(name: str, table: schema.DutyTable, fluid: Fluid) -> DutyPoint:
    flow, kind = table.coolant_flow
    if kind == "volume flow":
        flow *= float(fluid.density(table.coolant_temperature, ATMOSPHERE))
    return DutyPoint(
        name, table.weight, table.air_flow, table.air_temperature, table.air_pressure, flow, table.coolant_temperature
    )


def _variables(file: schema.StudyFile) -> dict[str, Variable]:
    tables = {"core": file.core, "tanks": file.tanks, "material": file.material, "ducts": file.ducts}
    return {
        f"{top}.{key}": named(value, f"{top}.{key}")
        for top, table in tables.items()
        for key, value in table
        if isinstance(value, Variable)
    }


def _objective(table: goals.ObjectiveTable) -> Objective:
    return Objective(table.maximise or table.minimise or "", table.maximise is not None, table.at)
