"""The section of the summary on a rerun: what was changed, which cores died, what was lost, what a mm is worth."""

from optimize.report.columns import label, number, requirement_words, words
from optimize.report.markdown import plain, table
from optimize.report.rerun_data import FATES, RerunData, rerun_data, worth_words
from optimize.runs import Run
from optimize.scope import scope_of

_MOST_CHANGES = 20
_MOST_CORES = 15


def rerun_section(run: Run) -> str:
    """Before and after, in Markdown."""
    data = rerun_data(run)
    parts = [_changed(run), _lost(run), _hypervolume(run), _old(data), _search(run)]
    if data.worths:
        parts += [_worth(run, data)]
    return "\n\n".join(part for part in parts if part)


def _changed(run: Run) -> str:
    changes, record = run.tables["changes"], run.record["rerun"]
    rows = [[plain(cell) for cell in row] for row in changes.fillna("").astype(str).to_numpy().tolist()]
    more = f"\n\nand {len(rows) - _MOST_CHANGES} more, see changes.csv" if len(rows) > _MOST_CHANGES else ""
    said = f"Carried over from {plain(record['of'])} of {record['made'][:16].replace('T', ' ')}."
    if not rows:
        return f"{said} The study is the same."
    return f"{said} What was changed:\n\n{table(['field', 'before', 'after'], rows[:_MOST_CHANGES])}{more}"


def _lost(run: Run) -> str:
    """How many stored designs keep the requirements, and what turns the others away."""
    r = run.record["rerun"]
    said = (
        f"Of {r['stored']:,} designs the run had kept {r['feasible_before']:,} met everything as it was; "
        f"{r['feasible_before'] - r['lost']:,} of those still do as they are, {r['lost']:,} no longer"
    )
    said += f", and {r['won']:,} others now do." if r["won"] else "."
    if r["not_in_catalogue"]:
        said += f" {r['not_in_catalogue']:,} have a part that is no longer in the catalogue."
    by = [f"- {plain(requirement_words(name))}: {n:,}" for name, n in sorted(r["lost_by"].items(), key=lambda p: -p[1])]
    return said + ("\n\nWhat turns those away (a design may miss several):\n\n" + "\n".join(by) if by else "")


def _hypervolume(run: Run) -> str:
    held = run.record["rerun"]["hypervolume"]
    if held is None or not held["before"]:
        return "The two fronts have no common measure: the objectives were not known before, or one front is a point."
    change = 100 * (held["after"] / held["before"] - 1)
    return (
        f"Hypervolume of the front, counted in one box for both: {100 * held['before']:.1f} % before, "
        f"{100 * held['after']:.1f} % now ({change:+.1f} %)."
    )


def _old(data: RerunData) -> str:
    """The fate of the old front, the old choices first."""
    counts = ", ".join(f"{sum(core.fate == fate for core in data.old):,} {fate}" for fate in FATES)
    cores = sorted(data.old, key=lambda core: not core.pick)[:_MOST_CORES]
    rows = [
        [core.core, plain(core.pick or "-"), core.fate, plain(requirement_words(core.because) or "-"),
         plain(core.repair or "-"), *(number(value) for value in core.before), *(number(value) for value in core.now)]
        for core in cores
    ]
    titles = [label(title) for title in data.titles]
    heads = ["core before", "was", "fate", "because", "nearest that keeps all"]
    heads += [f"{title}, before" for title in titles] + [f"{title}, now" for title in titles]
    left = f"\n\nThe others are in fates.csv ({len(data.old):,} rows)." if len(data.old) > len(cores) else ""
    return f"Of the {len(data.old):,} cores of the old front: {counts}.\n\n{table(heads, rows)}{left}"


def _search(run: Run) -> str:
    """How near the survivors and their neighbours came before any search, and what was saved."""
    warm, scope = run.record["rerun"]["warm"], scope_of(run.record)
    if not warm["front"] or warm["share"] is None:
        return ""
    said = (
        f"The kept designs and their neighbours alone ({warm['rated']:,} ratings, {warm['seconds']:.1f} s) gave "
        f"{100 * warm['share']:.2f} % of the hypervolume of the new front and {warm['found']:,} of its "
        f"{warm['front']:,} cores. "
    )
    if scope.drawn:
        ratings = f"{warm['search_rated']:,} ratings in full"
        return said + f"The certified search that followed took {ratings}: the new front is exact, not near."
    if scope.exact:
        return said + f"The sweep that followed rated all {warm['search_rated']:,}: the new front is exact, not near."
    said += f"The search that followed rated {warm['search_rated']:,}"
    if "cold_rated" in warm:
        said += f"; the search before had needed {warm['cold_rated']:,} for that share of its own"
    return said + "."


def _worth(run: Run, data: RerunData) -> str:
    """What a millimetre is worth, in words."""
    names = [plain(requirement_words(worth.what.removeprefix("limit: "))) for worth in data.worths]
    lines = [f"- **{name}**: {worth_words(worth, data.titles)}" for name, worth in zip(names, data.worths, strict=True)]
    fixed = ", ".join(f"{words(name)} ({value})" for name, value in run.record["rerun"]["fixed"].items())
    said = (
        "What more or less of each dimension and limit is worth, the hypervolume against the present front, found "
        f"by judging {run.record['rerun']['judged_for_worth']:,} cores again and searching on from them (a lower bound "
        "for what is gained). Fins, plates and steps come in sizes, so gains come in steps."
    )
    if fixed:
        said += f" The study fixes the {fixed}: room for a longer core is worth nothing until it is let vary."
    return f"{said}\n\n" + "\n".join(lines)
