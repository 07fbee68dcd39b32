"""Sections of the summary on circuit, blower, heat soak and moisture, each where the run has data."""

import numpy as np

from optimize.report.columns import column, columns_of, label, number, one_column, quantity, typeset, words
from optimize.report.loop_data import CORE_PARTS, LOOP_PARTS, OPENING, head_data, loop_duties
from optimize.report.markdown import named_cores, named_heads, output_rows, plain, table
from optimize.report.net_gain_data import has_net_gain, net_gain_data
from optimize.report.soak_data import gain_data, soak_data
from optimize.report.water_data import FlowCurve, flow_curve
from optimize.runs import Run

CIRCUIT = ("coolant_volume_flow", "pump_pressure_rise", "coolant_inlet_temperature", "pumping_power",
           "front_effectiveness")
BLOWER = ("charge_flow", "charge_density", "pressure_ratio", "shaft_power", "core_shaft_power")
GAIN = ("charge_flow_change", "engine_power_change", "shaft_power_change", "net_gain")
SOAK = ("soak_time_under_limit", "soak_time_to_limit", "soak_hottest_charge", "soak_last_coolant_temperature",
        "soak_ice_left")
MARGINS = ("freezing_margin", "boiling_margin")
MOISTURE = ("dew_point", "coldest_metal_temperature", "condensate_rate", "condensation_heat")
_ESTIMATE = (
    "The engine power in it is an estimate, not a measurement and not an engine model: it says which core is worth "
    "more, not what a dynamometer will show."
)


def system_sections(run: Run) -> list[str]:
    """Headings and texts in turn, of those sections the run has data for."""
    if "front" not in run.tables:
        return []
    parts = {
        "Coolant circuit": _circuit(run), "Blower and net gain": _blower(run), "Heat soak": _soak(run),
        "Moisture, freezing, boiling": _margins(run),
    }
    return [text for title, said in parts.items() if said for text in (f"## {title}", said)]


def _has(run: Run, *names: str) -> bool:
    return any(columns_of(run.tables["front"], name) for name in names)


def _circuit(run: Run) -> str:
    """Operating point and head of the named cores, whether more water pays, lines and ports."""
    if not _has(run, "pump_pressure_rise"):
        return ""
    named = named_cores(run)
    parts = [
        "Where the pump and the circuit meet with each named core, and where the head goes.",
        table(named_heads(named), [*output_rows(named, (*CIRCUIT, *CORE_PARTS, *LOOP_PARTS)), *_opening_rows(run)]),
    ]
    if "flow" in run.tables:
        parts.append(_paying(run))
    if "water" in run.tables:
        parts.append(_choices(run))
    return "\n\n".join(part for part in parts if part)


def _opening_rows(run: Run) -> list[list[str]]:
    """What the parts leave of the head; the named cores stand in the order of the table, not of the figure."""
    order = [str(core) for core in named_cores(run)["core"]]
    rows = []
    for panel in head_data(run):
        if OPENING in panel.parts:
            at = {core: float(v) for (_, core), v in zip(panel.picks, panel.parts[OPENING], strict=True)}
            title = f"{OPENING} of the circuit, {words(panel.duty)} [{typeset(panel.unit)}]"
            rows.append([title, *(number(at[core]) for core in order)])
    return rows


def _paying(run: Run) -> str:
    """Whether more water pays at the knee, a line for each duty point."""
    pays = float(run.record["water"]["pays"])
    knee = str(run.record["picks"]["knee"])
    said = (
        f"More water is said to pay as long as 1 % more of it cools {pays:.2g} % more or better. "
        f"At the knee, {knee}:"
    )
    lines = [_paying_words(flow_curve(run, knee, duty, pays)) for duty in loop_duties(run)]
    return "\n".join([said, "", *(f"- {line}" for line in lines)])


def _paying_words(curve: FlowCurve) -> str:
    unit = column(curve.titles[0]).unit
    own = f"{words(curve.duty)}: {quantity(float(curve.point[0]), unit)}, where 1 % more water cools "
    own += f"{curve.gain:.2g} % more"
    if curve.stops is None:
        return f"{own}; more water pays up to {quantity(float(curve.flow[-1]), unit)}, as far as was looked"
    if curve.stops[0] <= curve.flow[0]:
        return f"{own}; more water pays nowhere from {quantity(float(curve.flow[0]), unit)} on"
    beyond = " (the circuit already gives more)" if curve.is_past else ""
    return f"{own}; more water stops paying at {quantity(float(curve.stops[0]), unit)}{beyond}"


def _choices(run: Run) -> str:
    """The knee with every line and port: flow and cooling at each duty point."""
    choices = run.tables["water"]
    parts = [part for part in ("line", "port") if part in choices]
    if len(choices) < 2 or not parts:
        return ""
    names = ("coolant_volume_flow", "heat_rejected")
    found = [one_column(choices, name, duty) for duty in loop_duties(run) for name in names]
    found += columns_of(choices, "port_open_share")
    rows = [
        [plain(f"{row[parts[0]]} (the knee's)" if row["chosen"] == "yes" else row[parts[0]]),
         *(plain(row[part]) for part in parts[1:]), *(number(float(row[c.title])) for c in found)]
        for _, row in choices.iterrows()
    ]
    return "The knee with every line and port:\n\n" + table([*parts, *(label(c.title) for c in found)], rows)


def _blower(run: Run) -> str:
    """Shaft power and what the core has to do with it; the gain and what it is estimated from."""
    if not _has(run, "shaft_power", "net_gain"):
        return ""
    named = named_cores(run)
    parts = [table(named_heads(named), output_rows(named, (*BLOWER, *GAIN)))]
    if has_net_gain(run):
        parts.append(_gain(run))
    return "\n\n".join(parts)


def _gain(run: Run) -> str:
    data, told = net_gain_data(run), run.record["net_gain"]
    best = f"{data.picks[data.best] or 'best net gain'}, {data.cores[data.best]}"
    reference = ", ".join(f"{plain(words(key))} {plain(text)}" for key, text in told["reference"].items())
    return (
        f"Most is gained by {plain(best)}: {data.gain[data.best]:+.3g} {typeset(data.unit)} "
        f"({plain(data.at)}), engine power {data.engine[data.best]:+.3g} {typeset(data.unit)} minus shaft power "
        f"{-data.shaft[data.best]:+.3g} {typeset(data.unit)}.\n\n"
        f"- reference core: {reference}\n"
        f"- engine power counted for more charge: {plain(told['power_per_air'])}\n"
        f"- share of the engine power counted off per kelvin of hotter charge: {plain(told['power_per_kelvin'])}\n\n"
        f"**This net gain is an estimate.** {_ESTIMATE}"
    )


def _soak(run: Run) -> str:
    """What the schedule does to the named cores, and what more reservoir or ice buys."""
    if not ({"soak", "soak_gains"} & set(run.tables) or _has(run, *SOAK)):
        return ""
    asked = run.record["soak"]
    parts = [f"Limit of the charge: {asked['limit']:.4g} {typeset(str(asked['unit']))}."]
    named = named_cores(run)
    if rows := output_rows(named, SOAK):
        parts.append(table(named_heads(named), rows))
    elif "soak" in run.tables:
        data = soak_data(run)
        heads = ["core", f"hottest charge [{typeset(data.unit)}]"]
        parts.append(table(heads, [[plain(trace.name), number(trace.hottest)] for trace in data.traces]))
    if "soak_gains" in run.tables:
        parts += _soak_gains(run)
    return "\n\n".join(parts)


def _soak_gains(run: Run) -> list[str]:
    """A table for each thing there could be more of: seconds under the limit by amount and core."""
    texts = []
    for panel in gain_data(run):
        amounts = list(dict.fromkeys(float(a) for line in panel.lines for a in line.amount))
        known = [dict(zip(line.amount.tolist(), line.under_limit.tolist(), strict=True)) for line in panel.lines]
        rows = [
            [f"{amount:.4g}", *(number(at[amount]) if amount in at else "-" for at in known)]
            for amount in sorted(amounts)
        ]
        time = label(panel.time_title)
        texts.append(f"{time[:1].upper()}{time[1:]}:\n\n" + table(
            [label(panel.title), *(plain(line.name) for line in panel.lines)], rows
        ))
    return texts


def _margins(run: Run) -> str:
    """Dew point, condensate, how far from freezing and boiling; what is out of bounds in words."""
    if not _has(run, *MARGINS, *MOISTURE):
        return ""
    named = named_cores(run)
    parts = [table(named_heads(named), output_rows(named, (*MOISTURE, *MARGINS)))]
    told = [
        _below_zero(run, "freezing_margin", "the coolant would freeze"),
        _below_zero(run, "boiling_margin", "the coolant may boil at the hottest wall"), _condenses(run), _frosts(run),
    ]
    lines = "\n".join(f"- {text}" for text in told if text)
    return "\n\n".join([*parts, *([lines] if lines else [])])


def _below_zero(run: Run, name: str, said: str) -> str:
    """In how many front cores a margin is used up at some duty point."""
    front = run.tables["front"]
    found = columns_of(front, name)
    if not found:
        return ""
    used = int(np.sum(np.any(front[[c.title for c in found]].to_numpy(dtype=np.float64) < 0, axis=1)))
    return f"in {used:,} of {len(front):,} front cores {said}." if used else ""


def _condenses(run: Run) -> str:
    front = run.tables["front"]
    found = columns_of(front, "condensate_rate")
    if not found:
        return ""
    values = front[[c.title for c in found]].to_numpy(dtype=np.float64)
    wet = int(np.sum(np.any(values > 0, axis=1)))
    if not wet:
        return "nothing condenses in any front core at these duty points."
    most = quantity(float(np.nanmax(values)), found[0].unit)
    return (
        f"in {wet:,} of {len(front):,} front cores the coldest metal is below the dew point: at most {most} of water "
        "condenses. That is an upper bound, and its heat is not in the heat rejected."
    )


def _frosts(run: Run) -> str:
    """Where the charge is damp: in how many front cores its water would freeze on the metal."""
    front = run.tables["front"]
    found = columns_of(front, "coldest_metal_temperature")
    cold = [(front[c.title] < (32.0 if c.unit == "degF" else 0.0)).to_numpy(dtype=bool) for c in found]
    frosty = int(np.sum(np.any(cold, axis=0))) if cold else 0
    said = f"in {frosty:,} of {len(front):,} front cores the coldest metal is below freezing: ice may form on it."
    return said if frosty else ""
