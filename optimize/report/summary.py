"""summary.md: what was asked, what came out, and what to be careful of, for whoever opens the folder first."""

import tomllib
from typing import Any

import numpy as np

from optimize.notes import notes_of
from optimize.report.columns import column, columns_of, label, number, quantity, requirement_words, words
from optimize.report.copy_data import tolerance_words
from optimize.report.core_data import limit_data
from optimize.report.figure_data import at_limit, limit_words
from optimize.report.figures import share_words
from optimize.report.markdown import named_cores, named_heads, output_rows, plain, table
from optimize.report.off_grid_section import off_grid_section
from optimize.report.rerun_data import is_rerun
from optimize.report.rerun_section import rerun_section
from optimize.report.system_sections import system_sections
from optimize.report.tolerance_sections import knee_share, tolerance_sections
from optimize.runs import Run
from optimize.scope import Scope, scope_of

MAIN_OUTPUTS = (
    "heat_rejected", "air_outlet_temperature", "air_pressure_drop", "coolant_pressure_drop", "filled_mass",
    "stack_height",
)
RERUN, NOTES, OFF_GRID = "Before and after", "Noted on this run", "Off the grid"
ASKED, NAMED, MISSES = "What was asked", "The cores with a name", "The nearest misses"
LIMITS, TRUST, MADE = "What limits what", "How far to trust it", "How it was made"
_MOST_LIMITS = 12
CAUTIONS = """\
- The coolant is hot and under pressure. A leak in the core puts coolant into the engine; charge air that is too hot
  can damage it. Pressure-test every core, and fit it by local codes and licensed practice.
- These are calculated figures. Published correlations have bands, and the tables below the picks say how far they
  reach; no bench test has been replaced.
- A share of copies is what the tolerances of the study say, no more: a fault of making that the study does not name is
  not in it."""


def summary(run: Run) -> str:
    """The text of summary.md."""
    parts = [f"# {plain(run.record['title'])}", outcome(run)]
    parts += [text for title, said in sections(run).items() for text in (f"## {title}", said)]
    return "\n\n".join(parts) + "\n"


def sections(run: Run) -> dict[str, str]:
    """The sections behind the outcome, in Markdown, by their titles: those the run has data for."""
    said = {ASKED: _asked(run)}
    if notes := notes_of(run.folder):
        said = {NOTES: "\n".join(f"- {plain(note)}" for note in notes)} | said
    if is_rerun(run):
        said[RERUN] = rerun_section(run)
    if "front" in run.tables:
        said[NAMED] = _picks(run)
        both = [*tolerance_sections(run), *system_sections(run)]
        said |= {title.removeprefix("## "): text for title, text in zip(both[::2], both[1::2], strict=True)}
    elif len(run.tables["misses"]):
        said[MISSES] = _misses(run)
    if "off_grid" in run.record:
        said[OFF_GRID] = off_grid_section(run)
    said |= {LIMITS: _limits(run), TRUST: f"{_trust(run)}\n\n{CAUTIONS}", MADE: _made(run)}
    return said


def outcome(run: Run) -> str:
    """What came out, in two sentences."""
    record, scope = run.record, scope_of(run.record)
    cores = f"{scope.cores:,} cores" if scope.drawn else f"{scope.cores:,} cores rated"
    if "front" not in run.tables:
        return (
            f"None of {cores} meets everything that was asked. "
            f"The requirement that turned most away is {_first_limit(run)}."
        )
    knee = run.tables["front"].set_index("core").loc[record["picks"]["knee"]]
    values = ", ".join(
        f"{words(c.name)} {quantity(float(knee[c.title]), c.unit)}"
        for c in (column(o["column"]) for o in record["objectives"])
    )
    worth = "none is beaten in every objective"
    found = (
        f"Of {cores} {record['front']:,} are worth having: they meet everything, and {worth} ({scope.meeting})."
        if scope.drawn else
        f"Of {cores} {scope.meeting}, and {record['front']:,} of those are worth having: {worth}."
    )
    return (
        f"{found} "
        f"The knee of that front is {record['picks']['knee']}: {values}{knee_share(run)}."
    )


def _first_limit(run: Run) -> str:
    data = limit_data(run)
    return data.names[0] if data.names else "none"


def _asked(run: Run) -> str:
    """Duty, coolant and pocket in the words of the study's own file; objectives and limits from the record."""
    study = tomllib.loads((run.folder / "study.toml").read_text(encoding="utf-8"))
    lines = []
    for name, point in study.get("duty", {}).items():
        lines.append(f"- duty point {plain(words(name))}: {_pairs(point)}")
    for part in ("coolant", "ambient", "envelope"):
        if part in study:
            lines.append(f"- {'pocket' if part == 'envelope' else part}: {_pairs(study[part])}")
    aims = [
        f"{'most' if o['maximise'] else 'least'} {label(o['column'], unit=False)}" for o in run.record["objectives"]
    ]
    lines.append(f"- wanted: {plain('; '.join(aims))}")
    for limit in run.record["limits"]:
        side = "at most" if limit["side"] == "max" else "at least"
        value = limit_words(limit).removeprefix("limit ")
        everywhere = " at every duty point" if limit["at"] == "worst" else ""
        of = f"{limit['of']} of the copies, on the robust front: " if limit.get("of") else ""
        lines.append(f"- {of}{words(limit['output'])} {side} {value}{everywhere}")
    for pair in study.get("scatter", {}).get("correlations", ()):
        first, second = (tolerance_words(str(name)) for name in pair["between"])
        lines.append(f"- rank correlation {pair['rank']} between {plain(first)} and {plain(second)}")
    return "\n".join(lines)


def _pairs(values: dict[str, Any]) -> str:
    return ", ".join(f"{plain(words(key))} {_told(value)}" for key, value in values.items())


def _told(value: object) -> str:
    """A value of the study's file; with its tolerance in brackets where it is a table of its own.

    >>> _told({"value": "36 degC", "tolerance": {"law": "normal", "half_width": "8 K"}})
    '36 degC (tolerance: law normal, half width 8 K)'
    """
    if not isinstance(value, dict):
        return plain(value)
    rest = [
        f"{plain(words(key))}: {_pairs(part)}" if isinstance(part, dict) else _pairs({key: part})
        for key, part in value.items() if key != "value"
    ]
    own = plain(value["value"]) + " " if "value" in value else ""
    return f"{own}({'; '.join(rest)})" if rest else own.strip()


def _picks(run: Run) -> str:
    """Named cores in columns: what they are, what they do, what they are only just within."""
    front = run.tables["front"]
    named = named_cores(run)
    rows = []
    for name in run.record["variables"]:
        for c in columns_of(front, name):
            rows.append([label(c.title), *(plain(_value(v)) for v in named[c.title])])
    rows += output_rows(named, MAIN_OUTPUTS)
    rows.append(["only just within", *(plain("; ".join(at_limit(run, front, int(i))) or "-") for i in named.index)])
    rows.append(["flags", *(plain("; ".join(_flag_texts(run, v)) or "-") for v in named["flags"].fillna(""))])
    return table(named_heads(named), rows)


def _flag_texts(run: Run, flags: object) -> list[str]:
    """Flags of a core in words."""
    return [str(run.record["flags"].get(flag, flag)) for flag in str(flags).split()]


def _value(value: object) -> str:
    return f"{value:.5g}" if isinstance(value, float) else str(value)


def _misses(run: Run) -> str:
    misses = run.tables["misses"]
    heads = ["core", "fails", *(label(o["column"]) for o in run.record["objectives"])]
    rows = [
        [str(row["core"]), plain(requirement_words(str(row["fails"]))),
         *(number(float(row[o["column"]])) for o in run.record["objectives"])]
        for _, row in misses.iterrows()
    ]
    note = "By how much: of the limit; of 50 K for a temperature; of the pocket for a clearance."
    return f"{table(heads, rows)}\n\n{note}"


def _limits(run: Run) -> str:
    data = limit_data(run)
    if not data.names:
        return "No requirement turned any core away."
    drawn = f"Of {data.counted:,} cores drawn evenly from all.\n\n" if data.drawn else ""
    rows = [
        [plain(name), share_words(share), share_words(alone)]
        for name, share, alone in list(zip(data.names, data.share, data.alone, strict=True))[:_MOST_LIMITS]
    ]
    left = f"\n\nTurned nothing away: {plain('; '.join(data.idle))}." if data.idle else ""
    return drawn + table(["requirement", "cores turned away", "by it alone"], rows) + left


def _trust(run: Run) -> str:
    """Exact or not, flags, bands."""
    record = run.record
    lines = [f"- {_exact(scope_of(record))}", *(f"- {text}" for text in _flags(run))]
    if record["not_computable"]:
        lines.append(f"- {record['not_computable']:,} cores could not be computed and count as infeasible.")
    lines += _band_lines(record["bands"], "bands of the correlations")
    if "fitted" in record:
        lines.append(f"- these hold after a test: {plain(record['fitted']['about'])}")
        lines += _band_lines(record["fitted"]["bands_before"], "before the test they were")
    if record["hypervolume"]:
        lines.append(
            f"- hypervolume of the front: {100 * record['hypervolume']['share']:.1f} % of the box from its best values "
            "to a tenth beyond its worst (for comparing searches of the same study)."
        )
    return "\n".join(lines)


def _band_lines(bands: dict[str, Any], what: str) -> list[str]:
    """The bands of the named cores, a line for those that have the same."""
    texts: dict[str, list[str]] = {}
    for name, own in bands.items():
        texts.setdefault(_bands(own), []).append(name)
    return [f"- {what} ({plain(', '.join(names))}): {text}." for text, names in texts.items()]


def _exact(scope: Scope) -> str:
    """How far the front is the true one."""
    if scope.drawn:
        again = ", some of them more than once" if scope.rated > scope.cores else ""
        return (
            f"The front is exact over {scope.cores:,} cores: {scope.rated:,} ratings in full{again}, all others ruled "
            "out by bounds that no core of a range can beat. Counts of cores that meet or miss a requirement are of "
            f"{scope.counted:,} drawn evenly."
        )
    if scope.exact:
        return f"The front is exact over {scope.rated:,} cores, all of them rated."
    return (
        f"The front is the best of {scope.rated:,} cores rated in an evolutionary search: near the true one, "
        "not proven."
    )


def _flags(run: Run) -> list[str]:
    """How many front cores carry each flag."""
    if "front" not in run.tables:
        return []
    carried = [set(str(text).split()) for text in run.tables["front"]["flags"].fillna("")]
    counts = {text: sum(flag in flags for flags in carried) for flag, text in run.record["flags"].items()}
    found = [f"{n:,} of {len(carried):,} front cores: {text}." for text, n in counts.items() if n]
    return found or ["No front core is outside the range of a correlation or of the property data."]


def _bands(bands: dict[str, list[float]]) -> str:
    return ", ".join(f"{words(name)} {100 * b[0]:+.0f} .. {100 * b[1]:+.0f} %" for name, b in bands.items())


def _made(run: Run) -> str:
    record = run.record
    seconds = float(np.sum(list(record["seconds"].values())))
    rate = record["cores_per_second"]
    done = "decided" if scope_of(record).drawn else "rated"
    pace = "the search was stopped and gone on with" if rate is None else f"{rate:,.0f} cores {done} a second"
    versions = ", ".join(f"{name} {version}" for name, version in record["versions"].items())
    return "\n".join([
        f"- study {plain(record['study'])}, SHA-256 {record['study_sha256'][:16]}..., seed {record['seed']}",
        f"- {record['made']}, {record['method']}, {record['workers']} workers, {seconds:.1f} s, {pace}",
        f"- {versions}",
    ])
