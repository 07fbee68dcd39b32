"""The core that is handed over, with all that workbook and page say of it, rated once."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize.calculation_sheet import Sheet
from optimize.evaluate import CoreProblem
from optimize.handover.acceptance import GUARD, Guard
from optimize.handover.bench import DRAWS, Stream, bench
from optimize.handover.placing import Placed, placed
from optimize.handover.plain_text import clean
from optimize.runs import made_of, run_id
from optimize.space import Batch, Parameters
from optimize.study.model import Tolerance
from optimize.study.tolerances import reach
from optimize.tolerance.copies import made_batch
from optimize.tolerance.draws import Draws
from physics.rating import Rating

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Subject:
    """One core of a study; `record` and `tables` are those of its run, if it is of one.

    `values`: its parameters by column name [SI]; `copies`: made within the tolerances of the shop, and rated; `ends`:
    the core with one dimension after the other at the lower, then the upper end of its tolerance, two rows each;
    `guard`: what the bench of the acceptance cannot tell.
    """

    problem: CoreProblem
    core: Parameters
    name: str
    record: dict[str, Any] | None
    tables: Mapping[str, "pd.DataFrame"]
    sheet: Sheet
    values: dict[str, float]
    tolerances: dict[str, Tolerance]
    copies: Rating
    ends: Rating
    bench: tuple[Stream, ...]
    placed: Placed
    draws: int = field(default=DRAWS)
    guard: Guard = GUARD

    @property
    def title(self) -> str:
        return clean(self.problem.study.title)

    @property
    def made(self) -> datetime:
        return made_of(self.record)

    @property
    def run(self) -> str:
        """What the run goes by; "no run" for a core given by hand."""
        if self.record is None:
            return f"{clean(Path(self.problem.study.path).stem, 60)}, no run"
        return clean(run_id(self.record), 80)

    @property
    def date(self) -> str:
        """The day of the run as text, UTC."""
        return f"{self.made:%Y-%m-%d}" if self.record is not None else "-"


def subject(
    problem: CoreProblem, core: Parameters, name: str, record: dict[str, Any] | None = None,
    tables: Mapping[str, "pd.DataFrame"] | None = None, draws: int = DRAWS, guard: Guard = GUARD,
) -> Subject:
    """Rate a core (values (1,) of every variable), its copies and its bench.

    Raises FinfrontError where no such core can be built, or it has no flow at any duty point.
    """
    place = placed(problem.space, core)
    sheet = Sheet(problem, core)
    tolerances = problem.space.tolerances(core)
    copies = made_batch([sheet.batch], [tolerances], Draws(problem.study, draws))
    return Subject(
        problem, core, clean(name, 60), record, tables or {}, sheet,
        {key: float(value[0]) for key, value in sheet.batch.parameters.items()}, tolerances,
        problem.rate(copies), problem.rate(at_ends(sheet.batch, tolerances)), bench(problem, core, draws), place, draws,
        guard,
    )


def at_ends(batch: Batch, tolerances: Mapping[str, Tolerance]) -> Batch:
    """One core (columns (1,)) with one toleranced dimension after the other at either end, two rows each.

    Without tolerances the core itself, twice.
    """
    names = [name for name in tolerances if name in batch.parameters]
    n = 2 * max(len(names), 1)
    rows = {name: np.full(n, value[0]) for name, value in batch.parameters.items()}
    for i, name in enumerate(names):
        value = float(batch.parameters[name][0])
        below, above = reach(tolerances[name], value)
        rows[name][2 * i : 2 * i + 2] = value - below, value + above
    return replace(batch, index=np.arange(n), parameters=rows)
