"""Run folders for tests of the page, made from the kept example by taking away or rewriting; nothing is searched."""

import base64
import gzip
import json
import re
import shutil
import sys
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from optimize import record, runs
from optimize.report.page import page

EXAMPLE = Path(__file__).parents[1] / "results/example"
# What a page needs least; without the others it has a handful of plots.
FEW = ("designs", "front", "limits")
SHEET = {
    "core": [["thickness", "89", "mm"], ["air_fin", "S25-64", ""]],
    "groups": [{"title": "Duty results", "heads": ["full_power", "long_climb"],
                "rows": [["heat rejected", [52.625, 31.875], "kW"], ["NTU", [None, 2.5], ""]]}],
    "requirements": [["filled mass (max)", 10.75, True], ["air loss, total, worst (max)", -3.5, False]],
    "correlations": ["air: offset strip fins"], "cautions": [],
}  # fmt: skip


@dataclass(frozen=True)
class Plate:
    """Stands in for the drawing's plate."""

    title: str
    core: str
    run: str
    made: str


def stub_drawing(monkeypatch: pytest.MonkeyPatch, svg: str = "<svg xmlns='http://www.w3.org/2000/svg'/>") -> None:
    """A drawing that takes no time, in place of the real one."""
    stub = ModuleType("optimize.drawing")
    stub.Plate = Plate  # type: ignore[attr-defined]
    stub.draw = lambda space, core, plate: plate  # type: ignore[attr-defined]
    stub.svg = lambda plate: svg.replace("CORE", plate.core)  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "optimize.drawing", stub)
    monkeypatch.setattr(record, "run_id", lambda told: str(told["study"]), raising=False)


def example(folder: Path, keep: tuple[str, ...] = runs.TABLES, sheets: tuple[str, ...] = ("C919911",)) -> Path:
    """The kept example with some of its tables only, and a made-up sheet for some of its cores."""
    shutil.copytree(EXAMPLE, folder, ignore=shutil.ignore_patterns("figures", "*.html", "sheets.json"))
    for name in set(runs.TABLES) - set(keep):
        (folder / f"{name}.csv").unlink(missing_ok=True)
    (folder / runs.SHEETS).write_text(json.dumps(dict.fromkeys(sheets, SHEET)), encoding="utf-8")
    return folder


def edit_record(folder: Path, **changes: Any) -> None:
    """Keys of run.json replaced; None takes one away."""
    place = folder / runs.RECORD
    told = json.loads(place.read_text(encoding="utf-8")) | changes
    told = {key: value for key, value in told.items() if value is not None}
    place.write_text(json.dumps(told, ensure_ascii=False), encoding="utf-8")


def written(folder: Path) -> Path:
    """The page of a run folder, written into it."""
    place = folder / "report.html"
    place.write_text(page(runs.read(folder)), encoding="utf-8", newline="\n")
    return place


def unpacked(text: str, key: str) -> str:
    """What a page holds packed under an attribute such as `id="data-meta"`."""
    match = re.search(rf'<script type="text/plain" {re.escape(key)}>([A-Za-z0-9+/=]*)</script>', text)
    assert match, key
    return gzip.decompress(base64.b64decode(match[1])).decode()


class Elements(HTMLParser):
    """The elements of a page with their attributes, its visible text, and whether every tag is closed in turn."""

    VOID = frozenset({"meta", "link", "br", "img", "input", "hr"})

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.found: list[tuple[str, dict[str, str]]] = []
        self.text, self.faults, self.open = "", [], []  # type: ignore[var-annotated]
        self.feed(text)
        self.close()
        self.faults += [f"<{tag}> is never closed" for tag in self.open]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, {name: value or "" for name, value in attrs}))
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.faults.append(f"</{tag}> at {self.getpos()}")

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] not in ("script", "style"):
            self.text += data

    def all(self, tag: str) -> list[dict[str, str]]:
        return [attributes for name, attributes in self.found if name == tag]
