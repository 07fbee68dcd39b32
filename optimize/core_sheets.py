"""Calculation sheets as plain data in the units of the study: for pages and workbooks, as `sheets.json` keeps them."""

import math
from collections.abc import Callable
from typing import Any

from optimize.calculation_sheet import Group, Sheet, value_text
from optimize.evaluate import CoreProblem
from optimize.space import Parameters
from optimize.study.model import Study
from optimize.workers import in_batches

MOST_SHEETS = 200  # of one run
_CORES_A_TASK = 25
_DIGITS = 8  # significant, as in the tables

Progress = Callable[[int, int], None]


def core_sheet(problem: CoreProblem, core: Parameters) -> dict[str, Any]:
    """The sheet of one core (values (1,) of every design variable), ready for JSON; what is not computable is None.

    "core": [label, text, unit]; "groups": title, heads (duty points, empty for what belongs to the core) and rows of
    [label, values, unit]; "requirements": [name, margin in per cent of the bound, met]; "correlations" and "cautions".
    """
    sheet = Sheet(problem, core)
    return {
        "core": [[name, value_text(value), unit] for name, value, unit in sheet.core_rows()],
        "groups": [_group(group) for group in sheet.groups()],
        "requirements": [[name, _plain(100 * margin), margin >= 0] for name, margin in sheet.requirements()],
        "correlations": sheet.sources(),
        "cautions": sheet.cautions(),
    }


def core_sheets(
    study: Study, cores: list[Parameters], workers: int = 1, progress: Progress | None = None
) -> list[dict[str, Any]]:
    """The sheets of many cores over processes, in order, whatever the number of workers."""
    return in_batches(_some_sheets, study, cores, _CORES_A_TASK, workers, progress)


def _some_sheets(study: Study, cores: list[Parameters]) -> list[dict[str, Any]]:
    problem = CoreProblem(study)
    return [core_sheet(problem, core) for core in cores]


def _group(group: Group) -> dict[str, Any]:
    rows = [[label, [_plain(value) for value in values], unit] for label, values, unit in group.rows]
    return {"title": group.title, "heads": list(group.heads), "rows": rows}


def _plain(value: float) -> float | None:
    """A value to as many digits as the tables hold."""
    return float(f"{value:.{_DIGITS}g}") if math.isfinite(value) else None
