"""How one value may be written: a number, a quantity, a band; and the tables all of a study is made of.

Every reader here is a pydantic validator: it takes what TOML gave and returns SI, or raises a refusal.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Annotated, Any, TypeVar

from pydantic import (
    BaseModel,
    ConfigDict,
    ModelWrapValidatorHandler,
    PlainValidator,
    ValidationError,
    ValidationInfo,
    model_validator,
)
from pydantic_core import PydanticCustomError

from optimize import units
from optimize.study.faults import MOST_FAULTS, nearest, phrased, refusal, refusals, shown

Value = TypeVar("Value")
Other = TypeVar("Other")

CHECK = "check the number and its unit"
_WIDTH_KINDS = {"temperature": "temperature difference", "absolute pressure": "pressure"}


@dataclass(frozen=True)
class Rule:
    """What a value must be: a kind of `optimize.units` or "whole" (an integer), and its bounds in SI."""

    kind: str
    above: float | None = None
    at_least: float | None = None
    below: float | None = None
    at_most: float | None = None

    @property
    def is_bare(self) -> bool:
        return self.kind in ("number", "whole")

    @property
    def bounds(self) -> str:
        """The bounds in words."""
        words = [("above", self.above), ("at least", self.at_least), ("below", self.below), ("at most", self.at_most)]
        return " and ".join(f"{word} {self.show(bound)}" for word, bound in words if bound is not None)

    def show(self, value: float) -> str:
        return f"{value:.12g}" if self.is_bare else units.show(value, self.kind, "SI")

    @property
    def width(self) -> "Rule":
        """The rule of how far such a value may lie from its nominal."""
        return Rule(_WIDTH_KINDS.get(self.kind, self.kind), at_least=0.0)

    def admits(self, value: float) -> bool:
        return (
            (self.above is None or value > self.above) and (self.at_least is None or value >= self.at_least)
            and (self.below is None or value < self.below) and (self.at_most is None or value <= self.at_most)
        )


class Table(BaseModel):
    """A table of a study or catalogue: every key known, nothing guessed, faults in our words."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)

    @model_validator(mode="wrap")
    @classmethod
    def _in_our_words(cls, raw: Any, handler: ModelWrapValidatorHandler[Any]) -> Any:
        found = list(cls.disagreements(as_spelt(raw, cls))) if isinstance(raw, dict) else []
        try:
            table = handler(raw)
        except ValidationError as error:
            raise phrased(error, _keys_of(cls), found) from None
        if found:
            raise refusals(found)
        return table

    @classmethod
    def disagreements(cls, raw: dict[str, Any]) -> Iterator[tuple[str, PydanticCustomError]]:
        """Keys that ask for others or exclude them, of the table as written: told besides the faults of values."""
        return iter(())


def _keys_of(table: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in table.model_fields.items()]


def as_spelt(raw: Any, table: type[Table]) -> Any:
    """A table as written, its misspelt keys under the names they come near to."""
    if not isinstance(raw, dict):
        return raw
    open_keys = [key for key in table.model_fields if key not in raw]
    return {key if key in table.model_fields else nearest(key, open_keys) or key: value for key, value in raw.items()}


def one_of_two(first: object, second: object, names: tuple[str, str], do: str) -> None:
    """Refuse a table that gives both of two keys, or neither."""
    if (first is None) == (second is None):
        word, link = ("neither", "nor") if second is None else ("both", "and")
        raise refusal(f"{word} '{names[0]}' {link} '{names[1]}'", do, "key")


def read(raw: object, rule: Rule) -> float:
    """SI value of what stands in the file, within the rule's bounds."""
    value = _bare(raw, rule) if rule.is_bare else _with_unit(raw, rule.kind)
    if not rule.admits(value):
        raise refusal(f"must be {rule.bounds}, got {shown(raw)}", CHECK)
    return value


def _bare(raw: object, rule: Rule) -> float:
    expected = "a whole number" if rule.kind == "whole" else "a bare number"
    if isinstance(raw, bool) or not isinstance(raw, int if rule.kind == "whole" else (int, float)):
        raise refusal(f"expected {expected}, got {shown(raw)}", "write it without quotes and without a unit")
    if abs(raw) > 1e300 or not math.isfinite(raw):
        raise refusal(f"expected a finite number, got {shown(raw)}", "write a number")
    return float(raw)


def _with_unit(raw: object, kind: str) -> float:
    if not isinstance(raw, str):
        what = f"expected {units.KINDS[kind].phrase} such as '{units.KINDS[kind].example}'"
        is_number = isinstance(raw, (int, float)) and not isinstance(raw, bool)
        given = f"the bare number {shown(raw)}" if is_number else shown(raw)
        raise refusal(f"{what}, got {given}", "write number and unit together, in quotes")
    try:
        return units.parse(raw, kind)
    except units.UnitError as error:
        raise refusal(error.what, error.do) from None


def quantity(kind: str, **bounds: float) -> PlainValidator:
    """Validator of one fixed value."""
    rule = Rule(kind, **bounds)
    return PlainValidator(lambda raw: read(raw, rule))


def optional_quantity(kind: str, **bounds: float) -> PlainValidator:
    """Validator of one fixed value that may be absent (None, which TOML cannot write)."""
    rule = Rule(kind, **bounds)
    return PlainValidator(lambda raw: None if raw is None else read(raw, rule))


def whole(at_least: int, at_most: int) -> PlainValidator:
    """Validator of one integer; not by way of a float, which would round a long seed."""

    def integer(raw: object) -> int:
        if isinstance(raw, bool) or not isinstance(raw, int):
            raise refusal(f"expected a whole number, got {shown(raw)}", "write it without quotes and without a point")
        if not at_least <= raw <= at_most:
            raise refusal(f"must be at least {at_least} and at most {at_most}, got {shown(raw)}", "check the number")
        return raw

    return PlainValidator(integer)


ReadSamples = Callable[[str, str, Rule], tuple[float, ...]]


@dataclass(frozen=True)
class ValueReading:
    """What the tables of one value are read with: its rule and key, what else it must keep, and a reader of samples.

    `check` refuses values that the rule lets through; `read_samples` takes path, key and rule, gives SI values, notes
    the faults of the file and refuses one that is not there.
    """

    rule: Rule
    key: str
    read_samples: ReadSamples
    check: Callable[[float], object] = lambda value: None


def value_reading(rule: Rule, info: ValidationInfo[Any]) -> ValueReading:
    """How the value of the key that is being validated is read."""
    return ValueReading(rule, info.field_name or "", info.context.read_samples)


def _ruled(raw: object, info: ValidationInfo[ValueReading]) -> float:
    value = read(raw, info.context.rule)
    info.context.check(value)
    return value


Ruled = Annotated[float, PlainValidator(_ruled)]


def _band(raw: object) -> tuple[float, float]:
    """["-8 %", "8 %"]: how far the truth may lie below and above a value."""
    if not isinstance(raw, list) or len(raw) != 2:
        what = f"expected two fractions such as ['-8 %', '8 %'], got {shown(raw)}"
        raise refusal(what, "write the lower and the upper end")
    low, high = (read(item, Rule("fraction", above=-1.0)) for item in raw)
    if low > high:
        raise refusal(f"{shown(raw[0])} is above {shown(raw[1])}", "write the lower end first")
    if low > 0.0 or high < 0.0:
        raise refusal(f"the band {shown(raw[0])} to {shown(raw[1])} leaves out the value itself", "let it hold 0 %")
    return low, high


Band = Annotated[tuple[float, float], PlainValidator(_band)]


def each_once(items: list[Any], reader: Callable[[Any], Value]) -> list[Value]:
    """All items read, none twice; every fault of the list at once."""
    values: dict[Value, None] = {}
    found: list[tuple[int | str, PydanticCustomError]] = []
    for index, item in enumerate(items):
        if len(found) == MOST_FAULTS:
            break
        try:
            value = reader(item)
            if value in values:
                raise refusal(f"{shown(item)} stands twice in the list", "name it once")
            values[value] = None
        except PydanticCustomError as error:
            found.append((index, error))
    if found:
        raise refusals(found)
    return list(values)


def pairs(
    raw: object, noun: str, example: str, least: int, readers: tuple[Callable[[Any], Value], Callable[[Any], Other]]
) -> tuple[tuple[Value, Other], ...]:
    """Rows of two values read by the two readers, the first rising from row to row; every faulty row is told.

    `noun` names the two values, `example` shows the rows.
    """
    if not isinstance(raw, list) or len(raw) < least:
        given = f"{len(raw)} of them" if isinstance(raw, list) else shown(raw)
        rows = "a row or more" if least == 1 else f"{least} rows or more"
        raise refusal(f"expected {rows} of {noun}, got {given}", f"write {example}")
    found: list[tuple[int | str, PydanticCustomError]] = []
    read_rows: list[tuple[Value, Other]] = []
    for index, row in enumerate(raw):
        try:
            read_rows.append(_pair(row, noun, example, readers))
            _rises(noun, raw, index, read_rows)
        except PydanticCustomError as error:
            found.append((index, error))
    if found:
        raise refusals(found[:MOST_FAULTS])
    return tuple(read_rows)


def _pair(
    row: object, noun: str, example: str, readers: tuple[Callable[[Any], Value], Callable[[Any], Other]]
) -> tuple[Value, Other]:
    if not isinstance(row, list) or len(row) != 2:
        raise refusal(f"expected a row of {noun}, got {shown(row)}", f"write {example}")
    return readers[0](row[0]), readers[1](row[1])


def _rises(noun: str, raw: list[Any], index: int, rows: list[tuple[Any, Any]]) -> None:
    """The last row read must lie above the one before it in the file, if that one could be read."""
    if len(rows) == index + 1 > 1 and not rows[-1][0] > rows[-2][0]:
        what = f"{noun.split(' and ', 1)[0]} must rise from row to row"
        raise refusal(f"{what}: {shown(raw[index][0])} follows {shown(raw[index - 1][0])}", "sort the rows, each once")
