"""The page put together: sections in their order, documents of plots, sheets and drawings, one template."""

import base64
import hashlib
import re
from dataclasses import asdict, dataclass, field
from importlib.resources import files
from typing import Any

from optimize import runs
from optimize.report import summary
from optimize.report.page import answer_views, copies_views, front_table, rerun_views, system_views
from optimize.report.page.cards import Card, Fact, cards, facts
from optimize.report.page.documents import SCRIPTS, Packet, packed_script, packet, script
from optimize.report.page.front_source import FrontSource, front_source
from optimize.report.page.markdown_page import html
from optimize.report.page.packing import compact, packed
from optimize.report.page.plain_text import one_line
from optimize.report.page.shelf import Drawings, core_order, drawn_cores
from optimize.report.page.told import assumptions, budget_table
from optimize.report.page.views import limits_of, linked_views, samples
from optimize.report.palette import DARK, LIGHT, css
from optimize.runs import Run

MOST_BYTES = 2_900_000  # of the page; drawings are left out before it grows larger
_COPIES, _ROBUST, _MADE_OF = "Copies of them", "The robust front", "What the cores are made of"
_CURVES, _GAIN, _CIRCUIT, _SOAK = "Trade-off around the knee", "Blower and net gain", "Coolant circuit", "Heat soak"
_MOISTURE, _TIGHTEN, _CAUTIONS = "Moisture, freezing, boiling", "What to tighten", "Cautions"
_ASSUMED = "What it assumes"


@dataclass
class Section:
    """One section of the page: its anchor, its title, texts as HTML, plots (name, caption) in groups."""

    title: str
    text: str = ""
    groups: list[tuple[str, list[tuple[str, str]]]] = field(default_factory=list)

    @property
    def anchor(self) -> str:
        return re.sub(r"[^a-z]+", "-", self.title.lower()).strip("-")


@dataclass
class Plots:
    """Plots of the page by document."""

    packets: list[Packet]
    sections: dict[str, list[tuple[str, list[tuple[str, str]]]]]
    views: dict[str, str]
    has_table: bool


def assembled(run: Run) -> str:
    """The whole page."""
    source = front_source(run)
    plots = _plots(run, source)
    sheets = {name: sheet for name, sheet in runs.read_sheets(run.folder).items() if name in set(source.data["core"])}
    parts = {
        "scripts": {name: packed_script(name) for name in SCRIPTS},
        "packets": {p.name: p.data for p in plots.packets},
        "sheets": packed(compact(sheets)),
    }
    taken = sum(len(text) for part in parts.values() for text in (part.values() if isinstance(part, dict) else [part]))
    drawings = drawn_cores(run, source, MOST_BYTES - taken - 250_000)
    meta = _meta(run, source, plots, list(sheets), drawings)
    return _rendered(run, source, plots, parts, drawings, meta)


def _plots(run: Run, source: FrontSource) -> Plots:
    """Every plot the run has data for."""
    from bokeh.models import ColumnDataSource

    front = ColumnDataSource(data=dict(source.data), name="front")
    behind = ColumnDataSource(data=samples(run, source), name="behind")
    models: list[Any] = []
    views: dict[str, str] = {}
    sections: dict[str, list[tuple[str, list[tuple[str, str]]]]] = {}
    if len(source):
        linked = linked_views(run, source, front, behind)
        views = {view.name: view.title for view in linked}
        models = [view.plot for view in linked]
        for title, name, plot in _beside(run, source, front):
            models.append(plot)
            sections.setdefault(title, []).append(("", [(plot.name, name)]))
        models.append(front_table.data_table(run, source, front))
    packets = [packet("linked", models)] if models else []
    for title, groups in _later(run).items():
        own = [plot for _, group in groups for plot, _ in group]
        packets.append(packet(f"d{len(packets)}", own))
        sections.setdefault(title, []).extend(
            (heading, [(plot.name, caption) for plot, caption in group]) for heading, group in groups
        )
    return Plots(packets, sections, views, bool(models))


def _beside(run: Run, source: FrontSource, front: Any) -> list[tuple[str, str, Any]]:
    """Plots of other sections over the one source: section, caption, plot."""
    found = [
        (_COPIES, "Share of the copies that meet every limit, with exact intervals, along the front",
         copies_views.yield_plot(run, source, front)),
        (_COPIES, "Copies of the chosen cores (of the named ones, while none is chosen)",
         copies_views.cloud_plot(run, source, front)),
        (_MADE_OF, "Every core a line across what varies and what is wanted; those chosen bold",
         front_table.parallel_axes(run, source, front)),
        (_GAIN, "Net gain over the reference core and its two parts, along the front",
         answer_views.gain_plot(run, source, front) if source.is_front else None),
    ]
    return [(title, caption, plot) for title, caption, plot in found if plot is not None]


def _later(run: Run) -> dict[str, list[tuple[str, list[tuple[Any, str]]]]]:
    """Plots with sources of their own, by section: groups of plots with captions under a heading."""
    found: dict[str, list[tuple[str, list[tuple[Any, str]]]]] = {}
    if rerun := rerun_views.rerun_plots(run):
        found[summary.RERUN] = [("", rerun)]
    if (nested := copies_views.nested_plot(run)) is not None:
        said = "What the yield of each named core may turn out to be, as the correlations may be off"
        found[_COPIES] = [("", [(nested, said)])]
    if (robust := copies_views.robust_plot(run)) is not None:
        found[_ROBUST] = [("", [(robust, "The front of the copies beside that of the cores as drawn")])]
    if (limits := answer_views.limits_plot(run)) is not None:
        found[summary.LIMITS] = [("", [(limits, "Cores each requirement turned away")])]
    if curves := answer_views.curve_plots(run):
        found[_CURVES] = list(curves)
    if circuit := system_views.circuit_plots(run):
        found[_CIRCUIT] = [("", [(plot, heading) for heading, plot in circuit])]
    if soak := system_views.soak_plots(run):
        found[_SOAK] = [("", [(plot, heading) for heading, plot in soak])]
    if tornado := answer_views.tornado_plots(run):
        found[_TIGHTEN] = [("", tornado)]
    return found


def _sections(run: Run, told: dict[str, str], plots: Plots) -> list[Section]:
    """Sections behind the asked, the named and the front, in their order, those there is anything for."""
    said = told | {_CAUTIONS: summary.CAUTIONS, _ASSUMED: assumptions(run)}
    if budget := budget_table(run):
        said[_TIGHTEN] = f"{said[_TIGHTEN]}\n\n{budget}"
    said[summary.TRUST] = said[summary.TRUST].removesuffix(summary.CAUTIONS)
    order = (summary.NOTES, summary.RERUN, summary.OFF_GRID, _COPIES, _ROBUST, _MADE_OF, summary.LIMITS, _CURVES,
             _GAIN, _CIRCUIT, _SOAK, _MOISTURE, summary.TRUST, _TIGHTEN, _ASSUMED, _CAUTIONS, summary.MADE)
    there = [title for title in order if title in said or title in plots.sections]
    return [Section(t, html(said.get(t, ""), t), plots.sections.get(t, [])) for t in there]


def _meta(
    run: Run, source: FrontSource, plots: Plots, sheets: list[str], drawings: Drawings
) -> dict[str, Any]:
    """What the page's own script must know."""
    csv = {field.title: field.key for field in source.fields} | {title: key for key, title in source.names.items()}
    own = {"core": "core", "pick": "pick", "flags": "flags", "fails": "fails"}
    return {
        "fields": [asdict(f) | {"axis": f.axis, "limits": limits_of(run, f)} for f in source.fields],
        "names": source.names, "objectives": [f.key for f in source.objectives],
        "csv": [[t, (csv | own)[t]] for t in map(str, source.table.columns) if t in csv or t in source.data],
        "clouds": copies_views.clouds(run, source, core_order(source)),
        "sheets": sheets, "drawings": list(drawings.packed), "palettes": {"light": asdict(LIGHT), "dark": asdict(DARK)},
        "packets": [{"name": p.name, "roots": p.roots} for p in plots.packets],
        "file": re.sub(r"[^A-Za-z0-9]+", "_", str(run.record["study"]).removesuffix(".toml"))[:40].strip("_") or "run",
    }


def _rendered(
    run: Run, source: FrontSource, plots: Plots, parts: dict[str, Any], drawings: Drawings, meta: dict[str, Any]
) -> str:
    """The template filled in; it escapes every text that is not already HTML of ours."""
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    own = files("optimize.report.page")
    env = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    said = summary.sections(run)
    code = (own / "page.js").read_text(encoding="utf-8")
    top: dict[str, list[Card] | list[Fact]] = {"cards": cards(run, source), "facts": facts(run)}
    return env.from_string((own / "page.html.j2").read_text(encoding="utf-8")).render(
        left_out=source.left_out, table_file="front.csv" if source.is_front else "misses.csv",
        title=one_line(run.record["title"], 200), about=str(run.record.get("about") or ""), record=run.record,
        outcome=Markup(html(summary.outcome(run))), asked=Markup(html(said[summary.ASKED])),
        named=Markup(html(said.get(summary.NAMED, said.get(summary.MISSES, "")), summary.NAMED, folded=False)),
        is_front=source.is_front, count=len(source), views=plots.views, sections=_sections(run, said, plots),
        has_table=plots.has_table, drawings=drawings, meta=packed(compact(meta)), parts=parts, Markup=Markup,
        style=Markup((own / "page.css").read_text(encoding="utf-8")), code=Markup(code), light=css(LIGHT),
        dark=css(DARK), hashes=[_hash(text) for text in (code, *map(script, SCRIPTS))], **top,
    )


def _hash(text: str) -> str:
    """What a content security policy allows a script by."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
