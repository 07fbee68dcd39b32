"""The section of the summary on the robust front: who is on it, how it was found, what falls off and why."""

from typing import TYPE_CHECKING

from optimize.report.columns import column, label, number, requirement_words
from optimize.report.copy_data import interval_text, share_text
from optimize.report.markdown import plain, table
from optimize.report.robust_data import BEATEN, FAILS, STAYS, UNPROVEN, RobustCore, RobustData, robust_data, sizes
from optimize.runs import Run

if TYPE_CHECKING:
    import pandas as pd

_MOST_FALLEN = 12


def robust_section(run: Run) -> str:
    """The named cores of the robust front, and what became of the nominal one."""
    data, record = robust_data(run), run.record["robust"]
    of = "; ".join(plain(requirement_words(str(name))) for name in record["of"])
    said = (
        f"The front of the copies instead of that of the cores as drawn. Objectives: {of}. At least {data.share:.4g} % "
        f"of the copies ({data.kind}) must meet every {_limit(run)}.{_own_limits(run)} {_raced(run)}"
    )
    counts = sizes(data)
    stay = (
        f"Of the {sum(counts.values()):,} cores of the nominal front {counts[STAYS]:,} stay; beaten by other cores' "
        f"copies: {counts[BEATEN]:,}; failing: {counts[FAILS]:,}; not shown to keep what is asked, though more copies "
        f"might show it: {counts[UNPROVEN]:,}. A core keeps a share when the lower end of its interval does."
    )
    if not data.cores:
        return f"{said}\n\n**No core reaches that.**\n\n{_fallen(run)}"
    return "\n\n".join([said, _robust_picks(run, data), stay, *([_fallen(run)] if data.fallen else [])])


def _limit(run: Run) -> str:
    """What the copies are counted by: limits on a percentile or mean of them are judged apart."""
    return "other limit" if run.record["robust"]["limits_of"] else "limit"


def _own_limits(run: Run) -> str:
    named = "; ".join(plain(requirement_words(str(name))) for name in run.record["robust"]["limits_of"])
    return f" Limits on the copies together: {named}." if named else ""


def _raced(run: Run) -> str:
    """How the robust front was found."""
    record = run.record["robust"]
    (first, begun), *later = record["stages"]
    stages = "".join(f", {int(cores):,} went on to {int(draws):,}" for draws, cores in later)
    found = (
        f"{int(record['band']):,} cores near the nominal front were raced for it. The {int(record['pacemakers']):,} of "
        f"that front had {int(record['draws']):,} copies each from the start; {int(begun):,} others began with "
        f"{int(first):,}{stages}."
    )
    used = max(map(float, record["width_used"]))
    found += f" What copies lose differed among them by at most {100 * used:.0f} % of the width of that band"
    if used > 1:
        found += ": it was too narrow, and the robust front may miss cores"
    elif record["misjudged"]:
        found += (
            f"; {int(record['misjudged']):,} cores with margins to spare failed all the same: what they ruled out may "
            "be missing from the robust front"
        )
    elif not record["whole"]:
        found += ". There were more cores that near than could be kept: the robust front may miss some"
    return f"{found}."


def _robust_picks(run: Run, data: RobustData) -> str:
    """Named robust cores in columns."""
    cores = [core for core in data.cores if core.pick]
    own = run.tables["robust"].set_index("core")
    rows = [
        [label(str(title)), *(plain(_value(own[title][core.core])) for core in cores)]
        for name in run.record["variables"] for title in _titles(run.tables["robust"], name)
    ]
    for i, title in enumerate(data.titles):
        rows.append([f"as drawn: {label(title)}", *(number(float(core.nominal[i])) for core in cores)])
        rows.append([f"{data.statistics[i]} of the copies: {label(title)}", *(_interval(core, i) for core in cores)])
    rows.append([f"copies that meet every {_limit(run)}", *(share_text(core.share) for core in cores)])
    rows.append(["on the nominal front too", *(str(own["also_nominal"][core.core]) for core in cores)])
    return table(["", *(f"{plain(core.pick)}, {core.core}" for core in cores)], rows)


def _titles(robust: "pd.DataFrame", name: str) -> list[str]:
    return [title for title in map(str, robust.columns) if column(title).name == name]


def _value(value: object) -> str:
    return f"{value:.5g}" if isinstance(value, float) else str(value)


def _interval(core: RobustCore, i: int) -> str:
    return interval_text(float(core.values[i]), float(core.low[i]), float(core.high[i]))


def _fallen(run: Run) -> str:
    """Nominal favourites that fall off, and why; the named ones first."""
    data = robust_data(run)
    rows = [
        [core.core, plain(core.pick or "-"), core.verdict, plain(core.because), share_text(core.share)]
        for core in data.fallen[:_MOST_FALLEN]
    ]
    more = len(data.fallen) - len(rows)
    rest = f"\n\nAnd {more:,} more." if more > 0 else ""
    head = f"copies that meet every {_limit(run)}"
    return table(["falls off", "name", "verdict", "why", head], rows) + rest
