"""What the page tells beyond the summary: what the numbers assume, and the tolerance budget line by line."""

from optimize.report.budget_data import budget_data
from optimize.report.columns import columns_of
from optimize.report.markdown import plain, table
from optimize.report.tolerance_figures import has_rows
from optimize.runs import Run

_ALWAYS = (
    "Air and coolant arrive evenly; nothing passes beside the core; no heat runs along the plates.",
    "Heat rejected is what leaves the air at its mean specific heat. Air loss counts everything from the duct before "
    "the core to the duct behind it, coolant loss everything from line to line.",
    "j and f of the fins come from published correlations or the study's own measurements, each with its band; the "
    "sheet of a core names them.",
)
_WHERE = (
    ("pump_pressure_rise", "The circuit is one closed line in series; outside the core the coolant has its mean "
                           "temperature in the core, and the pump's own heat is left out."),
    ("front_effectiveness", "The air of the front exchanger is at ambient temperature."),
    ("pressure_ratio", "Efficiencies of the blower are those of the study's tables, held at their ends; no bypass "
                       "is open."),
    ("net_gain", "Engine power is proportional to the charge flow, less a share for each kelvin of hotter charge."),
    ("condensate_rate", "All of the charge meets the coldest metal: condensate is an upper bound, and its heat is "
                        "not in the heat rejected."),
    ("boiling_margin", "Boiling is judged at the hottest wall, in the passage fed least, at the cap's pressure."),
    ("soak_hottest_charge", "In the schedule core and metal are one lump, lines are stirred cells, ice is always in "
                            "equilibrium with its water."),
)


def assumptions(run: Run) -> str:
    """What the model takes for granted, as far as this run has it, in Markdown."""
    front = run.tables.get("front")
    own = [text for name, text in _WHERE if front is not None and columns_of(front, name)]
    return "\n".join(f"- {text}" for text in (*_ALWAYS, *own))


def budget_table(run: Run) -> str:
    """Each tolerance today, what it must become, and what it may be, in Markdown; empty without a budget."""
    if not has_rows(run, "budget") or "budget" not in run.record:
        return ""
    heads = ["tolerance", "today", "must become", "may be, alone", "may be, with the others"]
    rows = [
        [plain(row.name), plain(row.today), plain(row.tightened_text) if row.tighter else "as today",
         plain(row.alone_text) if row.alone > 1 else "as today",
         plain(row.together_text) if row.together > 1 else "as today"]
        for row in budget_data(run).rows
    ]
    return table(heads, rows)
