"""An acceptance as a table and a figure, in the units of the study."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from optimize import units
from optimize.csv_file import write_csv
from optimize.evaluate import CoreProblem
from optimize.handover import notes
from optimize.handover.acceptance import TOO_COARSE, Accepted, Guard
from optimize.handover.bench_sheet import loss_places
from optimize.report.acceptance_figure import AcceptedLine, write_acceptance_figure
from optimize.report.markdown import table

_FITTED = "Calculated from correlations fitted to another core, or another copy of this one. Check before making."


def acceptance_text(problem: CoreProblem, name: str, made: Sequence[Accepted], guard: Guard) -> str:
    """Which core, on what bench, how the limits are meant, and the limits as a table."""
    system, fitted = problem.study.units, problem.study.fitted
    known = "the published bands" if fitted is None else f"what a fit to {fitted.about} left of them"
    cautions = notes.CAUTIONS if fitted is None else (_FITTED, *notes.CAUTIONS[1:])
    streams = dict.fromkeys(notes.stream_title(a.stream, system) for a in made)
    return "\n".join([
        f"# {name}: acceptance on the bench", "", f"{problem.study.title}, core alone, new. {'. '.join(streams)}.", "",
        f"Zone: where 95 % of cores within the shop's tolerances lie, the correlations within {known}. Accepted is "
        f"what lies in it however wrong the bench, whose loss is uncertain by {100 * guard.loss:.3g} %, its flow by "
        f"{100 * guard.flow:.3g} % (95 %).", "", _limits(made, system), "", *cautions,
    ])


def _limits(made: Sequence[Accepted], system: str) -> str:
    heads = ["bench", "flow", "expected", "zone", "bench +-", "accept from", "to"]
    rows = []
    for a in made:
        flow = units.show(a.point.mass_flow, "mass flow", system, 3)
        if a.stream.name == "coolant":
            flow = units.show(a.point.volume_flow, "volume flow", system, 3)
        places = loss_places(a.stream, system)
        values = [
            f"{units.to_display(v, 'pressure', system):.{places}f}"
            for v in (a.point.loss, *a.point.both, a.low, a.high)
        ]
        ends = values[3:] if a.possible else [TOO_COARSE, "-"]
        zone = f"{values[1]} .. {values[2]} {units.unit_symbol('pressure', system)}"
        rows.append([a.stream.fluid, flow, values[0], zone, f"{100 * a.uncertainty:.1f} %", *ends])
    return table(heads, rows)


def write_acceptance(
    problem: CoreProblem, name: str, made: Sequence[Accepted], guard: Guard, folder: Path
) -> list[Path]:
    """acceptance.csv, acceptance.md and the figure."""
    system, text = problem.study.units, folder / "acceptance.md"
    text.write_text(acceptance_text(problem, name, made, guard) + "\n", encoding="utf-8")
    head = ["bench", "mass_flow [kg/s]", "volume_flow [m3/s]", "expected [Pa]", "zone_low [Pa]", "zone_high [Pa]",
            "bench_uncertainty [%]", "accept_low [Pa]", "accept_high [Pa]", "possible"]
    rows = [
        [a.stream.fluid, *(f"{v:.6g}" for v in (a.point.mass_flow, a.point.volume_flow, a.point.loss, *a.point.both,
                                                100 * a.uncertainty, a.low, a.high)), "yes" if a.possible else "no"]
        for a in made
    ]
    factor, _ = units.scale("pressure", system)
    drawn = [
        AcceptedLine(
            fluid, np.array([a.point.mass_flow for a in own]), np.array([a.point.loss for a in own]) / factor,
            np.array([a.point.both for a in own]) / factor, np.array([(a.low, a.high) for a in own]) / factor,
        )
        for fluid in dict.fromkeys(a.stream.fluid for a in made)
        for own in [[a for a in made if a.stream.fluid == fluid]]
    ]
    figure = write_acceptance_figure(drawn, name, units.unit_symbol("pressure", system), folder)
    return [text, write_csv(folder / "acceptance.csv", head, rows), *figure]
