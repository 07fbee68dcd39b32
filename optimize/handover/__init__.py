"""What goes to the core supplier and the casting designer: a workbook, a page to sign, and solids."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from optimize.evaluate import CoreProblem
from optimize.handover.acceptance import GUARD, Guard
from optimize.space import Parameters, Space

if TYPE_CHECKING:
    from datetime import datetime

    import pandas as pd

    Tables = Mapping[str, pd.DataFrame]


def write_sheets(
    problem: CoreProblem, core: Parameters, name: str, record: dict[str, Any] | None, folder: Path,
    tables: "Tables | None" = None, guard: Guard = GUARD,
) -> list[Path]:
    """Workbook and page of one core, rated once, in a folder that is made if need be.

    `record` and `tables` are those of its run, where it is of one; `guard`: what the acceptance's bench
    cannot tell.
    """
    from optimize.handover import page, workbook
    from optimize.handover.subject import subject

    found = subject(problem, core, name, record, tables, guard=guard)
    folder.mkdir(parents=True, exist_ok=True)
    return [workbook.write(found, folder / f"{name}.xlsx"), page.write(found, folder / f"{name}.pdf")]


def write_solid(space: Space, core: Parameters, path: Path, made: "datetime | None" = None) -> Path:
    """Core block, tanks, ports and keep-out as a STEP file; `made` is the date it bears."""
    from optimize.handover import solid
    from optimize.runs import NO_DATE

    return solid.write_solid(space, core, path, made or NO_DATE)
