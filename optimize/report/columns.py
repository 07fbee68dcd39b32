"""Column titles of a run's tables, `output@duty [unit]`, taken apart and put into words."""

import re
from typing import TYPE_CHECKING, NamedTuple

from physics.outputs import OUTPUTS

if TYPE_CHECKING:
    import pandas as pd

_TITLE = re.compile(r"(?P<name>[^@\[]+?)(?:@(?P<at>\w+))?(?: \[(?P<unit>[^\]]+)\])?")


class Column(NamedTuple):
    """A column's title in parts; `at` is a duty point, "worst", "mean" or None."""

    title: str
    name: str
    at: str | None
    unit: str


def column(title: str) -> Column:
    """The parts of a title.

    >>> column("air_pressure_drop@full_power [kPa]")[1:], column("NTU@climb")[1:]
    (('air_pressure_drop', 'full_power', 'kPa'), ('NTU', 'climb', ''))
    """
    match = _TITLE.fullmatch(title)
    if match is None:
        raise ValueError(f"not a column's title: {title!r}")
    return Column(title, match["name"], match["at"], match["unit"] or "")


def columns_of(table: "pd.DataFrame", name: str) -> list[Column]:
    """Every column of one output or variable, in the table's order."""
    return [c for c in (column(str(title)) for title in table.columns) if c.name == name]


def one_column(table: "pd.DataFrame", name: str, at: str | None = None) -> Column:
    """The column of an output at a duty point, or of a variable.

    Raises KeyError when the table has none.
    """
    found = [c for c in columns_of(table, name) if c.at == at]
    if not found:
        raise KeyError(f"{name}@{at}" if at else name)
    return found[0]


def words(name: str) -> str:
    """A name of the code as words.

    >>> words("heat_rejected"), words("long_climb"), words("air_fin")
    ('heat rejected', 'long climb', 'air fin')
    """
    return OUTPUTS[name].label if name in OUTPUTS else name.replace("_", " ")


def label(title: str, unit: bool = True) -> str:
    """A title for an axis.

    >>> label("air_outlet_temperature@long_climb [degC]")
    'air outlet temperature, long climb [°C]'
    """
    c = column(title)
    text = words(c.name) + (f", {words(c.at)}" if c.at else "")
    return f"{text} [{typeset(c.unit)}]" if unit and c.unit else text


def number(value: float, digits: int = 3) -> str:
    """A value to significant digits, never in powers of ten below a million.

    >>> number(56.9104), number(999.7), number(1234.5), number(2.0), number(0.01234)
    ('56.9', '1000', '1234', '2.00', '0.0123')
    """
    text = f"{value:#.{digits}g}".rstrip(".")
    return f"{value:.0f}" if "e+" in text and abs(value) < 1e6 else text


def typeset(unit: str) -> str:
    """A unit in plain letters as it is printed.

    >>> typeset("W/m^2/K"), typeset("degC")
    ('W/m²/K', '°C')
    """
    for plain, printed in (("^2", "²"), ("^3", "³"), ("*", "·"), ("deg", "°")):
        unit = unit.replace(plain, printed)
    return unit


def quantity(value: float, unit: str, digits: int = 3) -> str:
    """A value with its unit.

    >>> quantity(56.9104, "kW"), quantity(80.0, "degC"), quantity(12.0, "")
    ('56.9 kW', '80.0 °C', '12.0')
    """
    return f"{number(value, digits)} {typeset(unit)}".rstrip()


def requirement_words(name: str) -> str:
    """A requirement for the eye: 'air loss, total, full_power (max)' -> 'air loss, total, full power (max)'."""
    return name.replace("_", " ")
