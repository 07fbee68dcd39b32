"""Plots gathered into documents the page embeds one after the other, with ids that depend on nothing else."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from optimize.report.page.packing import compact, packed

_ID = re.compile(r"p[0-9]+")
SCRIPTS = ("bokeh", "bokeh-widgets", "bokeh-tables")


@dataclass(frozen=True)
class Packet:
    """A document packed, and its plots: name of the plot (and of its place in the page) -> id in the document."""

    name: str
    data: str
    roots: dict[str, str]


def packet(name: str, models: Sequence[Any]) -> Packet:
    """Plots and tables that share their sources, as one document; their ids counted from nought."""
    from bokeh.document import Document

    document = Document()
    document.title = ""
    with document.models.freeze():
        for model in models:
            document.add_root(model)
    told = document.to_json(deferred=False)
    known: dict[str, str] = {}
    data = _renumbered(told, known, name)
    roots = {str(model.name): known[model.id] for model in models}
    return Packet(name, packed(compact(data)), roots)


def _renumbered(data: Any, known: dict[str, str], lead: str) -> Any:
    """The same with ids in the order they come."""
    if isinstance(data, list | tuple):
        return [_renumbered(part, known, lead) for part in data]
    if not isinstance(data, dict):
        return data
    found = {}
    for key, value in data.items():
        if key == "id" and isinstance(value, str) and _ID.fullmatch(value):
            found[key] = known.setdefault(value, f"{lead}-{len(known)}")
        else:
            found[key] = _renumbered(value, known, lead)
    return found


@cache
def script(name: str) -> str:
    """One of the scripts of the library that draws, as it comes with it."""
    import bokeh

    return (Path(bokeh.__file__).parent / "server/static/js" / f"{name}.min.js").read_text(encoding="utf-8")


@cache
def packed_script(name: str) -> str:
    """The same as gzip in base64."""
    return packed(script(name))
