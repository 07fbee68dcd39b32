"""What came of the copies of one core, in words and numbers."""

from typing import TYPE_CHECKING, Any

import numpy as np

from optimize.evaluate import CoreProblem
from optimize.tolerance.yields import EVERY_LIMIT, confidence_of

if TYPE_CHECKING:
    import pandas as pd

_SHOWN = 5


def scatter_lines(problem: CoreProblem, made: dict[str, "pd.DataFrame"], record: dict[str, Any]) -> list[str]:
    """Shares with their intervals, the yield under the model, what to tighten, what may be relaxed."""
    return [
        *_shares(problem, made["yield"]), *_nested(made["nested"]), *_lost(record), *_cut(made["truncated"]),
        *(_budget(made["budget"], record["budget"]) if "budget" in made else ["no tolerance acts on this core"]),
        *([f"no Sobol' indices: {record['no_indices']}"] if "no_indices" in record else []),
    ]


def _shares(problem: CoreProblem, table: "pd.DataFrame") -> list[str]:
    lines = [f"copies that meet every limit, with exact {100 * confidence_of(problem):g} % intervals:"]
    for row in table[table["requirement"] == EVERY_LIMIT].to_dict("records"):
        lines.append(f"  {row['scatter']}: {_interval(row)} of {row['draws']}")
    alone = table[(table["requirement"] != EVERY_LIMIT) & (table["passed"] < table["draws"]) & (table["duty"] == "")]
    for row in alone.sort_values("share [%]", kind="stable").head(_SHOWN).to_dict("records"):
        lines.append(f"  {row['scatter']}, {row['requirement']} alone: {_interval(row)}")
    return lines


def _interval(row: dict[Any, Any]) -> str:
    return f"{row['share [%]']:.2f} % ({row['low [%]']:.2f} .. {row['high [%]']:.2f})"


def _nested(table: "pd.DataFrame") -> list[str]:
    low, middle, high = np.percentile(table["share [%]"], (5, 50, 95), method="inverted_cdf")
    between = f"is {low:.4g} %" if low == high else f"lies between {low:.4g} and {high:.4g} %, median {middle:.4g} %"
    return [
        f"if the correlations are off as their bands allow, the yield ({table['scatter'].iloc[0]}) {between}: one "
        "unknown truth, not scatter",
    ]


def _lost(record: dict[str, Any]) -> list[str]:
    return [f"{count} copies lost: {why}" for why, count in record["scatter"]["lost"].items()]


def _cut(table: "pd.DataFrame") -> list[str]:
    return [
        f"{row['cut away [%]']:.3g} % of the law of {row['tolerance']} cut away: no such value can be"
        for row in table.to_dict("records")
    ]


def _budget(table: "pd.DataFrame", known: dict[str, Any]) -> list[str]:
    def share(key: str) -> str:
        value, low, high = (100 * v for v in known[key])
        return f"{value:.2f} % ({low:.2f} .. {high:.2f})"

    tight = table[table["tightened_factor"] < 1].sort_values("tightened_factor", kind="stable")
    loose = table[table["relaxed_together_factor"] > 1]
    goal = f"{100 * known['wanted']:g} %"
    lines = [f"tolerances as they are: {share('before')}"]
    if known["reachable"] and tight.empty:
        lines.append(f"nothing need be tightened for {goal}")
    elif known["reachable"]:
        lines.append(f"cheapest tightening found for {goal}: {_listed(tight, 'tightened')}; then {share('after')}")
    else:
        lines.append(f"{goal} is out of reach of tightening; best found: {share('after')}")
    if len(loose):
        factors = ", ".join(_looser(r, known["loosest_tried"]) for r in loose.to_dict("records"))
        lines.append(f"may be looser, {_still(known)}, all at once: {factors}; then {share('together')}")
    return lines


def _still(known: dict[str, Any]) -> str:
    return f"still surely {100 * known['wanted']:g} % good" if known["before"][1] >= known["wanted"] else "for free"


def _looser(row: dict[Any, Any], tried: float) -> str:
    factor = row["relaxed_together_factor"]
    return f"{row['tolerance']} {'at least ' if factor >= tried else ''}x{factor:g}"


def _listed(rows: "pd.DataFrame", column: str) -> str:
    return ", ".join(f"{r['tolerance']} {r['half_width']} -> {r[column]}" for r in rows.to_dict("records"))
