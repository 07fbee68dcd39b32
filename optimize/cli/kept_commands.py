"""Commands about runs that are kept: their list, notes on them, several beside each other, a range from one casting."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from optimize.cli.app import Out, app

RunArgument = Annotated[Path, typer.Argument(metavar="RUN", help="Folder of a run.", show_default=False)]


@app.command(name="runs")
def runs_(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder that holds runs.")] = Path("results"),
) -> None:
    """The runs of a folder: date, study, seed, cores, hypervolume, named cores, notes; the newest first."""
    from optimize.history import history, text_of

    print(text_of(history(folder)))


@app.command()
def note(run: RunArgument, text: Annotated[str, typer.Argument(metavar="TEXT", help="What to remember.")]) -> None:
    """Put a note on a run, such as why its core was chosen; `finfront runs` and the report show it."""
    from datetime import UTC, datetime

    from optimize.notes import add_note

    print(add_note(run, text, datetime.now(UTC)))


@app.command()
def trials(
    run: RunArgument,
    out: Annotated[Path, typer.Option(help="File to write.")] = Path("results/trials.log"),
) -> None:
    """The designs of a run as an Optuna study, for those who like its dashboard (finfront[dashboard])."""
    from optimize.export import export_trials

    count = export_trials(run, out)
    print(f"{count:,} designs in {out}; look at them with: optuna-dashboard {out}")
    print("Its list of best trials does not look at requirements (its plots do): mind 'feasible' there.")


@app.command()
def compare(
    runs: Annotated[list[Path], typer.Argument(metavar="RUN RUN ...", help="Folders of runs.", show_default=False)],
    out: Out = Path("results/compare"),
) -> None:
    """Runs beside each other: what differs in their studies, their fronts, their named cores, each rated under all."""
    from optimize.report.compare_figure import write_compare_figure
    from optimize.several.compare import compared
    from optimize.several.compare_text import comparison_text, write_comparison

    found = compared(runs)
    print(comparison_text(found))
    out.mkdir(parents=True, exist_ok=True)
    drawn = write_compare_figure(found.fronts, found.objectives, found.limits, found.title, out)
    for path in [*write_comparison(found, out), *drawn]:
        print(f"wrote {path}", file=sys.stderr)


@app.command(name="range")
def range_(
    run: RunArgument,
    cores: Annotated[int, typer.Option(min=2, max=8, help="Cores of the range.")] = 3,
    sharing: Annotated[float, typer.Option(min=0.0, max=1.0, help="What shared parts weigh against coverage.")] = 0.3,
    duty: Annotated[list[str] | None, typer.Option("--for", metavar="DUTY", help="One core for this duty.")] = None,
    out: Out = Path("results/range"),
) -> None:
    """A range of cores from one casting: the few that cover the front best while sharing fins, bars, tanks, ports."""
    from optimize.report.range_figure import write_range_figure
    from optimize.several.range_of_cores import range_of
    from optimize.several.range_tables import drawn_range, range_text, write_range

    found = range_of(run, cores, sharing, tuple(duty or ()))
    print(range_text(found))
    for path in [*write_range(found, out), *write_range_figure(drawn_range(found), out)]:
        print(f"wrote {path}", file=sys.stderr)
