"""Samples of one dimension as measured: a CSV of one column; every faulty row is told."""

import re

from optimize import units
from optimize.study.faults import MOST_FAULTS, Fault
from optimize.study.measured import NUMBER, numbered_rows, row_fault
from optimize.study.toml_file import read_text
from optimize.study.values import Rule
from optimize.units import quoted

LEAST_ROWS = 10
_HEADER = re.compile(r"(\w+)\s*\[\s*([^\]\s][^\]]*?)\s*\]")


def read_samples(path: str, key: str, rule: Rule) -> tuple[tuple[float, ...], list[Fault], str]:
    """Values [SI], faults, and the text; the header "spacing [mm]" first, lines with # and empty lines left out.

    `key` is what the header must name, `rule` what each value must keep; a pure number has no unit in its header.

    Raises `UnreadableError` for a file that is no text.
    """
    text = read_text(path)
    numbered = numbered_rows(text) or [(1, "")]
    place, header = numbered[0]
    try:
        unit = _unit(header, key, rule)
    except units.UnitError as error:
        return (), [row_fault(path, place, error.what, error.do)], text
    values: list[float] = []
    faults: list[Fault] = []
    for number, line in numbered[1:]:
        if what := _row(line, unit, rule, values):
            faults.append(row_fault(path, number, what, "mend the row"))
    if len(faults) > MOST_FAULTS:
        more = f"and {len(faults) - MOST_FAULTS} more faulty rows"
        faults[MOST_FAULTS:] = [Fault(path, None, more, "mend the others first")]
    if not faults and len(values) < LEAST_ROWS:
        what = f"expected at least {LEAST_ROWS} rows, got {len(values)}"
        faults = [row_fault(path, numbered[-1][0], what, "measure more of them: these say little of how they scatter")]
    return (tuple(values) if not faults else ()), faults, text


def _unit(header: str, key: str, rule: Rule) -> str:
    """The unit a header names; raises `UnitError` for a header of another dimension, or a unit of another kind."""
    expected = key if rule.is_bare else f"{key} [{units.unit_label(rule.kind, 'SI')}]"
    match = _HEADER.fullmatch(header)
    name, unit = match.groups() if match and not rule.is_bare else (header if rule.is_bare else "", "")
    if name != key:
        given = quoted(header) if header else "nothing"
        raise units.UnitError(f"expected the header '{expected}', got {given}", do="name the one column first")
    if not rule.is_bare:
        units.parse(f"1 {unit}", rule.kind)
    return str(unit)


def _row(line: str, unit: str, rule: Rule, values: list[float]) -> str:
    """Adds the value, or says what is wrong with it."""
    if not NUMBER.fullmatch(line):
        return f"expected one number with a decimal point, got {quoted(line)}"
    try:
        value = float(line) if rule.is_bare else units.parse(f"{line} {unit}", rule.kind)
    except units.UnitError as error:
        return error.what
    if not rule.admits(value):
        return f"must be {rule.bounds}, got {quoted(line)}"
    values.append(value)
    return ""
