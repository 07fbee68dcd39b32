"""`load(path)`: a study file and its catalogues to a typed `Study`, or all their faults at once."""

import os
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from pydantic import ValidationError

from optimize.study import goals, schema
from optimize.study.agreement import agreement_faults
from optimize.study.duty_points import duty_point, outside, run_tolerances
from optimize.study.faults import Fault, StudyFaults, fault_at
from optimize.study.fitted_model import fitted_model
from optimize.study.lines import line_of
from optimize.study.model import (
    Coolant,
    Envelope,
    FinRoll,
    Limit,
    Objective,
    PortType,
    Search,
    Study,
    Variable,
)
from optimize.study.model_system import Blower
from optimize.study.shelves import (
    Desk,
    line_types,
    names_in,
    port_types,
    rolls,
    samples_reader,
    shelf,
    toleranced,
    trace_reader,
)
from optimize.study.toml_file import TomlFile, UnreadableError, read_toml
from optimize.study.variables import named
from physics.fluid import Fluid
from physics.properties import coolant

MakeCoolant = Callable[[str, float | None, str | None], Fluid]


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
    air_fins, turbulators, ports = (shelf(desk, source, key) for key in ("air_fins", "turbulators", "ports"))
    lines = shelf(desk, source, "lines")
    fitted = fitted_model(desk, source)
    fluid = _fluid(desk, source, make_coolant)
    duties = names_in(source.raw.get("duty")) or ()
    known = schema.Known(
        duties, air_fins.names, turbulators.names, ports.names, lines.names, fluid, schema.as_meant(source.raw),
        trace_reader(desk), samples_reader(desk, desk.study, "study"),
        {"air_fin": toleranced(air_fins), "coolant_fin": toleranced(turbulators), "port": toleranced(ports)},
    )
    file = _study_file(desk, source, known)
    if desk.faults or file is None or fluid is None:
        raise StudyFaults(desk.faults, desk.study)
    study = _study(file, source, fluid, (rolls(air_fins), rolls(turbulators), port_types(ports)), desk.files)
    return replace(study, lines=line_types(lines), fitted=fitted, **_system(file, source))


def _study_wording(what: str) -> str:
    return "no such study file" if what == "no such file" else what


def _study_file(desk: Desk, source: TomlFile, known: schema.Known) -> schema.StudyFile | None:
    for path, error in goals.list_faults(source.raw):
        context = error.context or {}
        fault = Fault(source.path, line_of(path, source.lines), f"[[{path[0]}]]: {context['what']}", context["do"])
        desk.faults.append(fault)
    desk.faults += [fault_at(path, error, source.path, source.lines) for path, error in agreement_faults(known.raw)]
    try:
        return schema.StudyFile.model_validate(source.raw, context=known)
    except ValidationError as error:
        desk.note(source, error)
        return None


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


def _system(file: schema.StudyFile, source: TomlFile) -> dict[str, Any]:
    """What stands around the core, by its name in `Study`."""
    tables = {"loop": file.loop, "engine": file.engine, "net_gain": file.net_gain, "soak": file.soak}
    return {"blower": _blower(file, source), **{key: table and table.typed() for key, table in tables.items()}}


def _blower(file: schema.StudyFile, source: TomlFile) -> Blower | None:
    """With its leakage, a blower is computed for the air outside, of the first duty point if there is no [ambient]."""
    if file.blower is None:
        return None
    air = outside(next(iter(file.duty.values())), file.ambient)
    try:
        return file.blower.typed(air["ambient_temperature"], air["ambient_pressure"])
    except ValueError as error:
        line = line_of(("blower", "leakage"), source.lines)
        what, do = f"'leakage' in [blower]: {error}", "check area and speed, and their units"
        raise StudyFaults([Fault(source.path, line, what, do)], source.path) from None


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
        duty=tuple(duty_point(name, table, file.ambient, fluid) for name, table in file.duty.items()),
        envelope=Envelope(**dict(file.envelope)),
        variables=_variables(file), header=file.tanks.header,
        air_fins=air_fins, turbulators=turbulators, ports=ports,
        objectives=tuple(_objective(table) for table in file.objectives),
        limits=tuple(Limit(table.output, table.min, table.max, table.at, table.of) for table in file.limits),
        search=Search(**dict(file.search)), scatter=file.scatter.typed(),
        bands={key: band for key, band in file.model if isinstance(band, tuple)},
        files=files,
        run_tolerances=run_tolerances(file.duty, file.ambient, fluid),
        robust=file.robust.typed() if file.robust is not None else None,
    )  # fmt: skip


def _variables(file: schema.StudyFile) -> dict[str, Variable]:
    tables = {"core": file.core, "tanks": file.tanks, "material": file.material, "ducts": file.ducts, "loop": file.loop}
    return {
        f"{top}.{key}": named(value, f"{top}.{key}")
        for top, table in tables.items()
        for key, value in table or ()
        if isinstance(value, Variable)
    }


def _objective(table: goals.ObjectiveTable) -> Objective:
    return Objective(table.maximise or table.minimise or "", table.maximise is not None, table.at, table.of)
