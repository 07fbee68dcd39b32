"""The table of published checks in README.md, computed: `.venv/bin/python tests/published_table.py`.

Deviation is ours / published - 1 unless it says otherwise. "Recomputed" is independent arithmetic on the source's own
inputs, kept in tests/reference/; it stands where the source prints nothing or prints the impossible.
"""

from dataclasses import astuple, dataclass
from itertools import product
from typing import Any

import comparisons
import gas_to_air
import numpy as np
import worked_examples
from check_row import Row, between, by_quantity, compared, number, percent, whole_table
from cores import one
from header_network import PASSAGES
from published import BTU_PER_HOUR_DEGREE_F, POUND_PER_SQUARE_FOOT, columns, example, table

from physics.core import HEADERS
from physics.rating import Rating

HEADINGS = Row("check", "quantity", "published", "ours", "deviation")

# --- worked examples ----------------------------------------------------------------------------


def gas_to_air_rows() -> list[Row]:
    """The whole core through `rate`, on the measured surface and on the correlation."""
    case = gas_to_air.CASE
    printed, recomputed, expected = (case[k] for k in ("printed", "recomputed", "recomputed_correlation"))
    first = f"{case['source']} (core size and example number from memory), through `rate`"
    measured, swapped, fitted = gas_to_air.as_published(), gas_to_air.exchanged(), gas_to_air.by_correlation()
    same, by_fit = "same, measured surface", "same, offset-strip correlation as the surface"
    eps, air, gas = "effectiveness", "air pressure drop", "gas pressure drop"

    def drop(check: str, what: str, value: float, basis: str, rating: Rating, output: str) -> Row:
        return compared(check, what, value / 1e3, basis, one(rating, output) / 1e3, "kPa")

    heat = -one(measured, "heat_rejected") / 1e3
    return [
        compared(first, eps, printed["effectiveness"], "printed", one(measured, "effectiveness")),
        compared(same, "heat", recomputed["heat"] / 1e3, "recomputed", heat, "kW"),
        drop(same, air, printed["dp_air"], "printed", measured, "air_pressure_drop"),
        drop(same, f"{gas}, as the coolant", printed["dp_gas"], "printed", measured, "coolant_pressure_drop"),
        drop(same, f"{gas}, sides exchanged", printed["dp_gas"], "printed", swapped, "air_pressure_drop"),
        compared(by_fit, eps, expected["effectiveness"], "recomputed", one(fitted, "effectiveness")),
        drop(by_fit, air, expected["dp_air"], "recomputed", fitted, "air_pressure_drop"),
        drop(by_fit, f"{gas}, as the coolant", expected["dp_gas"], "recomputed", fitted, "coolant_pressure_drop"),
    ]


def gas_over_water_rows() -> list[Row]:
    """The graded core design: four terms of its loss, their sum, its conductance."""
    case = example("gas_over_water")
    loss, unit = worked_examples.gas_over_water_loss()
    terms = case["recomputed_terms"]
    theirs = {name: value * unit for name, value in terms.items()}
    ours = {name: float(getattr(loss, name)[0]) for name in terms}
    UA = case["printed"]["UA_Btu_hF"] * BTU_PER_HOUR_DEGREE_F / 1e3
    our_UA = worked_examples.gas_over_water()["UA"] / 1e3
    dp = case["printed"]["dp_lbf_ft2"] * POUND_PER_SQUARE_FOOT
    return [
        Row(
            case["source"],
            f"gas pressure drop at its f: {', '.join(terms)}",
            f"{', '.join(map(number, theirs.values()))} Pa (recomputed)",
            f"{', '.join(map(number, ours.values()))} Pa",
            between(ours[name] / theirs[name] - 1 for name in terms),
        ),
        compared("same", "gas pressure drop at its f", dp, "printed", float(loss.total[0]), "Pa"),
        compared("same", "conductance UA at its j", UA, "printed", our_UA, "kW/K"),
    ]


@dataclass(frozen=True)
class Answer:
    """One answer of a worked example, named like its solver: where the published one stands, how it is shown."""

    case: str
    group: str
    name: str
    quantity: str
    basis: str
    unit: str = ""
    scale: float = 1.0


IMPOSSIBLE = "recomputed; the printed {printed} lies below parallel flow, impossible"
ANSWERS = (
    Answer("flat_passages", "recomputed", "effectiveness", "effectiveness", IMPOSSIBLE),
    Answer("gas_to_water_design", "printed", "area", "area", "printed, chart", "m²"),
    Answer("gas_to_water_rating", "printed", "heat", "heat", "printed, chart", "kW", 1e3),
    Answer("air_heater", "printed", "C_water", "unknown water capacity rate", "printed, by trial", "W/K"),
    Answer("cold_water_air_cooler", "printed", "effectiveness", "effectiveness", "printed"),
    Answer("vehicle_core", "printed", "U_inner", "U from measured temperatures", "printed", "W/(m² K)"),
    Answer("steam_to_oil", "ht_design", "UA", "UA at the design point", "`ht` library", "W/K"),
    Answer("steam_to_oil", "off_design_printed", "effectiveness", "effectiveness off design", "printed, rounded"),
    Answer("compact_surface", "recomputed", "h", "film coefficient", "recomputed", "W/(m² K)"),
)


def worked_example_rows() -> list[Row]:
    """One row an answer; a source named once."""
    rows, before = [], ""
    for a in ANSWERS:
        case, solve = example(a.case), getattr(worked_examples, a.case)
        basis = a.basis.format(printed=case.get("printed", {}).get(a.name))
        published, ours = case[a.group][a.name] / a.scale, solve()[a.name] / a.scale
        check = "same" if a.case == before else case["source"]
        rows.append(compared(check, a.quantity, published, basis, ours, a.unit))
        before = a.case
    return rows


# --- whole tables -------------------------------------------------------------------------------


def exchanger_rows() -> list[Row]:
    """Effectiveness of one pass and of several."""
    one_pass = comparisons.crossflow_differences()
    largest = max(float(np.abs(d).max()) for d in one_pass.values())
    passes = comparisons.multipass_excess()
    return [
        whole_table(
            "Exact crossflow table: series of Baclic 1978 and Mason 1955, closed forms in Kays & London",
            f"effectiveness of one pass: {', '.join(one_pass)}",
            f"{sum(d.size for d in one_pass.values())} values, six digits",
            f"at most {largest:.0e} apart",
        ),
        whole_table(
            "Finite differences, air unmixed from pass to pass",
            "effectiveness of 2 to 4 passes, by the formula for mixed air",
            f"{passes.size} values",
            between(passes),
        ),
    ]


def duct_rows() -> list[Row]:
    """Charts and exact solutions of ducts."""
    charts = {
        (coefficient, flow): comparisons.chart_differences(coefficient, flow)
        for coefficient in comparisons.COEFFICIENTS
        for flow in comparisons.CHART_FLOWS
    }
    worst = {
        kind: max(float(np.abs(d).max()) for (_, flow), d in charts.items() if ("laminar" in flow) == laminar)
        for kind, laminar in (("turbulent", False), ("laminar", True))
    }
    laminar = comparisons.laminar_errors()
    aspect, entry = comparisons.entry_nusselt_errors()
    return [
        whole_table(
            "Kays & London, chapter 5 charts, digitised second-hand",
            "entry and exit coefficients Kc, Ke",
            f"{sum(d.size for d in charts.values())} readings",
            "; ".join(f"{kind}: at most {value:.2g} apart" for kind, value in worst.items()),
        ),
        whole_table(
            "Finite elements, rectangular ducts (our polynomials: Shah & London 1978)",
            "developed laminar f Re, Nu_T, Nu_H1",
            f"{sum(e.size for e in laminar.values())} values",
            by_quantity(laminar),
        ),
        whole_table(
            "Eigenfunction solution, thermal entry of rectangular ducts",
            "mean Nusselt number",
            f"{entry.size} values",
            by_quantity({"up to 1:4": entry[aspect <= 0.25].ravel(), "1:2 and square": entry[aspect > 0.25].ravel()}),
        ),
    ]


# --- measured surfaces --------------------------------------------------------------------------


DRAWN_ROUND = {"11.5-3/8W"}  # the wavy band was drawn round this surface's one point


def place_in_band(row: Any, factor: str) -> str:
    """Where a measured point lies beside the family's published band, to a whole per cent."""
    family, _ = comparisons.kays_london_fin(row)
    low, high = family.band_j if factor == "j" else family.band_f
    error = round(comparisons.measured_over_computed(row, factor), 2)
    return "inside" if low < error < high else "at the edge of" if error in (low, high) else "outside"


def warning(points: list[Any], factor: str) -> str:
    """The points that do not lie well inside the band, in words."""
    places = {str(point.Re): place_in_band(point, factor) for point in points}
    texts = [f"**{place} our band** at Re {Re}" for Re, place in places.items() if place != "inside"]
    drawn = ["it was drawn round this point"] if points[0].surface in DRAWN_ROUND else []
    return f" ({', '.join(texts + drawn)})" if texts else ""


def surface_row(name: str, points: list[Any]) -> Row:
    """j and f of one measured surface at its points, the band checked as the families count it."""
    published, ours, deviation = [], [], []
    for factor in ("j", "f"):
        theirs = [float(getattr(point, factor)) for point in points]
        ratio = [1 / (1 + comparisons.measured_over_computed(point, factor)) for point in points]
        published.append(f"{factor} {', '.join(map(number, theirs))}")
        ours.append(f"{factor} {', '.join(number(value * r) for value, r in zip(theirs, ratio, strict=True))}")
        deviation.append(f"{factor} {between(r - 1 for r in ratio)}{warning(points, factor)}")
    family, _ = comparisons.kays_london_fin(points[0])
    return Row(
        f"Kays & London 3rd ed., surface {name}, second-hand: {points[0].status}",
        f"j, f at Re {', '.join(str(point.Re) for point in points)}, {family.name} correlation",
        "; ".join(published),
        "; ".join(ours),
        "; ".join(deviation),
    )


def surface_rows() -> list[Row]:
    return [
        surface_row(str(name), list(points.itertuples()))
        for name, points in table("kays_london_jf.csv").groupby("surface", sort=False)
    ]


# --- fluids, headers, temperatures --------------------------------------------------------------


def fluid_rows() -> list[Row]:
    """Glycol and air against printed tables."""
    (share,) = columns("eg_water_properties.csv", "fraction")
    each = [comparisons.glycol_table_errors(float(fraction)) for fraction in np.unique(share)]
    glycol = {name: np.concatenate([errors[name] for errors in each]) for name in each[0]}
    air = comparisons.air_table_errors()
    strengths = " and ".join(f"{100 * fraction:g} %" for fraction in np.unique(share))
    return [
        whole_table(
            f"Glycol table of a public building-energy program (ASHRAE type), {strengths} by volume",
            "properties of ethylene glycol and water, 0 to 80 °C",
            f"{sum(e.size for e in glycol.values())} values",
            by_quantity(glycol),
        ),
        whole_table(
            "Incropera & DeWitt, Fundamentals of Heat and Mass Transfer, Table A.4",
            "properties of air, 250 to 500 K",
            f"{sum(e.size for e in air.values())} values",
            by_quantity(air),
        ),
    ]


def network_rows() -> list[Row]:
    """Flow spread and mean temperatures against solved networks."""
    networks = product(HEADERS, comparisons.SPREAD_EXPONENTS, comparisons.SPREAD_RATIOS)
    spread = [comparisons.spread_error(*network) for network in networks]
    cases = product(comparisons.FIELD_NTU, comparisons.FIELD_C_RATIO, (True, False))
    field = np.array([comparisons.field_differences(*case) for case in cases])
    largest = percent(float(np.abs(field[:, 1:]).max())).lstrip("+")
    return [
        whole_table(
            f"Network of {PASSAGES} passages between two headers, solved",
            "spread of the flow over the passages",
            f"{len(spread)} networks",
            between(spread),
        ),
        whole_table(
            "Two-dimensional temperature field of one pass, finite differences",
            "mean air and coolant temperatures of the core",
            f"{len(field)} fields",
            f"at most {largest} of the inlet difference",
        ),
    ]


def rows() -> list[Row]:
    """Every row of the table, computed now."""
    return [
        *gas_to_air_rows(),
        *gas_over_water_rows(),
        *worked_example_rows(),
        *exchanger_rows(),
        *duct_rows(),
        *surface_rows(),
        *fluid_rows(),
        *network_rows(),
    ]


def markdown() -> str:
    """The table as README.md shows it."""
    head, rule = astuple(HEADINGS), ["---"] * len(astuple(HEADINGS))
    return "\n".join(f"| {' | '.join(cells)} |" for cells in (head, rule, *map(astuple, rows())))


if __name__ == "__main__":
    print(markdown())
