"""What the comments of a bench file declare, and its cells."""

import csv
import re
from dataclasses import dataclass, field
from difflib import get_close_matches

from optimize.fitting.quantities import ALIASES, DYNO_LOG, KINDS, RIGS
from optimize.study.faults import Fault, StudyFaults, did_you_mean
from optimize.units import UnitError, parse, quoted

_KEYS = ("rig", "fluid", "decimal", "uncertainty", "common", "ducts", "window", "steady")
_PADDING = ' \t,;"'
_ALIKE = 0.75  # beyond this a comment is taken for a misspelt declaration
_LISTS = ("uncertainty", "common")  # what may go on in a further line
_FLUID = re.compile(r"(?P<fluid>[a-z ]+?)(?: (?P<strength>[0-9.]+) % by (?P<basis>volume|mass))?")


@dataclass(frozen=True)
class Declared:
    """The rig, the coolant (name, strength, basis) where not the study's, and what else a file says of itself.

    ducts : whether lid and plenum were on the core. window [s], steady [K]: how a log is cut into steady parts.
    """

    rig: str
    fluid: tuple[str, float | None, str | None] | None = None
    decimal_comma: bool = False
    uncertainty: dict[str, str] = field(default_factory=dict)
    common: dict[str, str] = field(default_factory=dict)
    ducts: bool = False
    window: float = 10.0
    steady: float = 1.0


def declared(path: str, text: str) -> tuple[Declared, list[tuple[int, list[str]]]]:
    """What a file declares, and its lines of cells with their numbers, the header first. Raises StudyFaults."""
    faults: list[Fault] = []
    said: dict[str, tuple[int, str]] = {}
    lines: list[tuple[int, str]] = []
    for number, line in enumerate(text.splitlines(), 1):
        stripped = line.strip().strip('"').rstrip(_PADDING)  # a spreadsheet quotes a comment, and fills its row
        if stripped.startswith("#"):
            key, colon, value = (part.strip() for part in stripped.lstrip("#").partition(":"))
            key = key.lower()
            if colon and key in _KEYS:
                if key in said and key not in _LISTS:
                    faults.append(Fault(path, number, f"'{key}' is said twice", "keep one"))
                said[key] = (number, f"{said[key][1]}, {value}" if key in said else value)
            elif colon and get_close_matches(key, _KEYS, n=1, cutoff=_ALIKE):
                faults.append(Fault(path, number, f"unknown '{key}'", did_you_mean(key, _KEYS)))
        elif stripped:
            lines.append((number, line))
    try:
        found = _declared(said)
    except _WrongError as error:
        faults.append(Fault(path, error.line, error.what, error.do))
    if not lines:
        faults.append(Fault(path, None, "the file holds no table", "a line of column names, then a line a row"))
    if faults:
        raise StudyFaults(faults)
    head = lines[0][1]
    mark = max(";\t,", key=head.count) if found.decimal_comma is False else max(";\t", key=head.count)
    cells = csv.reader([line for _, line in lines], delimiter=mark)
    return found, [(number, row) for (number, _), row in zip(lines, cells, strict=True)]


class _WrongError(Exception):
    def __init__(self, line: int | None, what: str, do: str) -> None:
        super().__init__(what)
        self.line, self.what, self.do = line, what, do


def _declared(said: dict[str, tuple[int, str]]) -> Declared:
    rigs = ", ".join(RIGS)
    if "rig" not in said:
        raise _WrongError(None, "the file does not say what rig it is of", f"add a line '# rig: ...', one of {rigs}")
    line, rig = said["rig"]
    if rig not in RIGS:
        raise _WrongError(line, f"unknown rig {quoted(rig)}", did_you_mean(rig, RIGS))
    return Declared(
        rig, _fluid(said),
        decimal_comma=_choice(said, "decimal", ("point", "comma")) == "comma",
        uncertainty=_pairs(said, "uncertainty"), common=_pairs(said, "common"),
        ducts=_choice(said, "ducts", ("no", "yes")) == "yes",
        window=_number(said, "window", "time", 10.0, rig),
        steady=_number(said, "steady", "temperature difference", 1.0, rig),
    )


def _choice(said: dict[str, tuple[int, str]], key: str, choices: tuple[str, str]) -> str:
    line, value = said.get(key, (None, choices[0]))
    if value not in choices:
        raise _WrongError(line, f"'{key}' is {quoted(value)}", f"say {' or '.join(choices)}")
    return value


def _number(said: dict[str, tuple[int, str]], key: str, kind: str, usual: float, rig: str) -> float:
    if key not in said:
        return usual
    line, text = said[key]
    if rig != DYNO_LOG:
        raise _WrongError(line, f"'{key}' is for a {DYNO_LOG}", "leave it out")
    try:
        value = parse(text, kind)
    except UnitError as error:
        raise _WrongError(line, f"'{key}': {error.what}", error.do) from None
    if value <= 0:
        raise _WrongError(line, f"'{key}' is not above zero", "give a longer one")
    return value


def _pairs(said: dict[str, tuple[int, str]], key: str) -> dict[str, str]:
    if key not in said:
        return {}
    line, text = said[key]
    found = {}
    for part in text.split(","):
        name, _, value = part.strip().partition(" ")
        name = ALIASES.get(name, name)
        if name not in KINDS:
            raise _WrongError(line, f"'{key}' of the unknown {quoted(name)}", did_you_mean(name, KINDS))
        if name in found:
            raise _WrongError(line, f"'{key}' of '{name}' is said twice", "keep one")
        found[name] = value.strip()
    return found


def _fluid(said: dict[str, tuple[int, str]]) -> tuple[str, float | None, str | None] | None:
    if "fluid" not in said:
        return None
    line, text = said["fluid"]
    match = _FLUID.fullmatch(text.lower())
    if match is None:
        raise _WrongError(line, f"'fluid' is {quoted(text)}", "say 'water', or 'ethylene glycol 50 % by volume'")
    strength = match["strength"]
    return match["fluid"], float(strength) / 100 if strength else None, match["basis"]
