"""A range as tables, text and what its figure shows."""

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from optimize import tables, units
from optimize.report.columns import column, label, number, words
from optimize.report.range_figure import DrawnRange
from optimize.several.blocks import Block, as_markdown, as_text
from optimize.several.range_of_cores import Range
from optimize.several.subset import Level
from physics.arrays import Array
from physics.outputs import OUTPUTS

if TYPE_CHECKING:
    import pandas as pd


def cores_table(found: Range) -> "pd.DataFrame":
    """The cores of a range: variables, objectives, and what sharing costs each.

    That is by how much each objective is above that of the core it stands in for in the best unshared set, and of the
    nearest core of the front, in the unit of a difference.
    """
    import pandas as pd

    c, problem = found.candidates, found.candidates.problem
    rows = []
    for slot, (core, instead) in enumerate(zip(found.chosen.chosen, _stands_for(found), strict=True)):
        near = _nearest_on_front(found, int(core))
        rows.append({
            "core": c.names[core], **({"for": found.duties[slot]} if found.duties else {}),
            **tables.variable_values(problem.space, c.core(int(core)), problem.study.units),
            **_values(found, slot, int(core)),
            "in_place_of": c.names[instead], **_above(found, slot, int(core), instead, "above_unshared"),
            "nearest_on_front": c.names[near], **_above(found, slot, int(core), near, "above_front"),
        })
    return pd.DataFrame(rows)


def parts_table(found: Range) -> "pd.DataFrame":
    """Every part of the range, which cores it serves, and whether more than one does."""
    import pandas as pd

    rows = []
    cores = np.array(list(dict.fromkeys(found.chosen.chosen.tolist())))
    for kind in found.candidates.kinds:
        for code in np.unique(kind.codes[cores]):
            served = [found.candidates.names[i] for i in cores if kind.codes[i] == code]
            rows.append({
                "part": kind.name, "what": kind.texts[int(code)], "serves": ", ".join(served),
                "shared": "no" if len(served) < 2 else "by all" if len(served) == len(cores) else "by some",
            })
    return pd.DataFrame(rows)


def trade_table(found: Range) -> "pd.DataFrame":
    """What sharing costs: the best set found for each number of different parts, fewest parts first."""
    import pandas as pd

    return pd.DataFrame([
        {
            "different_parts": level.parts, "sharing [%]": 100 * found.sharing(level), "cover [%]": 100 * level.cover,
            "cores": ", ".join(found.candidates.names[i] for i in level.chosen),
            "chosen": "yes" if level is found.chosen else "no",
        }
        for level in found.levels
    ])


def _stands_for(found: Range) -> list[int]:
    """For each core the one of the best unshared set it stands in for: its duty's, or the nearest, each once."""
    from scipy.optimize import linear_sum_assignment

    if found.duties:
        return [int(i) for i in found.free.chosen]
    scaled = _scaled(found)
    apart = np.sum((scaled[found.chosen.chosen][:, None] - scaled[found.free.chosen][None]) ** 2, axis=2)
    return [int(found.free.chosen[i]) for i in linear_sum_assignment(apart)[1]]


def _nearest_on_front(found: Range, core: int) -> int:
    scaled = _scaled(found)
    return int(np.argmin(np.sum((scaled[: found.candidates.front] - scaled[core]) ** 2, axis=1)))


def _scaled(found: Range) -> Array:
    span = np.ptp(found.candidates.objectives[: found.candidates.front], axis=0)
    return found.candidates.objectives / np.where(span > 0, span, 1.0)


def _values(found: Range, slot: int, core: int) -> dict[str, float]:
    """The objectives of a core, at its duty where it is for one."""
    return dict(zip(_titles(found), _displayed(found, found.judged[slot, core]), strict=True))


def _titles(found: Range) -> list[str]:
    study = found.candidates.problem.study
    if not found.duties:
        return tables.objective_headers(found.candidates.problem)
    outputs = [OUTPUTS[o.output] for o in study.objectives]
    return [
        tables.header(o.output, out.kind, study.units, None if out.per == "core" else "its_duty")
        for o, out in zip(study.objectives, outputs, strict=True)
    ]


def _displayed(found: Range, minimised: Array) -> list[float]:
    columns = tables.objective_columns(found.candidates.problem, minimised[None, :])
    return [float(value[0]) for value in columns.values()]


def _above(found: Range, slot: int, core: int, other: int, what: str) -> dict[str, float]:
    """By how much each objective of one core is above another's, in the unit of a difference."""
    study, told = found.candidates.problem.study, {}
    for i, (o, title) in enumerate(zip(study.objectives, _titles(found), strict=True)):
        kind = OUTPUTS[o.output].kind
        kind = "temperature difference" if kind == "temperature" else kind
        more = (-1.0 if o.maximise else 1.0) * (found.judged[slot, core, i] - found.judged[slot, other, i])
        told[tables.header(f"{o.output}_{what}", kind, study.units, column(title).at)] = float(
            units.to_display(more, kind, study.units)
        )
    return told


def range_text(found: Range) -> str:
    """The range in words."""
    return as_text(_blocks(found))


def _blocks(found: Range) -> list[Block]:
    cores, parts, trade = cores_table(found), parts_table(found), trade_table(found)
    duties = [f", {words(duty)}" for duty in found.duties] or [""] * len(cores)
    heads = ("", *(name + duty for name, duty in zip(cores["core"], duties, strict=True)))
    beside = [
        (_row_head(str(title)), *(_cell(value, "_above_" in str(title)) for value in cores[title]))
        for title in cores.columns if title not in ("core", "for")
    ]
    return [
        Block(f"{found.title}: {len(found.chosen.chosen)} cores, sharing weighed {found.weight:g}", _said(found)),
        Block("The cores, and what sharing costs each", (), heads, tuple(beside)),
        Block("Parts", (), tuple(parts.columns), _texts(parts)),
        Block("What sharing costs in all", (_meaning(found),), tuple(map(label, trade.columns)), _texts(trade)),
    ]


def _row_head(title: str) -> str:
    """'more than that: air loss, total, full power [kPa]' of what a core is above another."""
    for kind, said in (("_above_unshared", "more than its"), ("_above_front", "more than its")):
        if kind in title:
            return f"{said} {label(title.replace(kind, ''))}"
    known = {"in_place_of": "stands in for, unshared", "nearest_on_front": "nearest on the front"}
    return known.get(title) or label(title)


def _said(found: Range) -> tuple[str, ...]:
    c = found.candidates
    names = ", ".join(c.names[i] for i in found.free.chosen)
    lines = [
        f"{_cover(found, found.chosen)}, with {_count(found, found.chosen)}",
        f"without a thought for parts {names}: {_cover(found, found.free)}, with {_count(found, found.free)}",
        f"chosen among {c.front:,} cores of the front and the {len(c.names) - c.front:,} nearest behind it; "
        f"{found.method}",
    ]
    for core in dict.fromkeys(found.chosen.chosen.tolist()):
        own = [duty for duty, chosen in zip(found.duties, found.chosen.chosen, strict=False) if chosen == core]
        if len(own) > 1:
            lines.append(f"{c.names[core]} serves {' and '.join(map(words, own))}")
    space = c.problem.space
    alone = [key for key in ("thickness", "length") if key in space.names and space.variables[key].is_continuous]
    if alone:
        lines.append(f"{' and '.join(alone)} without a step: hardly two cores can share plates and tanks; give it one")
    return tuple(lines)


def _cover(found: Range, level: Level) -> str:
    if found.duties:
        return f"suits the duties to {100 * level.cover:.1f} %"
    return f"covers {100 * level.cover:.1f} % of the front's hypervolume"


def _count(found: Range, level: Level) -> str:
    return f"{level.parts} different parts (shared: {100 * found.sharing(level):.3g} % of what could be)"


def _meaning(found: Range) -> str:
    if found.duties:
        return "cover: 100 % is the front's best in every objective at each duty, 0 % its worst, all weighed alike"
    return "cover: of the hypervolume of the whole front, up to a tenth beyond its worst values"


def _cell(value: object, signed: bool = False) -> str:
    if not isinstance(value, float):
        return str(value)
    if signed:
        return f"{value:+.3g}" if abs(value) > 1e-9 else "0"
    return f"{value:.0f}" if value == round(value) else number(value, 4)


def _texts(table: "pd.DataFrame") -> tuple[tuple[str, ...], ...]:
    return tuple(tuple(_cell(cell) for cell in row) for row in table.itertuples(index=False, name=None))


def write_range(found: Range, folder: Path) -> list[Path]:
    """cores.csv, parts.csv, trade.csv and range.md into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name, make in (("cores", cores_table), ("parts", parts_table), ("trade", trade_table)):
        make(found).to_csv(folder / f"{name}.csv", index=False, float_format="%.8g")
        written.append(folder / f"{name}.csv")
    page = folder / "range.md"
    page.write_text(as_markdown(f"{found.title}: a range", _blocks(found), "range.png"), encoding="utf-8")
    return [*written, page]


def drawn_range(found: Range) -> DrawnRange:
    """What the figure shows, in display units."""
    c = found.candidates
    shown = np.column_stack(list(tables.objective_columns(c.problem, c.objectives).values()))
    names = [
        c.names[core] + (f", {words(found.duties[slot])}" if found.duties else "")
        for slot, core in enumerate(found.chosen.chosen)
    ]
    levels = np.array([(level.parts, 100 * level.cover) for level in found.levels])
    return DrawnRange(
        found.title, tuple(tables.objective_headers(c.problem)), shown[: c.front], shown[c.front :],
        shown[found.free.chosen], shown[found.chosen.chosen], tuple(names), levels, found.levels.index(found.chosen),
    )  # fmt: skip
