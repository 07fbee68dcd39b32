"""Text of a user made safe to show: one line, no control or direction marks, cut where it would not fit."""

import unicodedata

LONGEST = 300
_SPACES = ("Cc", "Zl", "Zp", "Zs")
_DROPPED = ("Cf", "Cs", "Cn", "Co")


def clean(text: object, most: int = LONGEST) -> str:
    """One line of at most `most` letters; what cannot be printed is a space or left out.

    >>> clean("two\\nlines\\x07 and \\u202eone turned"), clean("0123456789", 6)
    ('two lines and one turned', '01234…')
    """
    letters = (_shown(letter) for letter in str(text)[: 20 * most])
    line = " ".join("".join(letters).split())
    return line if len(line) <= most else line[: most - 1].rstrip() + "…"


def _shown(letter: str) -> str:
    kind = unicodedata.category(letter)
    return " " if kind in _SPACES else "" if kind in _DROPPED else letter


def words(name: str) -> str:
    """A name of the code, or of a duty point, as words.

    >>> words("side_plate_thickness")
    'side plate thickness'
    """
    return clean(name.replace("_", " "))
