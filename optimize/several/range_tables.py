"""A range as tables, text and what its figure shows."""

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from optimize import tables
from optimize.several.range_of_cores import Range, nearest_on_front
from physics.arrays import Array, IntArray

if TYPE_CHECKING:
    import pandas as pd


def cores_table(found: Range) -> "pd.DataFrame":
    """The cores of a range: variables, objectives, and by how much each objective is off the nearest front core's."""
    import pandas as pd

    c, problem = found.candidates, found.candidates.problem
    rows = []
    for slot, core in enumerate(found.chosen):
        near = nearest_on_front(c, int(core))
        own, other = (_shown(found, c.objectives[i]) for i in (core, near))
        rows.append({
            "core": c.names[core], **({"for": found.duties[slot]} if found.duties else {}),
            **tables.variable_values(problem.space, problem.space.core(c.points[core]), problem.study.units), **own,
            "nearest on the front": c.names[near],
            **{f"{title}, off it": own[title] - other[title] for title in own},
        })
    return pd.DataFrame(rows)


def parts_table(found: Range) -> "pd.DataFrame":
    """Every part of the range, which cores it serves, and whether more than one does."""
    import pandas as pd

    rows = []
    for kind in found.candidates.kinds:
        for code in np.unique(kind.codes[found.chosen]):
            served = [found.candidates.names[i] for i in found.chosen if kind.codes[i] == code]
            rows.append({
                "part": kind.name, "what": kind.texts[int(code)], "serves": ", ".join(served),
                "shared": "by all" if len(served) == len(found.chosen) else "yes" if len(served) > 1 else "no",
            })
    return pd.DataFrame(rows)


def range_text(found: Range) -> str:
    """The range in words: what it covers, what sharing costs, its cores and its parts."""
    what = "suit their duties to" if found.duties else "cover the front's hypervolume to"
    free = ", ".join(found.candidates.names[i] for i in found.free)
    parts = parts_table(found)
    lines = [
        f"{len(found.chosen)} cores with sharing weighed {found.weight:g}: they {what} {_percent(found.coverage[0])}, "
        f"and share {_percent(found.sharing[0])} of what they could ({len(parts)} different parts).",
        f"Without a thought for parts ({found.method}): {free}; {_percent(found.coverage[1])}, "
        f"sharing {_percent(found.sharing[1])} ({_count(found, found.free)} different parts). "
        f"Sharing costs {100 * (found.coverage[1] - found.coverage[0]):.1f} points.",
        "", cores_table(found).to_string(index=False, float_format=lambda v: f"{v:.4g}"),
        "", parts.to_string(index=False),
    ]
    return "\n".join(lines)


def write_range(found: Range, folder: Path) -> list[Path]:
    """cores.csv, parts.csv and range.md into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name, table in (("cores", cores_table(found)), ("parts", parts_table(found))):
        table.to_csv(folder / f"{name}.csv", index=False, float_format="%.8g")
        written.append(folder / f"{name}.csv")
    page = folder / "range.md"
    page.write_text(f"# {found.title}: a range\n\n```\n{range_text(found)}\n```\n", encoding="utf-8")
    return [*written, page]


def drawn_range(found: Range) -> tuple[Array, dict[str, Array], tuple[str, ...], str]:
    """Front (n, k), the chosen cores' objectives by their names, titles and headline, in display units."""
    c = found.candidates
    titles = tuple(tables.objective_headers(c.problem))
    front = np.array([list(_shown(found, row).values()) for row in c.objectives[: c.front]])
    chosen: dict[str, Array] = {}
    for slot, core in enumerate(found.chosen):
        name = c.names[core] + (f", {found.duties[slot].replace('_', ' ')}" if found.duties else "")
        chosen[name] = np.array(list(_shown(found, c.objectives[core]).values()))
    return front, chosen, titles, f"{found.title}: {len(found.chosen)} cores, {_percent(found.sharing[0])} shared"


def _shown(found: Range, objectives: Array) -> dict[str, float]:
    shown = tables.objective_columns(found.candidates.problem, objectives[None, :])
    return {title: float(value[0]) for title, value in shown.items()}


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %"


def _count(found: Range, cores: IntArray) -> int:
    return sum(len(np.unique(kind.codes[cores])) for kind in found.candidates.kinds)
