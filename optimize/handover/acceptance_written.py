"""An acceptance as a table and a figure, in the units of the study."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from optimize import units
from optimize.csv_file import write_csv
from optimize.handover import notes
from optimize.handover.acceptance import TOO_COARSE, Accepted
from optimize.report.acceptance_figure import AcceptedLine, write_acceptance_figure
from optimize.report.markdown import table


def acceptance_lines(made: Sequence[Accepted], system: str) -> list[str]:
    """The limits as a table."""
    heads = ["bench", "flow", "expected", "zone of the shop", "bench +-", "accept from", "to"]
    rows = []
    for a in made:
        flow = units.show(a.point.mass_flow, "mass flow", system, 3)
        if a.stream.name == "coolant":
            flow = units.show(a.point.volume_flow, "volume flow", system, 3)
        values = [units.show(v, "pressure", system, 3) for v in (a.point.loss, *a.point.both, a.low, a.high)]
        ends = values[3:] if a.possible else [TOO_COARSE, "-"]
        rows.append([
            a.stream.fluid, flow, values[0], f"{values[1]} .. {values[2]}", f"{100 * a.uncertainty:.1f} %", *ends,
        ])
    return table(heads, rows).split("\n")


def write_acceptance(made: Sequence[Accepted], system: str, folder: Path) -> list[Path]:
    """acceptance.csv, acceptance.md and the figure."""
    text = folder / "acceptance.md"
    lines = ["# Acceptance on the bench", "", *acceptance_lines(made, system), "", *notes.CAUTIONS]
    text.write_text("\n".join(lines) + "\n", encoding="utf-8")
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
    figure = write_acceptance_figure(drawn, units.unit_symbol("pressure", system), folder)
    return [text, write_csv(folder / "acceptance.csv", head, rows), *figure]
