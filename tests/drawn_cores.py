"""Cores to draw, and what stands on a drawing: its texts with the boxes they take on paper."""

from collections.abc import Iterator
from functools import cache
from typing import Any

from small_studies import ROOT

from optimize.drawing import Drawing, Plate, draw
from optimize.drawing.lettering import width
from optimize.drawing.primitives import Dimension, Text
from optimize.space import Parameters, Space
from optimize.study.load import load
from optimize.typed_core import typed_core

PLATE = Plate("Desert racer", "C123", "dune_racer 2026-11-25 19:08", "2026-11-25")
# Fins, turbulators and ports of the catalogues of the two example studies
SI = {"thickness": "69 mm", "passages": "11", "passes": "1", "air_fin": "S20-64", "turbulator": "TS-20-16",
      "port": "R22", "line": "-12"}  # fmt: skip
US = {"thickness": "2.75 in", "passages": "11", "passes": "1", "air_fin": "S20-250", "turbulator": "TS-80-16",
      "port": "SL700-1200"}  # fmt: skip
CASES: dict[str, dict[str, str]] = {
    "round": {}, "D": {"port": "D25-17", "air_fin": "L18-64", "turbulator": "TP-20-14"},
    "two through": {"passes": "2 through the thickness", "thickness": "85 mm", "passages": "10", "port": "D25-17"},
    "three through": {"passes": "3 through the thickness", "thickness": "89 mm", "port": "R16",
                      "turbulator": "OPEN-30"},
    "two side by side": {"passes": "2 side by side", "passages": "12", "port": "D32-21", "air_fin": "P16-64"},
    "three side by side": {"passes": "3 side by side", "passages": "12", "air_fin": "W16-95"},
    "does not fit": {"passages": "15", "thickness": "95 mm", "length": "300 mm", "air_fin": "M17-64"},
    "five passages": {"passages": "5", "thickness": "41 mm", "air_fin": "S28-38", "turbulator": "TS-15-18"},
    "forty passages": {"passages": "40"}, "one passage": {"passages": "1"},
}  # fmt: skip
US_CASES: dict[str, dict[str, str]] = {
    "slot": {}, "louver": {"air_fin": "L16-312", "port": "R875"},
    "two through": {"passes": "2 through the thickness", "thickness": "3.5 in", "port": "R750"},
    "side by side": {"passes": "2 side by side", "passages": "10", "port": "D1125-750"},
}


@cache
def space(system: str) -> Space:
    name = "tow_rig_us_units" if system == "US" else "dune_racer"
    return Space(load(ROOT / f"studies/{name}.toml"))


def core(system: str = "SI", **changes: str) -> Parameters:
    given = (US if system == "US" else SI) | changes
    return typed_core(space(system), [f"{key}={value}" for key, value in given.items()])


def drawn(system: str = "SI", **changes: str) -> Drawing:
    return _drawn(system, tuple(sorted(changes.items())))


@cache
def _drawn(system: str, changes: tuple[tuple[str, str], ...]) -> Drawing:
    return draw(space(system), core(system, **dict(changes)), PLATE)


def flat(drawing: Drawing) -> Iterator[Any]:
    """Every primitive, dimensions taken apart."""
    for item in drawing.items:
        yield from item.parts if isinstance(item, Dimension) else (item,)


def texts(drawing: Drawing) -> list[str]:
    return [item.text for item in flat(drawing) if isinstance(item, Text)]


def text_boxes(drawing: Drawing) -> list[tuple[str, tuple[float, float, float, float]]]:
    """Text with left, lower, right, upper [mm]."""
    found = []
    for item in flat(drawing):
        if isinstance(item, Text):
            long, (x, y) = width(item.text, item.height, item.bold), item.at
            start = {"start": 0.0, "middle": -long / 2, "end": -long}[item.anchor]
            box = (x + start, y, x + start + long, y + item.height)
            turned = (x - item.height, y + start, x, y + start + long)
            found.append((item.text, turned if item.turn else box))
    return found
