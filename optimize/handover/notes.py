"""The words of workbook and page: how figures are meant, what is assumed, what to be careful of, how it was made."""

from pathlib import Path
from typing import TYPE_CHECKING

from optimize import runs, units
from optimize.handover.bench import PRESSURE, Stream
from optimize.handover.plain_text import clean, words
from optimize.handover.subject import Subject

if TYPE_CHECKING:
    Rows = list[tuple[str, str]]

CAUTION_HEADING = "Cautions"
CAUTIONS = (
    "Calculated from published correlations and the study's own figures; nothing here was measured. Check before "
    "making.",
    "The coolant is hot and under pressure. A core that leaks puts coolant into the engine, and charge air that is too "
    "hot can destroy it. Pressure-test and leak-test every core before it is fitted.",
    "Nothing here replaces a flow-bench test and a hot test of the real core, the engine maker's limits, local codes, "
    "road and emission rules, or the judgement of someone licensed to sign for it.",
)
SPECIFICATION = (
    "Lower and upper are the nominal less and plus the tolerance stated. A normal law reaches beyond them: its half "
    "width is the stated number of standard deviations (Cp is a third of that). Uniform and triangular laws end at "
    "them.",
    "'follows' marks what is made of other lines, whose bounds are no tolerance of their own. Lengths and clearances: "
    "the arithmetic sum, all dimensions at their worst ends. Areas, masses, volumes: where 95 % of copies made within "
    "the tolerances lie.",
    "'none stated': the study gives no tolerance; supplier and buyer agree on one before an order.",
    "Ports lie as low in their chambers as wall and seal land allow, the place the flange clearance is taken for.",
)
_BENCH = (
    "Core alone, from the face of one duct of the size of the air face to the face of another like it: no lid, no "
    "plenum. The coolant from line to line, with the fittings whose line bore the port states; no pump, no hoses. Air "
    "and coolant at 20 °C, so that no heat flows; a new core, without deposits.",
    "Flows are shares of the largest of the duty points: the air's at equal mass flow, so that the Reynolds number is "
    "near that of the duty; the coolant's at equal volume flow.",
    "'shop tolerances alone': 95 % of {draws:,} copies within the tolerances of the sheet Tolerances, the correlations "
    "taken as true. 'correlations alone': the nominal core, 95 % of the published bands of its correlations. 'both "
    "together': copies under both, by which a first core is judged. 'less the bench's own': a guard band at either end "
    "for a bench whose loss is uncertain by {loss:.3g} % and whose flow by {flow:.3g} % (95 %), so that no core passes "
    "by an error of the bench.",
    "Below the lower figure look for missing fins, too few passages, or flow past the core or a divider. A cell in "
    "'measured' turns red outside.",
)


def bench(s: Subject) -> list[str]:
    """How the figures of the bench are meant."""
    return [text.format(draws=s.draws, loss=100 * s.guard.loss, flow=100 * s.guard.flow) for text in _BENCH]


def stream_title(stream: Stream, system: str) -> str:
    """'Air: 20 °C, 101.325 kPa absolute at the inlet face, 1.205 kg/m³'."""
    rho = f"{float(units.to_display(stream.density, 'density', system)):.4g} {units.unit_symbol('density', system)}"
    T = "20 °C" if system == "SI" else "68 °F (20 °C)"
    if stream.name == "air":
        pressure = f"{float(units.to_display(PRESSURE, 'absolute pressure', system)):.6g}"
        unit = units.unit_symbol("absolute pressure", system)
        return f"Air: {T}, {pressure} {unit} absolute at the inlet face, {rho}"
    return f"Coolant side: {clean(stream.fluid, 80)}, {T}, {rho}"


def later_cores(stream: Stream) -> str:
    """How far a later core may be from the first good one, by the shop's tolerances alone."""
    point = stream.points[-1]
    low, high = (100 * (bound / point.loss - 1) for bound in point.shop)
    return f"{low:+.1f} to {high:+.1f} %"


def stream_notes(stream: Stream) -> list[str]:
    """What belongs under a stream: later cores, another density, cautions."""
    lines = [
        f"Later cores: once a first core is accepted, the correlations no longer count; the others should lie within "
        f"{later_cores(stream)} of it (shop tolerances alone, at the largest flow)."
    ]
    if stream.name == "air":
        lines.append(
            "At another density and the same mass flow: the losses times the density above over that density, while "
            "they stay below a tenth of the absolute pressure."
        )
    if stream.lost:
        lines.append(f"{stream.lost:,} copies have no numbers and count as worse than any.")
    return [*lines, *(f"Caution, {text}." for text in stream.cautions)]


def tolerances(s: Subject) -> list[str]:
    """What kinds of scatter there are."""
    return [
        "shop: core to core, within the tolerances below. run: duty points and ambient air from run to run. model: the "
        "published bands of the correlations, one truth for every core of a family, never mixed with the others. "
        f"Intervals hold with {100 * s.problem.study.scatter.confidence:g} % confidence. "
        "'relax, by itself': by how much one tolerance may be wider before copies turn bad, the others as they are.",
    ]


def read_me(s: Subject) -> "list[tuple[str, Rows]]":
    """Sections of (label, text)."""
    return [
        (CAUTION_HEADING, [("caution", text) for text in CAUTIONS]),
        ("What this is", _what(s)),
        ("What is assumed", list(_ASSUMED)),
        ("How it was made", _provenance(s)),
    ]


def _what(s: Subject) -> "Rows":
    return [
        ("Specification", "What the supplier makes and the casting designer leaves room for."),
        ("Bench", f"What the core alone should lose on a flow bench, with bands from {s.draws:,} copies, and room for "
                  "what is measured."),
        ("Calculation", "Every intermediate of the rating at every duty point of the study."),
        ("Tolerances", "Each tolerance, the share of copies that meets the limits, percentiles, what each one does."),
        ("the study", clean(s.problem.study.about, 1500) or "-"),
    ]


_ASSUMED = (
    ("geometry", "Bar-and-plate block, one more air passage than coolant passages, air outermost. Tanks are shells of "
                 "the stated wall over the whole end face. Port bosses, mounting and seals are in no mass or volume."),
    ("correlations", "Measured on other cores than this one; their bands are taken to hold 95 % of the truth. The "
                     "sheet Calculation names sources and bands."),
    ("air", "Dry, spread evenly over the face; no flow past seals."),
    ("making", "Braze and squashed fins take the stated share of the free-flow area; a fault of making that no "
               "tolerance names is in no figure."),
    ("strength", "No stress, fatigue or burst pressure is computed."),
)


def _provenance(s: Subject) -> "Rows":
    """Run, seed, versions."""
    record = s.record or {}
    versions = runs.versions() if s.record is None else record.get("versions")
    known = versions if isinstance(versions, dict) else {}
    return [
        ("core", s.name), ("run", s.run), ("study", clean(Path(str(record.get("study", s.problem.study.path))).name)),
        ("SHA-256 of the study", clean(record.get("study_sha256", "-"))),
        ("made", f"{s.made:%Y-%m-%d %H:%M} UTC" if s.record is not None else "for a core given by hand, of no run"),
        ("seed", str(s.problem.study.seed)),
        ("versions", ", ".join(f"{words(str(k))} {clean(v, 20)}" for k, v in known.items()) or "-"),
    ]
