"""How numbers in a row are shown: with no more digits than they are worth, the same for all of them."""

from collections.abc import Iterable, Sequence

import numpy as np

_MOST = 7
_TINY = 1e-3  # below it, in scientific notation
SCIENTIFIC = -1


def decimals(values: Iterable[float | None], significant: int = 5) -> int:
    """The fewest decimals that lose nothing of the significant digits of the largest value; SCIENTIFIC for tiny ones.

    >>> decimals([286.0, 285.5, 286.5]), decimals([0.102, 0.09792]), decimals([180.0]), decimals([2941.21234, 0.1234])
    (1, 5, 0, 1)
    >>> decimals([2e-5]), decimals([0.0])
    (-1, 0)
    """
    known = [float(v) for v in values if v is not None and np.isfinite(v) and v]
    if known and max(abs(v) for v in known) < _TINY:
        return SCIENTIFIC
    if not known:
        return 0
    largest = int(np.clip(significant - 1 - np.floor(np.log10(max(abs(v) for v in known))), 0, _MOST))
    return min(max(_needed(v, significant) for v in known), largest)


def _needed(value: float, significant: int) -> int:
    """Of one value, not zero: significant digits, less the zeros at their end."""
    digits, _, exponent = f"{abs(value):.{significant - 1}e}".partition("e")
    kept = len(digits.replace(".", "").rstrip("0"))
    return int(np.clip(kept - 1 - int(exponent), 0, _MOST))


def decimals_within(values: Sequence[float | None], low: float | None, high: float | None) -> int:
    """As `decimals`, but no more than two digits of the half width of the bounds need.

    >>> decimals_within([1.016], 0.98552, 1.04648), decimals_within([286.0], 285.5, 286.5)
    (3, 1)
    """
    places = decimals([*values, low, high])
    if places <= 0 or low is None or high is None or not np.isfinite(high - low) or high <= low:
        return places
    return int(np.clip(1 - np.floor(np.log10((high - low) / 2)), 0, places))


def decimals_of_largest(values: Iterable[float], significant: int = 4) -> int:
    """The decimals with which the largest of the values has so many digits, zeros at its end too.

    >>> decimals_of_largest([1.686, 5.576, 19.87]), decimals_of_largest([0.279])
    (2, 4)
    """
    largest = max((abs(v) for v in values if np.isfinite(v)), default=0.0)
    return int(np.clip(significant - 1 - np.floor(np.log10(largest)), 0, _MOST)) if largest else 0


def shown(value: float, places: int) -> str:
    """A number with so many decimals, thousands apart.

    >>> shown(41210.6, 0), shown(-0.0000001, 2), shown(2e-5, SCIENTIFIC)
    ('41 211', '0.00', '2.0e-05')
    """
    if not np.isfinite(value):
        return "-"
    if places == SCIENTIFIC:
        return f"{value:.1e}"
    return f"{round(value, places) + 0.0:,.{places}f}".replace(",", " ")


def excel_format(places: int) -> str:
    """The number format of a cell.

    >>> excel_format(2), excel_format(0), excel_format(SCIENTIFIC)
    ('#,##0.00', '#,##0', '0.0E+00')
    """
    if places == SCIENTIFIC:
        return "0.0E+00"
    return "#,##0" + ("." + "0" * places if places else "")
