"""Headlines of the figures of copies: yield, robust front, nested yield, tornado, budget."""

from optimize.report.budget_data import BudgetData
from optimize.report.cloud_data import CloudData, RequirementData
from optimize.report.copy_data import EVERY_LIMIT, SHOP, percent, share_of, share_text
from optimize.report.headlines import fit
from optimize.report.nested_data import NestedData
from optimize.report.robust_data import RobustData
from optimize.report.tornado_data import TornadoData
from optimize.runs import CORE_NAME, Run


def shares(run: Run) -> str:
    """How many of the knee's copies meet everything."""
    share = share_of(run, str(run.record["picks"]["knee"]), SHOP)
    if share is None:
        return fit(run, "how many copies meet every limit")
    return fit(run, f"{share_text(share)} of the knee's copies meet every limit")


def robust(run: Run, data: RobustData) -> str:
    """How many of the nominal front stay."""
    of = len(data.staying) + len(data.fallen)
    if not data.cores:
        return fit(run, f"no core keeps its limits in {data.share:.4g} % of its copies")
    stay = f"all {of}" if not data.fallen else f"{len(data.staying)} of {of}"
    return fit(run, f"{stay} front cores stay once copies are counted")


def nested(run: Run, data: NestedData) -> str:
    """The yield nobody knows best."""
    core = max(data.cores, key=lambda core: core.spread.high - core.spread.low)
    low, high = percent(core.spread.low, 0), percent(core.spread.high, 0)
    if low == high:
        return fit(run, "no yield moves much within the bands of the correlations")
    return fit(run, f"{core_words(run, core.core)} may turn out to yield {low} to {high} %")


def tornado(run: Run, data: TornadoData) -> str:
    """What moves the first output most."""
    panel = next((panel for panel in data.panels if panel.rows), None)
    if panel is None:
        return fit(run, f"no tolerance of {core_words(run, data.core)} moves anything")
    output = panel.output.partition(",")[0]
    return fit(run, f"{panel.rows[0].name} moves the {output} of {core_words(run, data.core)} most")


def budget(run: Run, data: BudgetData) -> str:
    """What the wanted share takes."""
    tight, loose = sum(row.tighter for row in data.rows), sum(row.together > 1 for row in data.rows)
    free = f"{loose} may be looser" if loose else "none may be looser"
    if not data.reachable:
        return fit(run, f"no tightening tried reaches {data.wanted:.4g} % good copies")
    if not tight:
        return fit(run, f"today's tolerances reach {data.wanted:.4g} % good copies; {free}")
    must = f"{tight} tolerance{'s' if tight > 1 else ''} must be tighter"
    return fit(run, f"for {data.wanted:.4g} % good copies {must}; {free}")


def copies(run: Run, data: CloudData) -> str:
    """The share of the first kind of scatter."""
    share = next((cloud.share for cloud in data.clouds if cloud.share is not None), None)
    if share is None:
        return fit(run, f"copies of {core_words(run, data.core)}")
    return fit(run, f"{share_text(share)} of the copies of {core_words(run, data.core)} meet every limit")


def requirements(run: Run, data: RequirementData) -> str:
    """The requirement most copies miss."""
    worst = next((row for row in data.rows if row.requirement != EVERY_LIMIT), None)
    if worst is None:
        return fit(run, "every copy meets every requirement")
    return fit(run, f"most missed by copies: {worst.requirement}")


def core_words(run: Run, core: str) -> str:
    """A core by its name, where it has one; a core scattered alone may be told by its name only.

    >>> from pathlib import Path
    >>> run = Run(Path(), {"picks": {"knee": "C7"}}, {})
    >>> core_words(run, "C7"), core_words(run, "C8"), core_words(run, "core")
    ('knee, C7,', 'C8', 'the core')
    """
    picks: dict[str, str] = run.record.get("picks", {})
    name = next((name for name, own in picks.items() if own == core), "")
    if name:
        return f"{name}, {core},"
    return core if CORE_NAME.fullmatch(core) else f"the {core}"
