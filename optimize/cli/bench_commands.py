"""Commands about the bench: fit a core's rows, and the limits at which a delivered core is accepted."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from optimize import asked
from optimize.cli.app import BenchFlow, BenchLoss, Core, FromRun, Pick, StudyFile, StudyOrRun, app

_FILES = typer.Argument(metavar="BENCH...", help="Bench files (CSV).", show_default=False)


@app.command()
def fit(
    study: StudyFile, bench: Annotated[list[Path], _FILES], core: Core = None, run: FromRun = None, pick: Pick = "knee",
    hold_out: Annotated[list[Path] | None, typer.Option(help="File that is predicted, not fitted.")] = None,
    leave_out: Annotated[list[str] | None, typer.Option(metavar="FILE:LINE", help="Row to leave out.")] = None,
    out: Annotated[Path, typer.Option(help="Folder for model, report, tables and figure.")] = Path("results/fit"),
) -> None:
    """Fit the correlations to a measured core: what is known now, how it was proved, what to measure next."""
    from optimize.fitting.fit import fit as fitted
    from optimize.fitting.fit import read_all
    from optimize.fitting.next_point import next_points
    from optimize.fitting.written import fit_text, write_fit

    problem = asked.problem_of(study)
    chosen = asked.core_of(problem, core, run, pick)
    lines = asked.lines_of(leave_out or [])
    apart = hold_out or []
    files = read_all([*bench, *apart], lines)
    found = fitted(problem, chosen, files[: len(bench)], files[len(bench) :])
    goals, following = next_points(found, asked.cores_of_picks(problem, run, pick))
    out.mkdir(parents=True, exist_ok=True)
    print(fit_text(found, goals, following))
    for path in write_fit(found, goals, following, out):
        print(f"wrote {path}", file=sys.stderr)


@app.command()
def accept(
    study: StudyOrRun, core: Core = None, run: FromRun = None, pick: Pick = "knee",
    loss: BenchLoss = "1 %", flow: BenchFlow = "1 %",
    out: Annotated[Path, typer.Option(help="Folder for table and figure.")] = Path("results/acceptance"),
) -> None:
    """Bench losses between which a delivered core is accepted, guarded by the bench's own uncertainty."""
    from optimize.handover.acceptance import acceptance
    from optimize.handover.acceptance_written import acceptance_text, write_acceptance

    guard = asked.guard_of(loss, flow)
    problem, chosen, known = asked.core_and_run(study, core, run, pick)
    made = acceptance(problem, chosen, guard)
    out.mkdir(parents=True, exist_ok=True)
    print(acceptance_text(problem, known.name, made, guard))
    for path in write_acceptance(problem, known.name, made, guard, out):
        print(f"wrote {path}", file=sys.stderr)
