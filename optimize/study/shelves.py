"""The files a study names: its catalogues, and the tables and traces beside them."""

import os
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path as FilePath
from typing import Any, Concatenate, ParamSpec, TypeVar

from pydantic import ValidationError

from optimize.study import catalogue
from optimize.study.catalogue_entries import FinTolerances, PortTolerances, Reading, TableRow, Tolerances, given
from optimize.study.catalogue_lines import LineFile, line_type
from optimize.study.faults import Fault, faults_of, refusal
from optimize.study.lines import line_of
from optimize.study.measured import read_measured
from optimize.study.model import FinRoll, PortType
from optimize.study.model_system import LineType
from optimize.study.samples import read_samples
from optimize.study.toml_file import TomlFile, UnreadableError, beside, read_toml
from optimize.study.trace import Recording, read_trace
from optimize.study.values import ReadSamples, Table
from optimize.units import quoted

Way = ParamSpec("Way")
Content = TypeVar("Content")


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


def names_in(table: object) -> tuple[str, ...] | None:
    return tuple(table) if isinstance(table, dict) else None


_SHELVES: dict[str, tuple[str, tuple[str, ...], type[Table], type[Tolerances]]] = {
    "air_fins": ("fin", catalogue.AIR_FAMILIES, catalogue.FinFile, FinTolerances),
    "turbulators": ("turbulator", catalogue.COOLANT_FAMILIES, catalogue.TurbulatorFile, FinTolerances),
    "ports": ("port", (), catalogue.PortFile, PortTolerances),
    "lines": ("line", (), LineFile, PortTolerances),
}


def shelf(desk: Desk, study: TomlFile, key: str) -> Shelf:
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
    bare = Reading(families, {}, _table_reader(desk, source.path), samples_reader(desk, source.path, "catalogue"))
    reading = replace(bare, defaults=_defaults(source.raw, tolerances, bare))
    names = names_in(source.raw.get(top))
    try:
        return Shelf(names, file.model_validate(source.raw, context=reading), reading)
    except ValidationError as error:
        desk.note(source, error)
        return Shelf(names)


def _defaults(raw: dict[str, Any], tolerances: type[Tolerances], reading: Reading) -> dict[str, Any]:
    """The file's own tolerances, or none while they are at fault: that is told with the rest of the file."""
    try:
        return given(tolerances.model_validate(raw.get("tolerances", {}), context=reading))
    except ValidationError:
        return {}


def _reader(
    desk: Desk, path: str, owner: str, nothing: Content,
    read: Callable[Concatenate[str, Way], tuple[Content, list[Fault], str]],
) -> Callable[Concatenate[str, Way], Content]:
    """Reads files named in the file at a path: keeps their texts, notes their faults, refuses those not to be read."""

    def read_beside(name: str, /, *args: Way.args, **kwargs: Way.kwargs) -> Content:
        place = beside(path, name)
        try:
            content, faults, text = read(place, *args, **kwargs)
        except UnreadableError as error:
            if what := desk.unreadable(error.fault):
                raise refusal(what, f"paths are read from the folder of the {owner}") from None
            return nothing
        desk.keep(place, text)
        desk.faults += faults
        return content

    return read_beside


def _table_reader(desk: Desk, path: str) -> Callable[[str], tuple[TableRow, ...]]:
    return _reader(desk, path, "catalogue", (), read_measured)


def trace_reader(desk: Desk) -> Callable[[str], Recording]:
    return _reader(desk, desk.study, "study", Recording(), read_trace)


def samples_reader(desk: Desk, path: str, owner: str) -> ReadSamples:
    """Reader of the samples that the file at a path names; `owner` is what that file is."""
    return _reader(desk, path, owner, (), read_samples)


def rolls(shelf: Shelf) -> dict[str, FinRoll]:
    assert isinstance(shelf.file, (catalogue.FinFile, catalogue.TurbulatorFile))
    assert shelf.reading is not None
    entries = shelf.file.fin if isinstance(shelf.file, catalogue.FinFile) else shelf.file.turbulator
    return {name: catalogue.fin_roll(name, entry, shelf.reading) for name, entry in entries.items()}


def port_types(shelf: Shelf) -> dict[str, PortType]:
    assert isinstance(shelf.file, catalogue.PortFile)
    assert shelf.reading is not None
    return {name: catalogue.port_type(name, entry, shelf.reading) for name, entry in shelf.file.port.items()}


def line_types(shelf: Shelf) -> dict[str, LineType]:
    entries = shelf.file.line if isinstance(shelf.file, LineFile) else {}
    return {name: line_type(name, entry) for name, entry in entries.items()}


def toleranced(shelf: Shelf) -> dict[str, frozenset[str]] | None:
    """The dimensions of each fin or port that have a tolerance; None while the catalogue is at fault."""
    if shelf.file is None:
        return None
    entries = port_types(shelf) if isinstance(shelf.file, catalogue.PortFile) else rolls(shelf)
    return {name: frozenset(entry.tolerances) for name, entry in entries.items()}
