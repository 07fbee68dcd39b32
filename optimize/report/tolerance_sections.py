"""Sections of the summary on copies of cores: what they do, the robust front, what to tighten."""

from typing import TYPE_CHECKING

from optimize.report.budget_data import BudgetData, BudgetRow, budget_data
from optimize.report.columns import quantity, requirement_words, typeset, words
from optimize.report.copy_data import (
    BOTH,
    EVERY_LIMIT,
    Share,
    interval_text,
    interval_words,
    kinds_of,
    nested_copies,
    nested_spread,
    percent,
    rows_of,
    share_of,
    share_text,
    texts,
    tolerance_words,
)
from optimize.report.markdown import named_cores, plain, table
from optimize.report.robust_data import nominal_pick
from optimize.report.robust_section import robust_section
from optimize.report.tolerance_figures import has_rows
from optimize.report.tornado_data import TornadoPanel, index_text, tornado_data
from optimize.runs import Run

if TYPE_CHECKING:
    pass

_KINDS = {
    "shop": "*shop*: the tolerances of the study, from core to core",
    "run": "*run*: the scatter of the duty points, from run to run",
    "shop and run": "*shop and run*: both",
    "model": "*model*: the bands of the correlations, on the core as drawn; one unknown truth, not scatter, so it has "
             "no share",
}
_MOST_CAUSES = 3
_SLIGHT = 0.05  # of the largest effect; less is no cause to name


def tolerance_sections(run: Run) -> list[str]:
    """Headings and texts in turn, of those sections the run has data for."""
    parts = {}
    if has_rows(run, "yield"):
        parts["Copies of them"] = _copies(run)
    if "robust" in run.record and has_rows(run, "fallen"):
        parts["The robust front"] = robust_section(run)
    if has_rows(run, "sensitivities") or (has_rows(run, "budget") and "budget" in run.record):
        parts["What to tighten"] = _tighten(run)
    return [text for title, said in parts.items() for text in (f"## {title}", said)]


def knee_share(run: Run) -> str:
    """The share of the knee's copies that meet everything, as the end of a sentence; empty where there is none."""
    share = share_of(run, str(run.record["picks"]["knee"]), "shop") if has_rows(run, "yield") else None
    if share is None:
        return ""
    both = share_of(run, str(run.record["picks"]["knee"]), BOTH)
    more = "" if both is None else f", {share_text(both)} with scatter from run to run"
    return f"; {share_text(share)} of its copies, built to the tolerances of the study, meet everything{more}"


def _copies(run: Run) -> str:
    """Share that meets everything, what may become of it, and P05, P50, P95 of each named core."""
    drawn = run.tables["yield"]["draws"]
    fewest, most = int(drawn.min()), int(drawn.max())
    count = f"{fewest:,}" if fewest == most else f"{fewest:,} to {most:,}"
    there = [kind for kind in _KINDS if kind in run.record["scatter"]["kinds"]]
    said = (
        f"{count} copies of each front core. {'; '.join(_KINDS[kind] for kind in there)}. In brackets stand "
        f"{interval_words(run)}."
    )
    cores = [
        f"**{plain(pick)}, {core}**\n\n{_one_core(run, core)}"
        for core, pick in zip(texts(named_cores(run), "core"), texts(named_cores(run), "pick"), strict=True)
    ]
    return "\n\n".join([said, *cores, *_notes(run)])


def _one_core(run: Run, core: str) -> str:
    lines = []
    for kind in kinds_of(run):
        if (share := share_of(run, core, kind)) is not None:
            lines.append(f"- {kind}: {share_text(share)} meet every limit{_most_missed(run, core, kind)}")
    if (ends := nested_spread(run, core)) is not None:
        low, middle, high = (percent(v) for v in (ends.low, ends.middle, ends.high))
        between = f"is {low} %" if low == high else f"lies between {low} and {high} %"
        lines.append(
            f"- If the correlations are off as their bands allow, the yield {between} (5th to 95th percentile, median "
            f"{middle} %; each from {nested_copies(run)} copies, known to a few points); it is one unknown truth, not "
            "scatter."
        )
    return "\n\n".join(["\n".join(lines), *([_percentiles(run, core)] if has_rows(run, "percentiles") else [])])


def _most_missed(run: Run, core: str, kind: str) -> str:
    """The requirement most copies miss, with its share; empty where none misses any."""
    rows = rows_of(run.tables["yield"], core=core, scatter=kind, duty="")
    rows = rows[rows["requirement"] != EVERY_LIMIT]
    least = rows.sort_values("share [%]", kind="stable").head(1)
    if not len(least) or float(least["share [%]"].iloc[0]) >= 100:
        return ""
    share = Share(*(100 - float(least[f"{part} [%]"].iloc[0]) for part in ("share", "high", "low")))
    return f"; {share_text(share)} miss {requirement_words(str(least['requirement'].iloc[0]))}, more than any other"


def _percentiles(run: Run, core: str) -> str:
    """A row for each output, duty point and kind of scatter."""
    own = rows_of(run.tables["percentiles"], core=core)
    rows: dict[str, dict[str, list[str]]] = {}
    parts = (texts(own, name) for name in ("output", "duty", "unit", "scatter", "statistic"))
    for (output, duty, unit, kind, statistic), (value, low, high) in zip(
        zip(*parts, strict=True), own[["value", "low", "high"]].to_numpy(dtype=float), strict=True
    ):
        if statistic in ("P05", "P50", "P95"):
            name = words(output) + (f", {words(duty)}" if duty else "") + (f" [{typeset(unit)}]" if unit else "")
            rows.setdefault(name, {}).setdefault(kind, []).append(interval_text(float(value), float(low), float(high)))
    return table(["", "of", "P05", "P50", "P95"], [
        [plain(name), kind, *cells] for name, kinds in rows.items() for kind, cells in kinds.items()
    ])


def _notes(run: Run) -> list[str]:
    """Copies without numbers, and laws of which something was cut away."""
    notes = []
    lost: dict[str, int] = run.record["scatter"].get("lost", {})
    if lost:
        reasons = "; ".join(f"{plain(reason)} ({count:,})" for reason, count in lost.items())
        notes.append(
            "**Lost copies.** Some copies have no numbers, over all cores and kinds of scatter; they count as failed, "
            f"and percentiles are of the others: {reasons}."
        )
    if has_rows(run, "truncated"):
        cut = run.tables["truncated"]
        named = zip(texts(cut, "core"), texts(cut, "tolerance"), cut["cut away [%]"].astype(float), strict=True)
        listed = "; ".join(f"{tolerance_words(name)} of {core}, {percent(v, 2)} %" for core, name, v in named)
        notes.append(
            "**Truncated laws.** No length is below zero and no blocked share above 90 %, so part of a law was cut "
            f"away: {plain(listed)}."
        )
    return notes


def _tighten(run: Run) -> str:
    """What moves most, what the budget asks for, what may be looser for free."""
    parts = []
    if has_rows(run, "sensitivities"):
        data = tornado_data(run)
        lines = [f"- {plain(_causes(panel))}" for panel in data.panels if panel.rows]
        totals = ", and its share of the output's scatter (total Sobol' index, with interval)" * data.has_totals
        parts.append(
            f"What moves {_named(run, data.core)} most when one dimension alone goes to an end of its tolerance"
            f"{totals}:"
        )
        parts.append("\n".join(lines))
        if data.refused:
            parts.append(f"No shares of the scatter: {plain(data.refused)}.")
    if has_rows(run, "budget") and "budget" in run.record:
        parts.append(_budget(run, budget_data(run)))
    return "\n\n".join(parts)


def _named(run: Run, core: str) -> str:
    name = nominal_pick(run, core)
    return f"{core} ({plain(name)})" if name else core


def _causes(panel: TornadoPanel) -> str:
    """The first causes of one output's scatter in words."""
    causes = []
    for row in (row for row in panel.rows[:_MOST_CAUSES] if row.size > _SLIGHT * panel.rows[0].size):
        width = f" {row.half_width}" if row.half_width else ""
        share = f", {index_text(row.total)} of the scatter" if row.total is not None else ""
        causes.append(f"{row.name}{width} by up to {quantity(row.size, panel.unit, 2)}{share}")
    limit = f" ({panel.limit})" if panel.limit else ""
    return f"{panel.output}{limit}: {'; '.join(causes)}"


def _budget(run: Run, data: BudgetData) -> str:
    """The budget in words; every share with its interval."""
    tight = [row for row in data.rows if row.tighter]
    lines = [
        f"Tolerance budget of {_named(run, data.core)}: {data.wanted:.4g} % of copies wanted, by the tolerances of the "
        f"shop alone. Today {share_text(data.before)} meet every limit."
    ]
    if tight:
        lines.append("\n".join(
            f"- {plain(row.name)}: from {plain(row.today)} to **{plain(row.tightened_text)}**" for row in tight
        ))
        lines.append(f"With that, {share_text(data.after)} meet every limit.")
    if not data.reachable:
        lines.append("**That is not the share wanted**: no tightening that was tried reaches it.")
    elif not tight:
        lines.append("Nothing has to be tightened.")
    return "\n\n".join([*lines, _free(data)])


def _free(data: BudgetData) -> str:
    """What may be looser, all at once and alone."""
    both = [row for row in data.rows if row.together > 1]
    alone = [row for row in data.rows if row.alone > max(row.together, 1.0)]
    if not both and not alone:
        return "Nothing may be looser for free."
    said = []
    if both:
        said.append(
            f"Looser, {_still(data)}, all at once: {plain(_list(both, 'together_text'))}; then "
            f"{share_text(data.together)} meet every limit."
        )
    if alone:
        said.append(f"Further, but one of these alone: {plain(_list(alone, 'alone_text'))}.")
    return " ".join(said)


def _still(data: BudgetData) -> str:
    """What a looser tolerance may not cost."""
    if data.before.low >= data.wanted:
        return f"and still surely {data.wanted:.4g} % good copies"
    return "at no loss of good copies"


def _list(rows: list[BudgetRow], text: str) -> str:
    return ", ".join(f"{row.name} {row.today} to {getattr(row, text)}" for row in rows)
