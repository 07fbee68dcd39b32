"""Texts of the user made fit for a plot: one line, no control or direction marks, nothing a plot reads as a formula."""

import unicodedata

LONGEST = 60
_KEEP = {"\u200d", "\u200c"}  # joiners that scripts need


def one_line(text: object, longest: int = LONGEST) -> str:
    """A text on one line without control and direction characters, cut with an ellipsis.

    >>> one_line("a\\n b\\x07\\u202e c"), one_line("x" * 70, 5)
    ('a b c', 'xxxx…')
    """
    kept = "".join(
        " " if c.isspace() else c for c in str(text)
        if c.isspace() or c in _KEEP or unicodedata.category(c) not in ("Cc", "Cf", "Cs", "Co", "Cn")
    )
    line = " ".join(kept.split())
    return line if len(line) <= longest else line[: longest - 1] + "…"


def for_plot(text: object, longest: int = LONGEST) -> str:
    """The same for text drawn by the plots, which would read `$$`, `\\\\(` and `\\\\[` as mathematics.

    >>> "$$" in for_plot("$$x$$")
    False
    """
    line = one_line(text, longest)
    for mark in ("$$", "\\(", "\\)", "\\[", "\\]"):
        while mark in line:
            line = line.replace(mark, mark[0] + "\u200b" + mark[1])
    return line
