"""Commands about studies and runs: write, check, search, carry over, draw again, measure."""

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from optimize import asked
from optimize.cli.app import OnCluster, RunFolder, Salvage, Seed, StudyFile, Workers, app, progress_bars

if TYPE_CHECKING:
    from optimize.begun import Begun
    from optimize.benchmark.searchers import Course
    from optimize.job import Also
    from optimize.study.model import Study
    from physics.arrays import Array


@app.command()
def new(file: Annotated[Path, typer.Argument(metavar="FILE", help="Study file to write.", show_default=False)]) -> None:
    """Write a commented starter study, and the catalogues it refers to."""
    from optimize.study.starter import write_starter

    for path in write_starter(file):
        print(path)


@app.command()
def check(study: StudyFile) -> None:
    """Read a study and say what it asks; every fault at once if it has any."""
    from optimize.freed import moved_lines
    from optimize.method import search_method
    from optimize.tolerance.robust import check_robust

    problem = asked.problem_of(study)
    check_robust(problem)
    space, method = problem.space, search_method(problem)
    count = "a continuous space" if space.size is None else f"{space.size:,} cores"
    points = len(problem.duty.names)
    said = f"{points} duty point{'s' if points > 1 else ''}, {len(problem.margin_names)} requirements; method: {method}"
    print(f"{study}: sound. {count}, {said}")
    for name, axis in zip(space.names, space.axes, strict=True):
        print(f"  {name}: {'continuous' if axis.size is None else f'{axis.size} values'}")
    if (model := problem.study.fitted) is not None:
        families = " and ".join(f"{family} in the {side}" for side, family in model.families.items())
        print(f"  fitted model: {model.about}; holds for {families}")
    for line in moved_lines(problem):
        print(f"  {line}")


@app.command(name="run")
def run_(
    study: StudyFile, out: RunFolder = None, workers: Workers = None, seed: Seed = None, salvage: Salvage = False,
    cluster: OnCluster = None,
) -> None:
    """Search a study's space, scatter its front, draw and write everything into a run folder.

    A run that was stopped goes on where it was when the same command is given again.
    """
    _carried_out(asked.study_of(study, seed), out, workers, salvage, cluster)


@app.command()
def rerun(
    run: Annotated[Path, typer.Argument(metavar="RUN", help="Folder of a finished run.", show_default=False)],
    study: Annotated[Path, typer.Argument(metavar="STUDY", help="The study as it is now (TOML).", show_default=False)],
    out: RunFolder = None, workers: Workers = None, seed: Seed = None, salvage: Salvage = False,
    cluster: OnCluster = None,
) -> None:
    """Carry a run over to a changed study: which cores die, of what, what is best now, what a millimetre is worth.

    Tells in seconds what becomes of the cores the run has evaluated, then searches from them.
    """
    from optimize.rerun.answer import answer
    from optimize.rerun.lines import survey_lines
    from optimize.rerun.survey import surveyed

    wanted = asked.study_of(study, seed)
    survey = surveyed(run, wanted)
    print("\n".join(survey_lines(survey)), flush=True)
    _carried_out(wanted, out, workers, salvage, cluster, survey.start, lambda _, archive, __: answer(survey, archive))


def _carried_out(
    study: "Study", out: Path | None, workers: int | None, salvage: bool, cluster: str | None,
    start: "Array | None" = None, also: "Also | None" = None,
) -> None:
    """A run from its folder to its figures, begun or gone on with."""
    from datetime import UTC, datetime

    from optimize import job, runs
    from optimize.begun import begun
    from optimize.core_drawings import write_drawings
    from optimize.evaluate import CoreProblem
    from optimize.method import search_plan
    from optimize.report import write_report
    from optimize.workers import spread_over

    plan = search_plan(CoreProblem(study))
    opened = begun(study, out, datetime.now(UTC), plan, start, salvage)
    with spread_over(cluster), opened as work, progress_bars() as progress:
        folder = work.folder
        print(_at_work(work), file=sys.stderr)
        if not work.finished:
            job.run(study, folder, workers or os.cpu_count() or 1, work.made, progress, work.store, start, also)
        progress("drawing", 0, 1)
        write_report(folder)
        write_drawings(folder)
        progress("drawing", 1, 1)
    print((folder / "summary.md").read_text(encoding="utf-8"))
    print(f"Everything is in {folder}")
    record = runs.read(folder).record
    if record.get("cluster", {}).get("lost"):
        told = record["cluster"]
        print(f"{told['lost']} workers were lost, {told['retried']} tasks done again", file=sys.stderr)
    if not record["front"]:
        raise typer.Exit(1)


def _at_work(work: "Begun") -> str:
    """What is about to happen, for whoever may stop it."""
    if work.finished:
        return f"The run in {work.folder} is finished; its figures are drawn again."
    if work.store.kept:
        return f"Going on with the run in {work.folder}: {work.store.kept} batches of its search are kept."
    return f"Writing to {work.folder}; stopped at any time, the same command goes on from there."


@app.command()
def report(run: Annotated[Path, typer.Argument(metavar="RUN", help="Folder of a run.", show_default=False)]) -> None:
    """Draw the figures and named cores of a finished run again, and write its summary and report.html."""
    from optimize.core_drawings import write_drawings
    from optimize.report import write_report

    for path in [*write_report(run), *write_drawings(run)]:
        print(path)


@app.command()
def benchmark(
    study: StudyFile,
    cores: Annotated[int, typer.Option(min=1, help="Cores to rate, spread over the space.")] = 200_000,
    search: Annotated[float, typer.Option(min=0, help="Seconds given to each searcher; 0 for none.")] = 0.0,
    seeds: Annotated[int, typer.Option(min=1, help="Seeds of each searcher.")] = 3,
    workers: Annotated[int, typer.Option(min=1, help="Sweep ten times the cores with one worker and so many.")] = 1,
    out: Annotated[Path | None, typer.Option(help="Folder for table, courses and figure.")] = None,
) -> None:
    """How fast cores are rated and searched, against scripts, the NumPy floor and other searchers: a Markdown table."""
    from datetime import datetime

    from optimize.benchmark import suite, table, written

    problem = asked.problem_of(study)
    if out is not None:
        written.make_folder(out)
    about = table.machine(datetime.now().astimezone())
    print(f"{about}\n\n{table.markdown_head()}", flush=True)
    rows: list[table.Row] = []
    courses: list[Course] = []
    for row in suite.rows(problem, suite.Asked(cores, search, seeds, workers), courses):
        print(row.markdown, flush=True)
        rows.append(row)
    if out is not None:
        for path in written.write(out, f"{study.name}; {about}", rows, courses, problem.study.title):
            print(path, file=sys.stderr)
