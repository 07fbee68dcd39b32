"""The ONE source behind all linked views: every core of the front, every column of its table, keyed `c0`, `c1` ...

When nothing is feasible the nearest misses take the place of the front.
"""

import tomllib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from optimize import units
from optimize.report.columns import column, typeset, words
from optimize.report.copy_data import BOTH, EVERY_LIMIT, SHOP, rows_of, texts
from optimize.report.figure_data import objective_titles, sorted_front
from optimize.report.page.packing import numbers
from optimize.report.page.plain_text import one_line
from optimize.runs import Run
from physics.arrays import Array
from physics.outputs import OUTPUTS

if TYPE_CHECKING:
    import pandas as pd

VARIABLES, COPIES = "Design variables", "Copies"
MARKS = ("circle", "square", "triangle", "diamond", "inverted_triangle", "plus", "x", "triangle_dot", "hex_dot",
         "star", "hex", "square_dot")  # as `style.MARKS`, in the plots' words
MOST_VALUES = 250_000  # of a page; a front too large for it leaves out intermediates, which its tables hold
_MANY = 500
_LAST = ("Heat transfer", "Flow", "Air loss", "Coolant loss", "Moisture", "Blower", "Coolant circuit")
_TEXT = {"core", "pick", "flags", "fails"}


@dataclass(frozen=True)
class Field:
    """One column of numbers: its key, the title it has in the tables, words, unit, name, duty point, group."""

    key: str
    title: str
    label: str
    unit: str
    name: str
    at: str
    group: str
    varies: bool

    @property
    def axis(self) -> str:
        """The label of an axis."""
        return f"{self.label} [{self.unit}]" if self.unit else self.label


@dataclass(frozen=True)
class FrontSource:
    """Cores in the order of the first objective.

    `fields`: columns of numbers; `names`: key -> title of the columns of texts; `data`: key -> n values, with "core",
    "pick", "mark" (shape of the mark) and "size" of each core. `objectives`: their fields. `is_front`: not the misses.
    """

    table: "pd.DataFrame"
    fields: tuple[Field, ...]
    names: dict[str, str]
    data: dict[str, list[Any]]
    objectives: tuple[Field, ...]
    is_front: bool
    left_out: tuple[str, ...] = ()  # titles of columns the page has no room for

    def __len__(self) -> int:
        return len(self.data["core"])

    def find(self, name: str, *ats: str) -> Field | None:
        """The field of an output or variable at the first of these duty points it has; any, if none is told."""
        own = [field for field in self.fields if field.name == name]
        for at in ats:
            own_at = [field for field in own if field.at == at]
            if own_at:
                return own_at[0]
        return own[0] if own else None

    def values(self, field: Field) -> Array:
        """The numbers of a field (n,)."""
        return np.array(self.data[field.key], dtype=np.float64)


def front_source(run: Run) -> FrontSource:
    """The front with yields and fin density beside its own columns, or the nearest misses."""
    is_front = "front" in run.tables
    table = sorted_front(run) if is_front else run.tables["misses"].reset_index(drop=True)
    kept = _kept(run, table) if len(table) else list(map(str, table.columns))
    left_out = tuple(title for title in map(str, table.columns) if title not in kept)
    table = _widened(run, table[kept]) if len(table) else table
    fields: list[Field] = []
    data: dict[str, list[Any]] = {}
    names: dict[str, str] = {}
    for i, title in enumerate(map(str, table.columns)):
        if title in _TEXT or not len(table):
            continue
        if _is_text(table, title):
            names[f"c{i}"], data[f"c{i}"] = title, [one_line(text) for text in texts(table, title)]
        else:
            fields.append(_field(f"c{i}", title, table, run))
            data[f"c{i}"] = numbers(table[title], 6 if len(table) <= _MANY else 5)
    data |= _marked(table, fields)
    by_title = {field.title: field for field in fields}
    wanted = tuple(by_title[title] for title in objective_titles(run) if title in by_title)
    return FrontSource(table, tuple(fields), names, data, wanted, is_front, left_out)


def _kept(run: Run, table: "pd.DataFrame") -> list[str]:
    """Titles of as many columns as a page has room for, in their order; intermediates are the first to go."""
    titles = [str(title) for title in table.columns]
    asked = {*run.record["variables"], *(o["output"] for o in run.record["objectives"])}
    asked |= {limit["output"] for limit in run.record["limits"]} | _TEXT
    names = [title if title in _TEXT else column(title).name for title in titles]
    groups = [OUTPUTS[name].group if name in OUTPUTS else "" for name in names]
    rank = [0 if n in asked else 1 + (g in _LAST) for n, g in zip(names, groups, strict=True)]
    room = max(MOST_VALUES // len(table), rank.count(0))
    kept = set(sorted(range(len(titles)), key=lambda i: (rank[i], i))[:room])
    return [title for i, title in enumerate(titles) if i in kept]


def _is_text(table: "pd.DataFrame", title: str) -> bool:
    import pandas as pd

    return not pd.api.types.is_numeric_dtype(table[title])


def _field(key: str, title: str, table: "pd.DataFrame", run: Run) -> Field:
    c = column(title)
    group = OUTPUTS[c.name].group if c.name in OUTPUTS else COPIES if c.name.startswith("share_") else VARIABLES
    label = (_EXTRA.get(c.name) or words(c.name)) + (f", {words(c.at)}" if c.at else "")
    known = [v for v in numbers(table[title]) if v == v]
    return Field(key, title, label, typeset(c.unit), c.name, c.at or "", group, len(set(known)) > 1)


_EXTRA = {
    "fin_density": "air fin density",
    **{f"share_{kind}{end}": f"copies that meet every limit, {words(kind)}{said}"
       for kind in ("shop", "shop_and_run") for end, said in (("", ""), ("_low", ", low"), ("_high", ", high"))},
}


def _marked(table: "pd.DataFrame", fields: list[Field]) -> dict[str, list[Any]]:
    """Ids, names, and marks: a core with a name has a shape of its own, in the order of the figures."""
    if not len(table):
        return {"core": [], "pick": [], "mark": [], "size": []}
    picks = [one_line(text) for text in (texts(table, "pick") if "pick" in table else [""] * len(table))]
    places = [i for i, pick in enumerate(picks) if pick]
    marks = ["circle"] * len(picks)
    for order, i in enumerate(places):
        marks[i] = MARKS[order % len(MARKS)]
    small = 8 if len(picks) <= 60 else 6 if len(picks) <= 400 else 4.5
    found: dict[str, list[Any]] = {
        "core": [one_line(core) for core in texts(table, "core")], "pick": picks, "mark": marks,
        "size": [15 if pick else small for pick in picks],
    }
    for name in ("flags", "fails"):
        if name in table:
            found[name] = [one_line(text, 200) for text in texts(table, name)]
    return found


def _widened(run: Run, table: "pd.DataFrame") -> "pd.DataFrame":
    """The table with fin density and yields as further columns, where the run tells them."""
    import pandas as pd

    extra: dict[str, Any] = {}
    density = fin_densities(run)
    if "air_fin" in table and density:
        title = f"fin_density [{units.unit_label('per length', run.record['units'])}]"
        extra[title] = [density.get(name, np.nan) for name in texts(table, "air_fin")]
    if "yield" in run.tables and len(run.tables["yield"]):
        cores = texts(table, "core")
        for kind in (SHOP, BOTH):
            extra |= _shares(run, kind, cores)
    return pd.concat([table, pd.DataFrame(extra, index=table.index)], axis=1) if extra else table


def _shares(run: Run, kind: str, cores: list[str]) -> dict[str, list[float]]:
    rows = rows_of(run.tables["yield"], scatter=kind, requirement=EVERY_LIMIT, duty="")
    if not len(rows):
        return {}
    own = {core: i for i, core in enumerate(texts(rows, "core"))}
    name = f"share_{kind.replace(' ', '_')}"
    ends = {"share": name, "low": f"{name}_low", "high": f"{name}_high"}
    return {
        f"{title} [%]": [float(rows[f"{end} [%]"].iloc[own[c]]) if c in own else float("nan") for c in cores]
        for end, title in ends.items()
    }


def fin_densities(run: Run) -> dict[str, float]:
    """Fins a length of each air fin of the run's own catalogue, in display units; a fin that has none is left out."""
    try:
        study = tomllib.loads((run.folder / "study.toml").read_text(encoding="utf-8"))
        place = run.folder / str(study.get("catalogues", {}).get("air_fins", ""))
        catalogue = tomllib.loads(place.read_text(encoding="utf-8")) if place.is_file() else {}
    except (OSError, ValueError):
        return {}
    system, found = run.record["units"], {}
    for name, roll in catalogue.get("fin", {}).items():
        try:
            value = units.parse(str(roll["fin_density"]), "per length")
        except (KeyError, TypeError, ValueError, units.UnitError):
            continue
        found[str(name)] = float(units.to_display(value, "per length", system))
    return found
