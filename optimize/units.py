"""Texts such as "87 mm" to SI numbers and back: the one door to pint.

Pint reads "1,5 psi" as 15 psi and hangs on "9**9**9 mm"; so a text must first pass a strict pattern, and every
unit name in it a list of the names of the trade (pint would take "87 Mm" for 87 000 km and "3 points" for 1 mm).
"""

import difflib
import re
from collections.abc import Sequence
from functools import cache, lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from optimize.errors import FinfrontError
from optimize.unit_factors import FACTORS, KNOWN
from physics.arrays import Array


class UnitError(FinfrontError):
    """A text that is not a number with a unit of the kind expected."""


class Kind(NamedTuple):
    """Base unit and display units of a kind of quantity; `phrase` and `example` are for messages."""

    base: str
    si: str
    us: str
    phrase: str
    example: str


KINDS: dict[str, Kind] = {
    "number": Kind("", "", "", "a number", "1.2"),
    "fraction": Kind("", "%", "%", "a fraction", "4 %"),
    "angle": Kind("deg", "deg", "deg", "an angle", "27 deg"),
    "temperature": Kind("K", "degC", "degF", "a temperature", "30 degC"),
    "temperature difference": Kind("K", "K", "degF", "a temperature difference", "3 K"),
    "pressure": Kind("Pa", "kPa", "psi", "a pressure", "12 kPa"),
    "absolute pressure": Kind("Pa", "kPa", "psi", "an absolute pressure", "215 kPa"),
    "power": Kind("W", "kW", "hp", "a power", "60 kW"),
    "small power": Kind("W", "W", "W", "a power", "60 W"),
    "energy": Kind("J", "kJ", "Btu", "an energy", "500 kJ"),
    "specific work": Kind("J/kg", "kJ/kg", "Btu/lb", "a work per mass", "1000 kJ/kg"),
    "torque": Kind("N*m", "N*m", "lbf*ft", "a torque", "6 N*m"),
    "rotation": Kind("rev/s", "rpm", "rpm", "a speed of rotation", "6500 rpm"),
    "time": Kind("s", "s", "s", "a time", "11 s"),
    "voltage": Kind("V", "V", "V", "a voltage", "13.8 V"),
    "length": Kind("m", "mm", "in", "a length", "87 mm"),
    "small length": Kind("m", "mm", "in", "a length", "1.5 mm"),
    "head": Kind("m", "m", "ft", "a head", "8.6 m"),
    "per length": Kind("1/m", "1/m", "1/in", "a number per length", "18 1/in"),
    "area": Kind("m^2", "m^2", "ft^2", "an area", "300 cm^2"),
    "small area": Kind("m^2", "mm^2", "in^2", "an area", "300 mm^2"),
    "volume": Kind("m^3", "L", "gal", "a volume", "1.2 L"),
    "mass": Kind("kg", "kg", "lb", "a mass", "6 kg"),
    "density": Kind("kg/m^3", "kg/m^3", "lb/ft^3", "a density", "2730 kg/m^3"),
    "velocity": Kind("m/s", "m/s", "ft/s", "a velocity", "10 m/s"),
    "mass flow": Kind("kg/s", "kg/s", "lb/min", "a mass flow", "0.8 kg/s"),
    "small mass flow": Kind("kg/s", "g/min", "oz/min", "a mass flow", "12 g/min"),
    "volume flow": Kind("m^3/s", "L/min", "gal/min", "a volume flow", "55 L/min"),
    "mass velocity": Kind("kg/s/m^2", "kg/s/m^2", "lb/s/ft^2", "a mass velocity", "20 kg/s/m^2"),
    "conductivity": Kind("W/m/K", "W/m/K", "Btu/h/ft/degF", "a conductivity", "180 W/m/K"),
    "film": Kind("W/m^2/K", "W/m^2/K", "Btu/h/ft^2/degF", "a film coefficient", "300 W/m^2/K"),
    "fouling": Kind("m^2*K/W", "m^2*K/W", "ft^2*h*degF/Btu", "a fouling resistance", "2e-5 m^2*K/W"),
    "conductance": Kind("W/K", "W/K", "Btu/h/degF", "a conductance", "900 W/K"),
    "resistance": Kind("K/W", "K/kW", "degF*h/kBtu", "a thermal resistance", "1.1 K/kW"),
}
SYSTEMS = ("SI", "US")

_ALIASES = {"fpi": "1/in", "gpm": "gal/min", "lpm": "L/min", "cfm": "ft^3/min", "l/min": "L/min", "Nm": "N*m"}
_ABSOLUTE = {"psia": "psi"}
_TEMPERATURES = ("degC", "degF", "K")
# Kinds whose few units are read by name: pint counts a turn as 2 pi, and as no unit at all.
_OWN = {
    "temperature difference": {"K": 1.0, "degF": 5 / 9},
    "rotation": {"rpm": 1 / 60, "rev/min": 1 / 60, "rev/s": 1.0},
}
_POWERS = frozenset({"J", "kJ", "W", "kW", "hp", "Btu", "kBtu"})
_NAMES = frozenset({
    "%", "deg", "rad", "um", "mm", "cm", "m", "in", "inch", "ft", "thou", "L", "mL", "cc", "gal", "g", "kg", "lb", "oz",
    "s", "min", "h", "hr", "Pa", "hPa", "kPa", "MPa", "bar", "mbar", "psi", "inHg", "mmHg", "torr", "atm",
    "inH2O", "mmH2O", "K", "degC", "degF", "J", "kJ", "W", "kW", "hp", "Btu", "kBtu", "N", "lbf", "V", "rpm",
})  # fmt: skip
_NUMBER = r"[+-]?(?:[0-9]{1,15}(?:\.[0-9]{0,20})?|\.[0-9]{1,20})(?:[eE][+-]?[0-9]{1,2})?"
_FACTOR = r"[A-Za-z%][A-Za-z0-9_]{0,11}(?:\^-?[1-9])?"
_QUANTITY = re.compile(rf"\s*({_NUMBER})(?:\s*(\S.*?))?\s*")
_UNIT = re.compile(rf"(?:1 ?/ ?)?{_FACTOR}(?: ?[*/] ?{_FACTOR}| {_FACTOR})*")
_COMMA = re.compile(r"\s*[+-]?[0-9]+,[0-9]+\s*[A-Za-z%].*")
_LONGEST = 60


def parse(text: str, kind: str) -> float:
    """SI value of a text "number unit" of the kind (angles in degrees, fractions as 0..1).

    >>> parse("87 mm", "length"), parse("4 %", "fraction"), round(parse("18 1/in", "per length") * 0.0254, 12)
    (0.087, 0.04, 18.0)
    >>> parse("30 degC", "temperature")
    303.15

    Raises
    ------
    UnitError
        for anything else: no unit, a unit of another kind, a decimal comma, a temperature difference.
    """
    return parse_one_of(text, (kind,))[0]


def parse_one_of(text: str, kinds: Sequence[str]) -> tuple[float, str]:
    """SI value, and which of the kinds the unit turned out to be of.

    >>> parse_one_of("60 L/min", ("mass flow", "volume flow"))
    (0.001, 'volume flow')
    """
    number, unit = split(text, kinds[0])
    for kind in kinds:
        value = _value(number, _ABSOLUTE.get(unit, unit) if kind == "absolute pressure" else unit, kind)
        if value is not None:
            return value, kind
    raise _wrong_kind(text, unit, kinds)


def split(text: str, kind: str = "length") -> tuple[float, str]:
    """Number and unit as written; the unit must have the form of one, the name is not yet looked up."""
    example = KINDS[kind].example
    if _COMMA.fullmatch(text) and len(text) <= _LONGEST:
        raise UnitError(f"decimal comma in {quoted(text)}", do=f"write '{text.strip().replace(',', '.')}'")
    match = _QUANTITY.fullmatch(text) if len(text) <= _LONGEST else None
    if match is None:
        raise UnitError(f"expected {KINDS[kind].phrase} such as '{example}', got {quoted(text)}",
                        do="write a number, a space and a unit")
    number, unit = float(match[1]), match[2] or ""
    if unit and not _UNIT.fullmatch(unit):
        raise UnitError(f"'{unit}' is not a unit", do="build units of names, * / and ^, such as 'W/m^2/K' or 'kg/m^3'")
    return number, _ALIASES.get(unit, unit)


def quoted(text: str) -> str:
    """The text in single quotes, control characters escaped, cut to 40 characters."""
    shown = "".join(c if c.isprintable() else ascii(c)[1:-1] for c in text[:41])
    return f"'{shown[:40]}...'" if len(shown) > 40 else f"'{shown}'"


def to_display(value: ArrayLike, kind: str, system: str) -> Array:
    """SI values in the display unit of the kind and system ("SI" or "US").

    >>> to_display([303.15, 273.15], "temperature", "US").round(9).tolist()
    [86.0, 32.0]
    """
    factor, offset = scale(kind, system)
    return np.asarray(value, dtype=np.float64) / factor - offset


def from_display(value: ArrayLike, kind: str, system: str) -> Array:
    """Inverse of `to_display`."""
    factor, offset = scale(kind, system)
    return (np.asarray(value, dtype=np.float64) + offset) * factor


def unit_label(kind: str, system: str) -> str:
    """Display unit in plain letters, as `parse` reads it; empty for pure numbers.

    >>> unit_label("pressure", "SI"), unit_label("temperature", "US"), unit_label("number", "SI")
    ('kPa', 'degF', '')
    """
    return KINDS[kind].us if _system(system) == "US" else KINDS[kind].si


def unit_symbol(kind: str, system: str) -> str:
    """Display unit as typeset in figures and pages.

    >>> unit_symbol("film", "SI"), unit_symbol("temperature", "SI")
    ('W/m²/K', '°C')
    """
    label = unit_label(kind, system)
    for plain, typeset in (("^2", "²"), ("^3", "³"), ("*", "·"), ("deg", "°")):
        label = label.replace(plain, typeset)
    return label


def show(value: float, kind: str, system: str, digits: int = 4) -> str:
    """One SI value as text in the display unit, to significant digits.

    >>> show(12_000.0, "pressure", "SI"), show(0.95, "fraction", "US")
    ('12 kPa', '95 %')
    """
    return f"{float(to_display(value, kind, system)):.{digits}g} {unit_label(kind, system)}".rstrip()


@cache
def scale(kind: str, system: str) -> tuple[float, float]:
    """(factor, offset) of the display unit: SI value = (displayed + offset) * factor."""
    unit, base = unit_label(kind, system), KINDS[kind].base
    if kind == "temperature":
        return {"degC": (1.0, 273.15), "degF": (5 / 9, 459.67)}[unit]
    factor = _OWN[kind][unit] if kind in _OWN else _factor(unit, base)
    assert factor is not None, f"'{unit}' is not of the kind '{kind}'"
    return factor, 0.0


def _system(system: str) -> str:
    if system not in SYSTEMS:
        raise ValueError(f"system is 'SI' or 'US', not {system!r}")
    return system


def _value(number: float, unit: str, kind: str) -> float | None:
    """SI value, or None where the unit is unknown or of another kind."""
    if kind == "temperature":
        return _kelvin(number, unit)
    if kind == "number":
        return number if not unit else None
    if kind in _OWN:
        return float(f"{number * _OWN[kind][unit]:.15g}") if unit in _OWN[kind] else None
    factor = None if not unit or _unknown_names(unit) else _factor(unit, KINDS[kind].base)
    # 15 digits: "9.1 mm" becomes the double nearest 0.0091, whichever unit it is written in.
    return None if factor is None else float(f"{number * factor:.15g}")


def _kelvin(number: float, unit: str) -> float | None:
    if unit not in _TEMPERATURES:
        return None
    kelvin = {"K": number, "degC": number + 273.15, "degF": (number + 459.67) * 5 / 9}[unit]
    if kelvin <= 0.0:
        raise UnitError(f"'{number:g} {unit}' is not above absolute zero", do="check the sign and the unit")
    return float(f"{kelvin:.15g}")


def _wrong_kind(text: str, unit: str, kinds: Sequence[str]) -> UnitError:
    phrase = " or ".join(KINDS[kind].phrase for kind in kinds)
    expected = f"expected {phrase} such as '{KINDS[kinds[0]].example}'"
    if not unit:
        return UnitError(f"{expected}, got {quoted(text)} without a unit", do="write the unit behind the number")
    if unit.startswith("delta_deg") or ("temperature difference" in kinds and unit == "degC"):
        return _difference(expected, unit, kinds)
    if unit in ("psig", "barg", "kPag"):
        absolute = "absolute pressure" in kinds
        do = "add the pressure of the air outside and give it absolute" if absolute else f"write '{unit[:-1]}'"
        return UnitError(f"'{unit}' is a gauge pressure", do=do)
    if unknown := _unknown_names(unit):
        guess = _guess(unknown[0], kinds if unknown[0] == unit else ())
        what = f"{expected}, got the unknown unit '{unknown[0]}'"
        return UnitError(what, do=f"did you mean '{guess}'?" if guess else "write the unit as in the example")
    return UnitError(f"{expected}, got '{unit}'", do="use a unit of that kind")


def _difference(expected: str, unit: str, kinds: Sequence[str]) -> UnitError:
    """A difference where a temperature belongs, or a temperature where a difference belongs."""
    if "temperature difference" not in kinds:
        return UnitError(f"{expected}, got a difference ('{unit}')", do="use degC, degF or K")
    return UnitError(f"{expected}, got '{unit}'", do="write a difference in K (or degF)")


def _guess(name: str, kinds: Sequence[str]) -> str:
    """The unit meant: of the kinds only, where the name stands alone; with its power; or in other capitals."""
    if powers := re.fullmatch(r"([A-Za-z]+)([23])", name):
        return f"{powers[1]}^{powers[2]}"
    if name in ("C", "F") and "temperature" in kinds:
        return f"deg{name}"
    own = {unit for kind in kinds for unit in _OWN.get(kind, ())}
    names = [unit for unit in sorted(_NAMES | own) if not kinds or any(_value(1.0, unit, kind) for kind in kinds)]
    other_case = [unit for unit in names if unit.lower() == name.lower()]
    return next(iter(other_case or difflib.get_close_matches(name, names, n=1, cutoff=0.5)), "")


def _unknown_names(unit: str) -> list[str]:
    names = re.findall(r"[A-Za-z%][A-Za-z0-9_]*", re.sub(r"\^-?[0-9]", "", unit))
    return [name for name in names if name not in _NAMES]


def _factor(unit: str, base: str) -> float | None:
    """The unit in the base unit of a kind; None where it is of another kind."""
    if unit == base:
        return 1.0
    return FACTORS[base].get(unit) if unit in KNOWN else pint_factor(unit, base)


@lru_cache(maxsize=4096)
def pint_factor(unit: str, base: str) -> float | None:
    """The same from pint, for any unit made of names of the trade.

    >>> pint_factor("kW/cm^2", "W/m^2/K"), pint_factor("mm*cm", "m^2")
    (None, 1e-05)
    """
    if not _same_dimension(unit, base):
        return None
    return float(_registry().Quantity(1.0, unit).to(base).magnitude)


@cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry()


def _same_dimension(unit: str, base: str) -> bool:
    registry = _registry()
    same = registry.parse_units(unit).dimensionality == registry.parse_units(base).dimensionality
    # An angle and a fraction both have no dimension, a torque and an energy the same; only the names tell them apart.
    alike = ("%" in unit) == (base == "") and (base == "deg") == (unit in ("deg", "rad")) and "rpm" not in unit
    return bool(same) and alike and not (base == "N*m" and _POWERS & set(re.findall("[A-Za-z]+", unit)))
