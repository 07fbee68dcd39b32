"""A TOML file from disk: size, encoding and depth checked before anything parses it."""

import os
import re
import tomllib
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path as FilePath
from typing import Any

from optimize.study.faults import Fault
from optimize.study.lines import Path, key_lines
from optimize.units import quoted

MOST_BYTES = 1_000_000
MOST_DEPTH = 8  # of tables in tables; the deepest key of a study is core.thickness.tolerance.half_width

# Unended strings run to the end of the text, so that the scan is linear whatever is in it.
_STRINGS = re.compile(
    r'"""(?:\\.|(?!""").)*(?:"""|\Z)'
    r"|'''(?:(?!''').)*(?:'''|\Z)"
    r'|"(?:\\[^\n]|[^"\\\n])*"?' r"|'[^'\n]*'?|#[^\n]*",
    re.DOTALL,
)


class UnreadableError(Exception):
    """A file that cannot be read at all; carries its one fault."""

    def __init__(self, fault: Fault) -> None:
        super().__init__(fault.what)
        self.fault = fault


@dataclass(frozen=True)
class TomlFile:
    """Path as the user would write it, text, values, and for faults the line of each key."""

    path: str
    text: str
    raw: dict[str, Any]

    @cached_property
    def lines(self) -> dict[Path, int]:
        return key_lines(self.text)


def read_text(path: str) -> str:
    """Text of a regular file of at most a megabyte in UTF-8; raises `UnreadableError` otherwise."""
    try:
        if not os.path.exists(path):
            raise UnreadableError(Fault(path, None, "no such file", "check the path"))
        if not os.path.isfile(path):
            raise UnreadableError(Fault(path, None, "not a file", "give the path of a text file"))
        with open(path, "rb") as file:
            data = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = (error.strerror or "no such file").lower() if isinstance(error, OSError) else "not a path"
        raise UnreadableError(Fault(path, None, f"cannot be read: {reason}", "check the path")) from None
    if len(data) > MOST_BYTES:
        raise UnreadableError(Fault(path, None, "larger than 1 MB", "this is no study, catalogue or measured table"))
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise UnreadableError(Fault(path, line, "not UTF-8 text", "save the file as UTF-8")) from None


def read_toml(path: str) -> TomlFile:
    """The file, parsed; raises `UnreadableError` at its first fault of syntax."""
    text = read_text(path)
    if (line := too_deep(text)) is not None:
        what, do = f"tables nested deeper than {MOST_DEPTH}", "no key of a study lies so deep"
        raise UnreadableError(Fault(path, line, what, do))
    try:
        raw = tomllib.loads(text)
    except ValueError as error:
        raise UnreadableError(_syntax_fault(path, text, str(error))) from None
    return TomlFile(path, text, raw)


def too_deep(text: str) -> int | None:
    """First line at which brackets, or the dots of one line, go deeper than `MOST_DEPTH`; None if none does.

    >>> too_deep("a = 1\\nb" + ".b" * 9 + " = 1"), too_deep("a = [[1], {b = '((('}]")
    (2, None)
    """
    bare = _STRINGS.sub(lambda match: '"' + "\n" * match[0].count("\n"), text)
    depth = 0
    for number, line in enumerate(bare.split("\n"), 1):
        if _dots(line) > MOST_DEPTH:
            return number
        for bracket in re.findall(r"[\[\]{}]", line):
            depth = max(depth + (1 if bracket in "[{" else -1), 0)
            if depth > MOST_DEPTH:
                return number
    return None


def _dots(line: str) -> int:
    """Dots of the longest dotted key or number of a line."""
    return max((part.count(".") for part in re.split(r"[,=\[\]{}]", line)), default=0)


def _syntax_fault(path: str, text: str, message: str) -> Fault:
    place = re.search(r"\(at line (\d+), column \d+\)|\(at end of document\)", message)
    line = int(place[1]) if place and place[1] else text.count("\n") + 1
    what = message[: place.start()].strip() if place else "a value cannot be read"
    if twice := re.search(r"Cannot declare \((.*)\) twice", what):
        name = ".".join(re.findall(r"'([^']*)'", twice[1]))
        return Fault(path, line, f"table {quoted(name)} is written twice", "rename or remove one")
    if what == "Cannot overwrite a value":
        return Fault(path, line, "a key is written twice in one table", "remove one")
    do = "quote texts, write key = value, close every bracket and quote"
    return Fault(path, line, f"not valid TOML: {what[:1].lower()}{what[1:80]}", do)


def beside(path: str, other: str) -> str:
    """A path written in a file, seen from where the user stands.

    >>> beside("studies/a.toml", "catalogues/b.toml")
    'studies/catalogues/b.toml'
    """
    return FilePath(os.path.join(os.path.dirname(path), other)).as_posix()
