"""One row of the table of published checks, and its numbers as text."""

from collections.abc import Iterable
from dataclasses import dataclass

from physics.arrays import Array

NONE = "–"


@dataclass(frozen=True)
class Row:
    """One line of the table, as text."""

    check: str
    quantity: str
    published: str
    ours: str
    deviation: str


def number(value: float) -> str:
    """Four significant digits."""
    return f"{value:.4g}".replace("-", "−")


def percent(ratio: float) -> str:
    """Two significant digits, none finer than a hundredth of a per cent."""
    value = 100 * ratio
    digits = 2 if abs(value) < 0.995 else 1 if abs(value) < 9.95 else 0
    text = f"{value:+.{digits}f} %".replace("-", "−")
    return "0.00 %" if text[1:] == "0.00 %" else text


def between(ratios: Iterable[float]) -> str:
    """The range of many relative deviations."""
    many = list(ratios)
    low, high = percent(min(many)), percent(max(many))
    return low if low == high else f"{low} to {high}"


def compared(check: str, quantity: str, published: float, basis: str, ours: float, unit: str = "") -> Row:
    """A row of one number; `basis` says where the published one comes from."""
    unit = f" {unit}" if unit else ""
    shown = f"{number(published)}{unit} ({basis})", f"{number(ours)}{unit}"
    return Row(check, quantity, *shown, percent(ours / published - 1))


def whole_table(check: str, quantity: str, count: str, deviation: str) -> Row:
    """A row of many numbers, of which only the deviations are shown."""
    return Row(check, quantity, count, NONE, deviation)


def by_quantity(errors: dict[str, Array]) -> str:
    """The range of each quantity's deviations."""
    return "; ".join(f"{name} {between(error)}" for name, error in errors.items())
