"""Text for a drawing: cleaned of what is no text, measured, cut or wrapped to the room there is."""

import unicodedata

# Advance widths of DejaVu Sans in hundredths of an em, and the height of its capitals; Arial is narrower.
_WIDTHS = {
    28: "ijl'", 30: "IJ", 32: " ,.·", 35: "/:;\\|f", 36: "-", 40: "()[]t!²³r", 46: '"', 51: "*_`°–sz", 54: "?c",
    58: "LFkvxy", 62: "PTYaoe", 64: "ESbdghnpqu$0123456789{}", 70: "KAVBRXZC", 76: "UHNDG", 79: "&OQØ",
    84: "w#+<=>^~±×−", 87: "M", 100: "%mW@…—",
}
_WIDTH_OF = {letter: width / 100 for width, letters in _WIDTHS.items() for letter in letters}
CAPITALS = 0.729
_BOLD = 1.12
_LONGEST = 2000


def clean(text: str) -> str:
    """One line of printable text: control and direction marks become spaces, runs of space become one.

    >>> clean("a\\nb\\x00c  d\\u202ee")
    'a b c d e'
    """
    shown = "".join(" " if unicodedata.category(c)[0] in "CZ" else c for c in text[:_LONGEST])
    return " ".join(shown.split())


def width(text: str, height: float, bold: bool = False) -> float:
    """Width of a line [mm]; letters outside the table count as wide as any."""
    ems = sum(_WIDTH_OF.get(letter, 0.0 if unicodedata.combining(letter) else 1.0) for letter in text)
    return ems * height / CAPITALS * (_BOLD if bold else 1.0)


def fit(text: str, height: float, room: float, bold: bool = False) -> str:
    """The text cleaned, and cut with an ellipsis where it is wider than the room [mm]."""
    text = clean(text)
    if width(text, height, bold) <= room:
        return text
    while text and width(text + "…", height, bold) > room:
        text = text[:-1]
    return text.rstrip() + "…"


def wrap(text: str, height: float, room: float, lines: int, bold: bool = False) -> list[str]:
    """The text in at most so many lines, the last one cut where more would be needed."""
    words, found = clean(text).split(" "), [""]
    while words:
        longer = f"{found[-1]} {words[0]}".strip()
        if width(longer, height, bold) <= room or (not found[-1] and len(found) == lines):
            found[-1] = longer
        elif len(found) == lines:
            break
        elif not found[-1]:
            head = fit(words[0], height, room, bold).removesuffix("…") or words[0][0]
            found[-1], words[0] = head, words[0][len(head):]
            found.append("")
            continue
        else:
            found.append("")
            continue
        words.pop(0)
    found[-1] = fit(" ".join([found[-1], *words]), height, room, bold)
    return [part for part in found if part]


def sized(text: str, room: float, heights: tuple[float, ...], bold: bool = False) -> tuple[str, float]:
    """The text in the largest of the heights it fits in, cut in the smallest if in none."""
    for height in heights:
        if width(clean(text), height, bold) <= room:
            return clean(text), height
    return fit(text, heights[-1], room, bold), heights[-1]
