"""The command line: reads arguments, calls, prints. Results go to stdout, progress and errors to stderr.

Exit codes: 0 done, 1 nothing feasible, 2 bad input, 130 interrupted.
"""

import io
import json
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from optimize import asked
from optimize.errors import FinfrontError

if TYPE_CHECKING:
    from optimize.begun import Begun
    from optimize.job import Also
    from optimize.study.model import Study
    from physics.arrays import Array

app = typer.Typer(
    help="Rate, search and compare liquid-cooled bar-and-plate charge-cooler cores.",
    no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False, rich_markup_mode=None,
)

StudyFile = Annotated[Path, typer.Argument(metavar="STUDY", help="Study file (TOML).", show_default=False)]
Core = Annotated[
    list[str] | None,
    typer.Option("--core", metavar="KEY=VALUE", help="One variable of the core; repeat. Values carry units."),
]
FromRun = Annotated[Path | None, typer.Option("--run", metavar="RUN", help="Take the core from this run ...")]
Pick = Annotated[str, typer.Option("--pick", metavar="NAME", help="... by its name (C123) or pick (knee).")]
StudyOrRun = Annotated[Path, typer.Argument(metavar="STUDY|RUN", help="Study file, or the folder of a run.")]
RunFolder = Annotated[
    Path | None,
    typer.Option("--out", help="Folder of the run.", show_default="results/STUDY-STAMP, or one that was stopped"),
]
Salvage = Annotated[bool, typer.Option("--salvage", help="Go on from the sound batches of a damaged store.")]
Out = Annotated[Path, typer.Option(help="Folder for what is written.")]
HANDOVER = Path("results/handover")
Workers = Annotated[int | None, typer.Option(min=1, help="Processes; no result depends on it.", show_default="all")]
Seed = Annotated[int | None, typer.Option(min=0, help="Seed in place of the study's.")]


def main() -> None:
    """Run the command line; errors of the user are printed without a traceback."""
    debug = "--debug" in sys.argv[1:]
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal that knows no degree sign
    arguments = [a for a in sys.argv[1:] if a != "--debug"] or ["--help"]
    try:
        code = app(args=arguments, standalone_mode=False)
    except FinfrontError as error:
        code = _complain(str(error), error if debug else None, 2)
    except (typer.Exit, SystemExit) as leave:
        code = getattr(leave, "exit_code", getattr(leave, "code", 0))
    except OSError as error:
        where = f": '{error.filename}'" if error.filename else ""
        told = FinfrontError(f"{error.strerror or error}{where}", do="name another place, or make room")
        code = _complain(str(told), error if debug else None, 2)
    except Exception as error:
        code = _unexpected(error, debug)
    if code == 130:  # typer turns Ctrl-C into this
        print("stopped", file=sys.stderr)
    sys.exit(code if isinstance(code, int) else 0)


def _complain(text: str, error: BaseException | None, code: int) -> int:
    if error is not None:
        raise error
    print(text, file=sys.stderr)
    return code


def _unexpected(error: Exception, debug: bool) -> int:
    """A fault of the command line as typed, of the disk, or of ours: never a traceback unless asked for."""
    if debug:
        raise error
    message = error.format_message() if hasattr(error, "format_message") else f"{type(error).__name__}: {error}"
    hint = "see --help" if hasattr(error, "format_message") else "run the same command with --debug and report it"
    return _complain(str(FinfrontError(message, do=hint)), None, 2)


@app.command()
def new(file: Annotated[Path, typer.Argument(metavar="FILE", help="Study file to write.", show_default=False)]) -> None:
    """Write a commented starter study, and the catalogues it refers to."""
    from optimize.study.starter import write_starter

    for path in write_starter(file):
        print(path)


@app.command()
def check(study: StudyFile) -> None:
    """Read a study and say what it asks; every fault at once if it has any."""
    from optimize.job import search_method
    from optimize.tolerance.robust import check_robust

    problem = asked.problem_of(study)
    check_robust(problem)
    space, method = problem.space, search_method(problem)
    count = "a continuous space" if space.size is None else f"{space.size:,} cores"
    said = f"{len(problem.duty.names)} duty points, {len(problem.margin_names)} requirements; method: {method}"
    print(f"{study}: sound. {count}, {said}")
    for name, axis in zip(space.names, space.axes, strict=True):
        print(f"  {name}: {'continuous' if axis.size is None else f'{axis.size} values'}")


@app.command()
def rate(
    study: StudyFile, core: Core = None, run: FromRun = None, pick: Pick = "knee",
    as_json: Annotated[bool, typer.Option("--json", help="As JSON; keys carry SI units.")] = False,
) -> None:
    """The calculation sheet of one core, every intermediate with its unit."""
    from optimize.calculation_sheet import Sheet

    problem = asked.problem_of(study)
    sheet = Sheet(problem, asked.core_of(problem, core, run, pick))
    print(json.dumps(sheet.json(), indent=2, ensure_ascii=False) if as_json else sheet.text())


@app.command(name="run")
def run_(
    study: StudyFile, out: RunFolder = None, workers: Workers = None, seed: Seed = None, salvage: Salvage = False,
) -> None:
    """Search a study's space, scatter its front, draw and write everything into a run folder.

    A run that was stopped goes on where it was when the same command is given again.
    """
    _carried_out(asked.study_of(study, seed), out, workers, salvage)


@app.command()
def rerun(
    run: Annotated[Path, typer.Argument(metavar="RUN", help="Folder of a finished run.", show_default=False)],
    study: Annotated[Path, typer.Argument(metavar="STUDY", help="The study as it is now (TOML).", show_default=False)],
    out: RunFolder = None, workers: Workers = None, seed: Seed = None, salvage: Salvage = False,
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
    _carried_out(wanted, out, workers, salvage, survey.start, lambda _, archive, __: answer(survey, archive))


def _carried_out(
    study: "Study", out: Path | None, workers: int | None, salvage: bool, start: "Array | None" = None,
    also: "Also | None" = None,
) -> None:
    """A run from its folder to its figures, begun or gone on with."""
    from datetime import UTC, datetime

    from optimize import job, runs
    from optimize.begun import begun
    from optimize.core_drawings import write_drawings
    from optimize.evaluate import CoreProblem
    from optimize.report import write_report

    plan = job.search_plan(CoreProblem(study))
    with begun(study, out, datetime.now(UTC), plan, start, salvage) as work, _progress() as progress:
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
    if not runs.read(folder).record["feasible"]:
        raise typer.Exit(1)


def _at_work(work: "Begun") -> str:
    """What is about to happen, for whoever may stop it."""
    if work.finished:
        return f"The run in {work.folder} is finished; its figures are drawn again."
    if work.store.kept:
        return f"Going on with the run in {work.folder}: {work.store.kept} batches of its search are kept."
    return f"Writing to {work.folder}; stopped at any time, the same command goes on from there."


@app.command()
def curves(
    study: StudyFile,
    vary: Annotated[list[str], typer.Option("--vary", metavar="KEY", help="Variable to vary; one or two.")],
    core: Core = None, run: FromRun = None, pick: Pick = "knee",
    out: Annotated[Path, typer.Option(help="Folder for the table and the figure.")] = Path("results/curves"),
) -> None:
    """Trade-off curves of one or two variables around a chosen core: cooling, losses, mass, and their price."""
    from optimize.curves import curve_table, curve_variables
    from optimize.report import write_curves

    problem = asked.problem_of(study)
    names = curve_variables(problem, vary)
    chosen = asked.core_of(problem, core, run, pick, tuple(names) if run is None else ())
    table = curve_table(problem, chosen, *names)
    out.mkdir(parents=True, exist_ok=True)
    table.to_csv(out / "curves.csv", index=False, float_format="%.8g")
    print(table.to_string(index=False))
    for path in write_curves(table, names, problem.study.units, problem.duty.names, out):
        print(f"wrote {path}", file=sys.stderr)


@app.command()
def soak(
    study: StudyFile, core: Core = None, run: FromRun = None, pick: Pick = "knee",
    out: Annotated[Path, typer.Option(help="Folder for tables and figures.")] = Path("results/soak"),
) -> None:
    """The schedule of pulls and rests with one core: charge, coolant and ice over time; what more litres or ice buy."""
    from optimize.report import write_soak
    from optimize.soak_tables import gains_table, one_core, soak_lines, soak_record, trace_table

    problem = asked.soaking_problem(study)
    chosen = asked.core_of(problem, core, run, pick)
    schedule, batch = one_core(problem, chosen)
    done = schedule.run(batch, keep=True)
    tables = {"soak": trace_table(problem, done.soaked, "core"), "soak_gains": gains_table(problem, chosen, "core")}
    out.mkdir(parents=True, exist_ok=True)
    for name, table in tables.items():
        table.to_csv(out / f"{name}.csv", index=False, float_format="%.8g")
    print("\n".join(soak_lines(problem, done)))
    for path in write_soak(tables["soak"], tables["soak_gains"], {"soak": soak_record(problem)}, out):
        print(f"wrote {path}", file=sys.stderr)


@app.command()
def scatter(
    study: StudyOrRun, core: Core = None, run: FromRun = None, pick: Pick = "knee",
    out: Annotated[Path, typer.Option(help="Folder for tables and figures.")] = Path("results/scatter"),
) -> None:
    """Copies of one core in depth: what share meets the limits, how sure that is, what to tighten, what to relax."""
    from optimize.one_core import scattered_core
    from optimize.report import write_scatter
    from optimize.scatter_lines import scatter_lines

    study, run = asked.places(study, core, run)
    problem = asked.problem_of(study)
    chosen = asked.core_of(problem, core, run, pick)
    made, record = scattered_core(problem, chosen, pick if run is not None else "core")
    out.mkdir(parents=True, exist_ok=True)
    for name, table in made.items():
        table.to_csv(out / f"{name}.csv", index=False, float_format="%.8g")
    print("\n".join(scatter_lines(problem, made, record)))
    for path in write_scatter(out, made, record):
        print(f"wrote {path}", file=sys.stderr)


@app.command()
def draw(
    study: StudyOrRun, core: Core = None, run: FromRun = None, pick: Pick = "knee", out: Out = Path("results/drawing"),
) -> None:
    """One core in its pocket to scale, with its dimensions and tolerances: SVG, and DXF for the casting designer."""
    from optimize.drawing.drawn_core import plate_of, write_drawing

    problem, chosen, known = asked.core_and_run(study, core, run, pick)
    for path in write_drawing(problem.space, chosen, plate_of(problem.study, known), out):
        print(path)


@app.command()
def report(run: Annotated[Path, typer.Argument(metavar="RUN", help="Folder of a run.", show_default=False)]) -> None:
    """Draw the figures and named cores of a finished run again, and write its summary and report.html."""
    from optimize.core_drawings import write_drawings
    from optimize.report import write_report

    for path in [*write_report(run), *write_drawings(run)]:
        print(path)


@app.command()
def sheet(study: StudyOrRun, core: Core = None, run: FromRun = None, pick: Pick = "knee", out: Out = HANDOVER) -> None:
    """What a core supplier signs: specification, bench figures and tolerances as a workbook, and one page (PDF)."""
    from optimize.handover import write_sheets

    problem, chosen, known = asked.core_and_run(study, core, run, pick)
    for path in write_sheets(problem, chosen, known.name, known.record, out, known.tables):
        print(path)


@app.command()
def solid(study: StudyOrRun, core: Core = None, run: FromRun = None, pick: Pick = "knee", out: Out = HANDOVER) -> None:
    """Core, tanks, ports and keep-out as solids for the casting designer (STEP); needs finfront[solid]."""
    from optimize.handover import write_solid

    problem, chosen, known = asked.core_and_run(study, core, run, pick)
    print(write_solid(problem.space, chosen, out / f"{known.name}.step", known.made))


@app.command()
def benchmark(
    study: StudyFile,
    cores: Annotated[int, typer.Option(min=1, help="Cores to rate, spread over the space.")] = 200_000,
) -> None:
    """How many cores are rated in a second by one process, and what a single core takes."""
    from optimize.benchmark import measure

    for line in measure(asked.problem_of(study), cores):
        print(line)


@contextmanager
def _progress() -> Iterator[Any]:
    """Progress on stderr: a function (what, done, total)."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True)) as bars:
        tasks: dict[str, Any] = {}

        def report(what: str, done: int, total: int) -> None:
            if what not in tasks:
                tasks[what] = bars.add_task(what, total=total)
            bars.update(tasks[what], completed=done, total=total)

        yield report
