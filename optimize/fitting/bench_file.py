"""One bench file: a CSV that says in comments what rig it is of and how sure it is, read to SI or refused with reasons.

    # rig: water rig
    # fluid: water
    # uncertainty: coolant_loss 1 %, coolant_flow 0.5 L/min, coolant_inlet_temperature 0.5 K
    coolant_flow [L/min], coolant_inlet_temperature [degC], coolant_loss [kPa]
    10, 20, 1.9

Uncertainties are half widths that hold 95 %; a column "coolant_loss uncertainty [kPa]" gives them row by row. What all
rows of a file share of them, a sensor's own error, is said by "# common: coolant_loss 0.5 %".
"""

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from optimize.fitting.declared import Declared, declared
from optimize.fitting.quantities import ALIASES, DYNO_LOG, KINDS, RIGS, Rig
from optimize.study.faults import Fault, StudyFaults, did_you_mean
from optimize.tolerance.laws import INNER_95
from optimize.units import UnitError, parse_one_of, quoted
from physics.arrays import Array, IntArray

_UNCERTAINTY = " uncertainty"
_MOST_ROWS = 100_000
_LARGEST_SHARE = 0.5  # of a value that it may be uncertain by
_OF_UNCERTAINTY = {"temperature": "temperature difference", "absolute pressure": "pressure"}
_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?|[+-]?(inf|infinity)", re.IGNORECASE)
_WITH_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+")
_COMMA = str.maketrans(",.", ".,")  # where the comma is the decimal mark a point is none
_MISSING = ("", "nan", "na", "n/a", "-", "null")

Values = dict[str, Array]


@dataclass(frozen=True)
class BenchFile:
    """Rows of one rig in SI, by the names of `fitting.quantities`.

    Attributes
    ----------
    name : of the file. said : what its comments declare.
    values : (N,) each. by_volume : those flows that were given by volume [m3/s].
    random, common : standard uncertainties (N,), of each row by itself and shared by all rows of the file.
    lines : (N,) where each row stands. units : of the columns, as written.
    """

    name: str
    said: Declared
    values: Values
    by_volume: frozenset[str]
    random: Values
    common: Values
    lines: IntArray
    units: Mapping[str, str] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.lines)

    @property
    def rig(self) -> Rig:
        return RIGS[self.said.rig]

    @property
    def outputs(self) -> list[str]:
        """What was measured, in the order of the rig."""
        return [name for name in self.rig.outputs if name in self.values]

    def take(self, index: IntArray) -> "BenchFile":
        """Some of its rows."""
        parts = {name: {k: v[index] for k, v in getattr(self, name).items()} for name in ("values", "random", "common")}
        return replace(self, lines=self.lines[index], **parts)  # type: ignore[arg-type]


def read_bench(path: Path, left_out: Collection[int] = ()) -> BenchFile:
    """A bench file without the lines named in `left_out`; raises StudyFaults with everything that is wrong with it."""
    reader = _Reader(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        why, do = "not a text in UTF-8", "save it from the spreadsheet as CSV in UTF-8"
        if isinstance(error, OSError):
            why, do = (error.strerror or "no such file").lower(), "check the path"
        raise StudyFaults([Fault(str(path), None, f"the bench file cannot be read: {why}", do)]) from None
    said, table = declared(str(path), text)
    found = reader.read(said, table, frozenset(left_out))
    if reader.faults or found is None:
        raise StudyFaults(reader.faults)
    return found


@dataclass(frozen=True)
class _Column:
    name: str
    unit: str
    is_uncertainty: bool


class _Reader:
    def __init__(self, path: Path) -> None:
        self.path, self.faults = str(path), list[Fault]()

    def fault(self, line: int | None, what: str, do: str) -> None:
        self.faults.append(Fault(self.path, line, what, do))

    def read(self, said: Declared, table: list[tuple[int, list[str]]], left_out: frozenset[int]) -> BenchFile | None:
        head_line, heads = table[0]
        columns = [self._column(head_line, head) for head in heads]
        rows = [(line, cells) for line, cells in table[1:] if line not in left_out]
        self._unknown_lines(left_out, [line for line, _ in table[1:]])
        if not rows:
            self.fault(None, "no row is left", "measure at least one point")
        if len(rows) > _MOST_ROWS:
            self.fault(None, f"more than {_MOST_ROWS:,} rows", "cut the log into parts, or thin it")
        if self.faults:
            return None
        if not said.decimal_comma and any(_WITH_COMMA.fullmatch(cell.strip()) for _, cells in rows for cell in cells):
            self.fault(None, "numbers are written with a decimal comma", "add a line '# decimal: comma'")
            return None
        numbers = np.array([self._numbers(line, cells, len(heads), said) for line, cells in rows])
        if self.faults:
            return None
        lines = np.array([line for line, _ in rows], dtype=np.int64)
        values, by_volume = self._values([c for c in columns if c is not None], numbers, lines)
        self._complete(said, values, head_line)
        if self.faults:
            return None
        own = {
            c.name: self._own(c, numbers[:, i], values, by_volume)
            for i, c in enumerate(columns) if c and c.is_uncertainty
        }
        random, common = self._uncertainties(said, values, by_volume, own)
        units = {c.name: c.unit for c in columns if c and not c.is_uncertainty}
        return None if self.faults else BenchFile(self.path, said, values, by_volume, random, common, lines, units)

    def _unknown_lines(self, left_out: frozenset[int], there: list[int]) -> None:
        for line in sorted(left_out - set(there)):
            self.fault(line, "there is no row on this line to leave out", "name lines as the faults name them")

    def _column(self, line: int, head: str) -> _Column | None:
        name, bracket, unit = (part.strip() for part in head.partition("["))
        unit = unit.removesuffix("]").strip()
        is_uncertainty = name.endswith(_UNCERTAINTY)
        name = ALIASES.get(name.removesuffix(_UNCERTAINTY), name.removesuffix(_UNCERTAINTY))
        if name not in KINDS:
            self.fault(line, f"unknown column {quoted(head.strip())}", did_you_mean(name, [*KINDS, *ALIASES]))
            return None
        if not bracket or not unit:
            self.fault(line, f"column {quoted(head)} has no unit", f"write '{name} [unit]'")
            return None
        return _Column(name, unit, is_uncertainty)

    def _numbers(self, line: int, cells: list[str], width: int, said: Declared) -> list[float]:
        if len(cells) != width:
            do = "give every row a value for every column; with a decimal comma, say '# decimal: comma' and part by ';'"
            self.fault(line, f"{len(cells)} values under {width} columns", do)
            return [np.nan] * width
        return [self._number(line, cell.strip(), said) for cell in cells]

    def _number(self, line: int, cell: str, said: Declared) -> float:
        text = cell.translate(_COMMA) if said.decimal_comma else cell
        leave = f"measure it again, or leave the row out: --leave-out {self.path}:{line}"
        if text.lower() in _MISSING:
            self.fault(line, "a value is missing", leave)
            return np.nan
        if not _NUMBER.fullmatch(text):
            self.fault(line, f"{quoted(cell)} is not a number", leave)
            return np.nan
        value = float(text)
        if not np.isfinite(value):
            self.fault(line, f"{quoted(cell)} is not finite", leave)
        return value

    def _values(self, columns: list[_Column], numbers: Array, lines: IntArray) -> tuple[Values, frozenset[str]]:
        values: Values = {}
        by_volume = set()
        for i, column in enumerate(columns):
            if column.is_uncertainty:
                continue
            if column.name in values:
                self.fault(None, f"column '{column.name}' stands twice", "keep one")
                continue
            try:
                texts = [f"{number!r} {column.unit}" for number in numbers[:, i].tolist()]
                found = [parse_one_of(text, KINDS[column.name]) for text in texts]
            except UnitError as error:
                self.fault(None, f"column '{column.name}': {error.what}", error.do)
                continue
            values[column.name] = np.array([value for value, _ in found])
            if found[0][1] == "volume flow":
                by_volume.add(column.name)
            self._positive(column.name, values[column.name], lines)
        return values, frozenset(by_volume)

    def _positive(self, name: str, values: Array, lines: IntArray) -> None:
        if name == "time":
            return
        bad = np.flatnonzero(values <= 0)
        if len(bad) == len(values) and name in ("air_loss", "coolant_loss"):
            self.fault(None, f"every '{name}' is negative or zero", "give losses as inlet less outlet, positive")
            return
        for i in bad:
            do = f"check the sign, or leave the row out: --leave-out {self.path}:{lines[i]}"
            self.fault(int(lines[i]), f"'{name}' is not above zero", do)

    def _complete(self, said: Declared, values: Values, line: int) -> None:
        rig = RIGS[said.rig]
        needed = [*rig.inputs, *rig.must, *(("time",) if said.rig == DYNO_LOG else ())]
        for name in needed:
            if name not in values:
                self.fault(line, f"a {said.rig} needs a column '{name} [unit]'", "add it")
        for name in values:
            if name not in rig.columns and name != "time":
                do = f"it has {', '.join(rig.columns)}; or name another rig"
                self.fault(line, f"a {said.rig} has no '{name}'", do)

    def _own(self, column: _Column, numbers: Array, values: Values, by_volume: frozenset[str]) -> Array:
        """Half widths of a column of uncertainties, SI (N,)."""
        name = column.name
        if name not in values:
            self.fault(None, f"an uncertainty of '{name}', which has no column", "add the column, or drop this")
            return np.zeros(len(numbers))
        texts = [f"{number!r} {column.unit}" for number in numbers.tolist()]
        return self._half_widths(name, texts, values[name], name in by_volume)

    def _half_widths(self, name: str, texts: list[str], values: Array, by_volume: bool) -> Array:
        """Half widths (N,) SI, in the kind of unit that the column itself has."""
        other = "mass flow" if by_volume else "volume flow"
        kinds = tuple(_OF_UNCERTAINTY.get(kind, kind) for kind in KINDS[name] if kind != other)
        try:
            if all(text.rstrip().endswith("%") for text in texts):
                if "temperature difference" in kinds:
                    raise UnitError("per cent of a temperature means nothing", do="give it in K")
                shares = np.array([parse_one_of(text, ("fraction",))[0] for text in texts])
                if np.any(shares > _LARGEST_SHARE):
                    raise UnitError(f"more than {100 * _LARGEST_SHARE:g} % of the value", do="that is no measurement")
                return shares * values
            return np.broadcast_to([parse_one_of(text, kinds)[0] for text in texts], values.shape)
        except UnitError as error:
            self.fault(None, f"uncertainty of '{name}': {error.what}", error.do)
            return np.zeros_like(values)

    def _uncertainties(
        self, said: Declared, values: Values, by_volume: frozenset[str], own: Mapping[str, Array]
    ) -> tuple[Values, Values]:
        """Standard uncertainties of rows by themselves, and shared by them."""
        random, common = {}, {}
        for name in [n for n in {**said.uncertainty, **said.common} if n not in values]:
            self.fault(None, f"an uncertainty of '{name}', which has no column", "add the column, or drop this")
        for name in [n for n in values if n != "time"]:
            half = own.get(name)
            if half is None and name in said.uncertainty:
                half = self._half_widths(name, [said.uncertainty[name]], values[name], name in by_volume)
            if half is None:
                usual = "0.5 K" if "temperature" in name else "1 %"
                do = f"say '# uncertainty: {name} {usual}', or add a column '{name} uncertainty [unit]'"
                self.fault(None, f"no uncertainty is stated for '{name}'", do)
                continue
            if np.any(half < 0) or (name in RIGS[said.rig].outputs and np.any(half <= 0)):
                self.fault(None, f"an uncertainty of '{name}' is not above zero", "nothing is measured exactly")
            shared = [said.common[name]] if name in said.common else []
            every = np.zeros(len(half))
            if shared:
                every = self._half_widths(name, shared, values[name], name in by_volume)
            if np.any(every < 0):
                self.fault(None, f"what rows share of '{name}' is below zero", "give a half width")
            random[name], common[name] = np.asarray(half) / INNER_95, np.asarray(every) / INNER_95
        return random, common


