"""A fit in words, tables and a figure, in the units of the study."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from optimize import units
from optimize.csv_file import write_csv
from optimize.fitting.findings import (
    TOLD,
    corrections,
    left_one_out,
    outliers,
    standardised,
    told_together,
    validation,
)
from optimize.fitting.fit import Fit, about_of, held_prediction, many, model_of
from optimize.fitting.next_point import MOST_SHOWN, Candidate, Goals
from optimize.fitting.quantities import KINDS
from optimize.fitting.scales import BLOCKAGES
from optimize.report.fit_figure import BandRow, ResidualRow, write_fit_figure
from optimize.report.markdown import table
from optimize.study.corrections import FACTORS, as_toml

Table = tuple[Sequence[str], Sequence[Sequence[object]]]  # head and rows

CAUTION = (
    "A fit says what this core did on these rigs, within what their files state; it replaces no pressure test, no hot "
    "test of the next core, and no judgement of someone licensed to sign for it."
)


def write_fit(found: Fit, goals: Goals, following: Sequence[Candidate], folder: Path) -> list[Path]:
    """model.toml, fit.md, tables and figure in a folder; the paths written."""
    text = folder / "fit.md"
    text.write_text(fit_text(found, goals, following), encoding="utf-8")
    model = folder / "model.toml"
    model.write_text(as_toml(model_of(found)), encoding="utf-8")
    return [
        model, text, write_csv(folder / "corrections.csv", *_correction_table(found)),
        write_csv(folder / "rows.csv", *_row_table(found)),
        write_csv(folder / "next.csv", *_next_table(found, following)),
        *write_fit_figure(_band_rows(found), _residual_rows(found), _headline(found), folder),
    ]


def fit_text(found: Fit, goals: Goals, following: Sequence[Candidate]) -> str:
    """The whole report in Markdown."""
    parts = {
        "What was fitted": _fitted(found), "What the rows say": _said(found), "Proof": _proof(found),
        "Model against rows": _compared(found), "Heat balance": _balanced(found),
        "What to measure next": _next(found, goals, following),
        "Care": CAUTION,
    }
    sections = [f"## {title}\n\n{said}" for title, said in parts.items() if said]
    return f"# Fit to {about_of(found)}\n\n" + "\n\n".join(sections) + "\n"


def _headline(found: Fit) -> str:
    models = [c for c in corrections(found.posterior, found.scales) if c.name in FACTORS]
    told = sum(c.verdict == TOLD for c in models)
    rows, files = len(found.posterior.measured), len(found.parts)
    return f"{many(rows, 'value')} of {many(files, 'file')} tell {told} of {len(models)} multipliers"


def _fitted(found: Fit) -> str:
    lines = [
        f"- {Path(part.file.name).name}: {part.file.said.rig}, {many(len(part.file), 'row')}"
        + (" (steady parts of the log)" if "time" in part.file.values else "") for part in found.parts
    ]
    lines += [
        f"- kept apart for proof: {Path(part.file.name).name}, {many(len(part.file), 'row')}" for part in found.held
    ]
    lines.append(f"- fins: {found.batch.air_family.name} in the air, {found.batch.coolant_family.name} in the coolant")
    return "\n".join(lines)


def _said(found: Fit) -> str:
    post, shop = found.posterior, found.scales.shop
    made = corrections(post, found.scales)
    rows = [
        [_words(c.name), f"{c.before[0]:.3f} .. {c.before[1]:.3f}", f"{c.after[1]:.3f}",
         f"{c.after[0]:.3f} .. {c.after[2]:.3f}", c.verdict]
        for c in made if c.name in BLOCKAGES or c.name not in shop
    ]
    lines = [
        table(["correction", "before, 95 %", "after", "after, 95 %", "verdict"], rows), "",
        "Multipliers on the published correlations at the middle Reynolds number of the rows, of the duty points where "
        f"none measures that side (air {found.scales.reference['air']:.0f}, coolant "
        f"{found.scales.reference['coolant']:.0f}); exponents of Re over that number; blocked shares as a change of "
        "the study's own.",
    ]
    if shop:
        told = ", ".join(_words(c.name) for c in made if c.name in shop and c.verdict == TOLD)
        lines.append(
            f"- {len(shop)} dimensions of the core measured were free within their tolerances (corrections.csv); told "
            f"by the rows: {told or 'none'}."
        )
    for one, other, rho in told_together(post):
        lines.append(f"- {_words(one)} and {_words(other)} are told together only (correlation {rho:+.2f}).")
    n = len(post.measured)
    by_chance = f"as large by chance in {min(100 * found.chance, 99):.2g} % of fits"
    lines.append(f"- misfit {found.misfit:.1f} for {many(n, 'value')} ({by_chance}).")
    if found.scatter > 1:
        lines.append(
            f"- The rows scatter more than their files state, or the model misses something: all stated deviations "
            f"were taken {found.scatter:.2f} times as large."
        )
    for i in np.flatnonzero(outliers(post)):
        off = standardised(post)[i]
        lines.append(f"- {_place(found, int(i))} lies {off:+.1f} standard deviations off: look at it.")
    return "\n".join(lines)


def _place(found: Fit, i: int) -> str:
    rows = found.posterior.measured
    file = found.parts[int(rows.file[i])].file
    return f"{_words(rows.output[i])} on {file.name}, line {file.lines[int(rows.row[i])]}"


def _proof(found: Fit) -> str:
    left = left_one_out(found.posterior)
    inside, n = int(left.inside.sum()), len(left.inside)
    lines = [
        f"- Each row predicted without it: {inside} of {n} values inside their 90 % intervals "
        f"({100 * inside / n:.0f} %)."
    ]
    if found.held:
        apart = held_prediction(found).inside
        lines.append(f"- Files kept apart: {int(apart.sum())} of {len(apart)} values inside their 90 % intervals.")
    return "\n".join(lines)


def _compared(found: Fit) -> str:
    post = replace(found.posterior, V=found.stated)
    before, after = (validation(post, m) for m in (found.published, post.predicted))
    rows = []
    for b, a in zip(before, after, strict=True):
        kind = KINDS[b.output][0].replace("temperature", "temperature difference")
        show = [units.show(v, kind, found.problem.study.units, 3) for v in (b.error, a.error, a.uncertainty, a.rms)]
        rows.append([Path(found.parts[b.file].file.name).name, _words(b.output), str(b.rows), *show])
    heads = ["file", "output", "rows", "E published", "E fitted", "u_val", "rms fitted"]
    note = (
        "E: mean of prediction less measurement; u_val: its standard uncertainty from measurement and inputs (ASME "
        "V&V 20, from memory; the sheet's own numerical error, 0.01 K and 3e-4 of a loss, is left out). |E| above "
        "2 u_val is an error of the model, or of the rig."
    )
    return f"{table(heads, rows)}\n\n{note}"


def _balanced(found: Fit) -> str:
    lines = []
    for b in found.balances:
        worst = int(np.argmax(np.abs(b.air - b.coolant) / b.half_width))
        share, allowed = 100 * (b.air[worst] / b.coolant[worst] - 1), 100 * b.half_width[worst] / b.coolant[worst]
        lines.append(
            f"- {Path(b.name).name}: {int(b.broken.sum())} of {len(b.lines)} rows out of balance; at worst, line "
            f"{b.lines[worst]}, the air gives {share:+.1f} % more than the coolant takes (stated: {allowed:.1f} %)."
        )
        if b.is_biased:
            lines.append(
                f"  Over the whole file the air gives {100 * b.bias:+.1f} % more, where {100 * b.bias_half_width:.1f} "
                "% is stated: heat goes astray, or a sensor is off. **Either outlet was taken to be wrong by all of "
                "it**; find the cause and measure again."
            )
    return "\n".join(lines)


def _next(found: Fit, goals: Goals, following: Sequence[Candidate]) -> str:
    heads = ["core", "rig", "air flow", "coolant flow", "variance taken"]
    rows = [[*_candidate_words(found, c), f"{100 * c.gain:.1f} %"] for c in following[:MOST_SHOWN]]
    note = f"One row each; mean share of the variance of {', '.join(goals.names)}."
    return f"{table(heads, rows)}\n\n{note}" if rows else "No goal of the study depends on what could be measured."


def _candidate_words(found: Fit, c: Candidate) -> list[str]:
    system = found.problem.study.units
    air = "-" if c.air_flow is None else units.show(c.air_flow, "mass flow", system, 3)
    liquid = "-" if c.coolant_flow is None else units.show(c.coolant_flow, "volume flow", system, 3)
    return [c.core, c.rig, air, liquid]


def _words(name: str) -> str:
    """'air j', 'coolant loss'."""
    return name.replace("_", " ")


def _correction_table(found: Fit) -> Table:
    made = corrections(found.posterior, found.scales)
    head = ["correction", "before_low", "before_high", "after_low", "after", "after_high", "score_deviation", "verdict"]
    return head, [[c.name, *c.before, *c.after, c.deviation, c.verdict] for c in made]


def _row_table(found: Fit) -> Table:
    """SI: every value, its predictions, and how far off it lies."""
    post, rows = found.posterior, found.posterior.measured
    left, off, sd = left_one_out(post), standardised(post), np.sqrt(np.diag(found.stated))
    numbers = {
        "measured [SI]": rows.y, "published [SI]": found.published, "fitted [SI]": post.predicted,
        "uncertainty [SI]": sd, "standardised_residual": off, "left_out_residual [SI]": left.residual,
        "left_out_deviation [SI]": left.deviation,
    }
    files = [found.parts[int(number)].file for number in rows.file]
    body = [
        [Path(file.name).name, int(file.lines[rows.row[i]]), rows.output[i], *(f"{v[i]:.8g}" for v in numbers.values())]
        for i, file in enumerate(files)
    ]
    return ["file", "line", "output", *numbers], body


def _next_table(found: Fit, following: Sequence[Candidate]) -> Table:
    rows = [[*_candidate_words(found, c), f"{100 * c.gain:.4g}"] for c in following]
    return ["core", "rig", "air_flow", "coolant_flow", "variance_taken [%]"], rows


def _band_rows(found: Fit) -> list[BandRow]:
    """Bands of the multipliers, for the figure."""
    return [
        BandRow(_words(c.name), c.before, c.after, c.verdict)
        for c in corrections(found.posterior, found.scales) if c.name in FACTORS
    ]


def _residual_rows(found: Fit) -> list[ResidualRow]:
    """Residuals of each output of each file over its rows, published and fitted, in standard uncertainties."""
    post, rows = found.posterior, found.posterior.measured
    sd, outputs = np.sqrt(np.diag(found.stated)), np.array(rows.output)
    made = []
    for number, part in enumerate(found.parts):
        for name in part.file.outputs:
            own = (rows.file == number) & (outputs == name)
            flow = part.file.values["coolant_flow" if name == "coolant_loss" else part.file.rig.inputs[0]]
            made.append(ResidualRow(
                f"{Path(part.file.name).name}: {_words(name)}", flow / np.max(flow),
                (found.published - rows.y)[own] / sd[own], -post.residuals[own] / sd[own],
            ))
    return made
