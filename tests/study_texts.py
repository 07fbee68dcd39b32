"""Faults of studies as text, and the starter with the tables of what stands around the core."""

import re

import pytest
from hypothesis import strategies as st

from optimize.study.faults import StudyFaults
from optimize.study.load import load
from optimize.study.model import Study
from optimize.study.starter import starter

# The starter writes them behind a bare "#", its remarks behind "# " and its alternatives behind "##".
COMPLETE = re.sub(r"(?m)^#(?=[\[a-z])", "", starter())


def faults(path: str = "study.toml") -> list[str]:
    with pytest.raises(StudyFaults) as caught:
        load(path)
    return [str(fault) for fault in caught.value.faults]


def block(what: str, where: str, do: str) -> str:
    return f"error: {what}\n  where: {where}\n  do:    {do}"


def line_in(text: str, part: str) -> int:
    """Line of the first place of a part, or of what follows its line end."""
    start = text.index(part)
    return text[:start].count("\n") + 1 + part.startswith("\n")


def mutations(
    text: str, pieces: st.SearchStrategy[str], first: int = 0, last: int | None = None, longest: int = 4
) -> st.SearchStrategy[str]:
    """The text with a few stretches (letters, words, whole lines) between two places dropped or replaced."""
    edges = [first + match.start() for match in re.finditer(r"[A-Za-z0-9_.%-]+|\S", text[first:last])]
    edit = st.tuples(st.integers(0, len(edges) - 1), st.integers(0, longest), pieces | st.text(max_size=6))

    def apply(edits: list[tuple[int, int, str]]) -> str:
        mutated = text
        for start, length, piece in sorted(edits, key=lambda item: item[0], reverse=True):
            end = edges[min(start + length, len(edges) - 1)]
            mutated = mutated[: edges[start]] + piece + mutated[end:]
        return mutated

    return st.lists(edit, min_size=1, max_size=4).map(apply)


def outcome(path: str) -> Study | StudyFaults:
    """The study of a file, or its faults."""
    try:
        return load(path)
    except StudyFaults as error:
        return error
