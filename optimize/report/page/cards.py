"""What stands at the top of the page: the counts of the run, and a card for each core with a name."""

from dataclasses import dataclass

from optimize.report.columns import quantity
from optimize.report.copy_data import BOTH, SHOP, share_of, share_text
from optimize.report.page.front_source import FrontSource
from optimize.report.robust_data import STAYS, robust_data, sizes
from optimize.report.tolerance_figures import has_rows
from optimize.runs import Run
from optimize.scope import scope_of


@dataclass(frozen=True)
class Fact:
    """A count and what it counts."""

    value: str
    text: str


@dataclass(frozen=True)
class Card:
    """A named core: its mark, objectives as (words, value), what it is made of, and the share of its good copies."""

    core: str
    name: str
    mark: str
    values: tuple[tuple[str, str], ...]
    made_of: str
    share: str


def facts(run: Run) -> list[Fact]:
    """How many cores were rated, meet everything, are worth having, and stay when copies are counted."""
    record, scope = run.record, scope_of(run.record)
    rated = "cores rated, all of the space" if scope.exact else "cores rated"
    found = [
        Fact(f"{scope.cores:,}", "cores, rated or ruled out" if scope.drawn else rated),
        Fact(f"{scope.rated:,}", "rated in full") if scope.drawn else Fact(f"{scope.feasible:,}", "meet everything"),
        Fact(f"{record['front']:,}", "on the front"),
    ]
    if "robust" in record and "robust" in run.tables and has_rows(run, "fallen"):
        found.append(Fact(f"{sizes(robust_data(run))[STAYS]:,}", "of those stay when copies are counted"))
    return found


def cards(run: Run, source: FrontSource) -> list[Card]:
    """The named cores in the order of the front."""
    data = source.data
    return [_card(run, source, i) for i, pick in enumerate(data["pick"]) if pick] if source.is_front else []


def _card(run: Run, source: FrontSource, i: int) -> Card:
    data = source.data
    parts = []
    for name in map(str, run.record["variables"]):
        key = next((k for k, title in source.names.items() if title == name), None)
        number = source.find(name)
        if key is not None:
            parts.append(f"{name.replace('_', ' ')} {data[key][i]}")
        elif number is not None:
            parts.append(f"{number.label} {data[number.key][i]:.4g} {number.unit}".rstrip())
    return Card(
        data["core"][i], data["pick"][i], data["mark"][i],
        tuple((f.label, quantity(data[f.key][i], f.unit)) for f in source.objectives), ", ".join(parts),
        _share(run, data["core"][i]),
    )


def _share(run: Run, core: str) -> str:
    """Share of the copies of a core that meets every limit, of the shop's and, if there are any, of run to run too."""
    if not has_rows(run, "yield") or (share := share_of(run, core, SHOP)) is None:
        return ""
    said, both = f"{share_text(share)} of its copies meet every limit", share_of(run, core, BOTH)
    return said if both is None else f"{said}; {share_text(both)} with scatter from run to run"
