"""Commands about one core: its sheet, curves, copies and drawing, what goes to supplier and casting designer."""

import json
import sys
from pathlib import Path
from typing import Annotated

import typer

from optimize import asked
from optimize.cli.app import HANDOVER, BenchFlow, BenchLoss, Core, FromRun, Out, Pick, StudyFile, StudyOrRun, app


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
def sheet(
    study: StudyOrRun, core: Core = None, run: FromRun = None, pick: Pick = "knee", loss: BenchLoss = "1 %",
    flow: BenchFlow = "1 %", out: Out = HANDOVER,
) -> None:
    """What a core supplier signs: specification, bench figures and tolerances as a workbook, and one page (PDF)."""
    from optimize.handover import write_sheets

    guard = asked.guard_of(loss, flow)
    problem, chosen, known = asked.core_and_run(study, core, run, pick)
    for path in write_sheets(problem, chosen, known.name, known.record, out, known.tables, guard):
        print(path)


@app.command()
def solid(study: StudyOrRun, core: Core = None, run: FromRun = None, pick: Pick = "knee", out: Out = HANDOVER) -> None:
    """Core, tanks, ports and keep-out as solids for the casting designer (STEP); needs finfront[solid]."""
    from optimize.handover import write_solid

    problem, chosen, known = asked.core_and_run(study, core, run, pick)
    print(write_solid(problem.space, chosen, out / f"{known.name}.step", known.made))
