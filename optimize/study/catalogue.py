"""Catalogue files as written, and their entries as the program works with them."""

import re
from typing import Annotated

from pydantic import AfterValidator, Field, PlainValidator, ValidationInfo

from optimize.study.catalogue_entries import (
    DPort,
    FinTolerances,
    Louver,
    Measured,
    OffsetStrip,
    OpenPassage,
    Plain,
    PortTolerances,
    Reading,
    RoundPort,
    SlotPort,
    Wavy,
    dimensions_of,
    effective,
)
from optimize.study.faults import did_you_mean, refusal, refusals, shown
from optimize.study.model import FinRoll, PortType
from optimize.study.values import Table

AIR_FAMILIES = ("offset strip", "plain", "louver", "wavy", "measured")
COOLANT_FAMILIES = ("offset strip", "plain", "open", "measured")
SHAPES = ("round", "D", "slot")
Roll = OffsetStrip | Plain | Louver | Wavy | Measured | OpenPassage
Port = RoundPort | DPort | SlotPort
_ROLLS: dict[str, type[Roll]] = {
    "offset strip": OffsetStrip, "plain": Plain, "louver": Louver, "wavy": Wavy,
    "measured": Measured, "open": OpenPassage,
}  # fmt: skip
_PORTS: dict[str, type[Port]] = {"round": RoundPort, "D": DPort, "slot": SlotPort}


def _variant(raw: object, key: str, allowed: tuple[str, ...]) -> str:
    """The word that says which table this is."""
    if not isinstance(raw, dict):
        raise refusal(f"expected a table, got {shown(raw)}", "write [fin.NAME], [turbulator.NAME] or [port.NAME]")
    word = raw.get(key)
    if word not in allowed:
        what = f"missing key '{key}'" if word is None else f"unknown {key} {shown(word)}"
        do = did_you_mean(word if isinstance(word, str) else "", allowed)
        raise refusals([(key, refusal(what, do, "key" if word is None else "value"))])
    return str(word)


def _roll(raw: object, info: ValidationInfo[Reading]) -> Roll:
    kind = _ROLLS[_variant(raw, "family", info.context.families)]
    return kind.model_validate(raw, context=info.context)


def _port(raw: object, info: ValidationInfo[Reading]) -> Port:
    return _PORTS[_variant(raw, "shape", SHAPES)].model_validate(raw, context=info.context)


def _entry_name(name: str) -> str:
    if name == "all" or not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9 ._+-]{0,39}", name):
        do = "use letters, digits, spaces and - _ . +, up to 40; not 'all'"
        raise refusal("this cannot be the name of an entry", do)
    return name


EntryName = Annotated[str, AfterValidator(_entry_name)]
Rolls = dict[EntryName, Annotated[Roll, PlainValidator(_roll)]]
Ports = dict[EntryName, Annotated[Port, PlainValidator(_port)]]


class FinFile(Table):
    """A catalogue of air fins."""

    title: str = ""
    about: str = ""
    tolerances: FinTolerances = FinTolerances()
    fin: Rolls = Field(min_length=1)


class TurbulatorFile(Table):
    """A catalogue of turbulators."""

    title: str = ""
    about: str = ""
    tolerances: FinTolerances = FinTolerances()
    turbulator: Rolls = Field(min_length=1)


class PortFile(Table):
    """A catalogue of ports."""

    title: str = ""
    about: str = ""
    tolerances: PortTolerances = PortTolerances()
    port: Ports = Field(min_length=1)


def fin_roll(name: str, entry: Roll, reading: Reading) -> FinRoll:
    """The entry as the program works with it."""
    data = dict(entry)
    numbers = dimensions_of(data)
    tolerances = effective(entry.tolerances, reading, numbers)
    return FinRoll(name, entry.family, numbers, tolerances, data.get("table"), data.get("band_j"), data.get("band_f"))


def port_type(name: str, entry: Port, reading: Reading) -> PortType:
    """The entry as the program works with it."""
    numbers = dimensions_of(dict(entry))
    return PortType(name, entry.shape, numbers, effective(entry.tolerances, reading, numbers))
