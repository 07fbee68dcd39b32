"""Faults of studies as text, and the starter with the tables of what stands around the core."""

import re

import pytest

from optimize.study.faults import StudyFaults
from optimize.study.load import load
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
