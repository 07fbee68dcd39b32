"""Where everything of a core lies in its pocket, in metres: core block, tanks with their chambers, ports, keep-out.

x along the coolant from the middle of the core, y along the stack from its middle, z up from the flange. The core
stands on the floor of the pocket, in its middle; the air comes down through it. Sizes are those of `physics.core`,
the places of the ports those that `physics.envelope` asks room for.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from optimize.errors import FinfrontError
from optimize.evaluate import envelope_of
from optimize.space import Parameters, Space
from physics.core import Designs, chamber_size, chambers, geometry, impossible

INLET, OUTLET = -1, 1  # ends of the core along x: the coolant enters at the first
_SHAPES = ("round", "D", "slot")
Point = tuple[float, float, float]
Span = tuple[float, float]


@dataclass(frozen=True)
class Box:
    """From corner to corner."""

    low: Point
    high: Point

    @property
    def size(self) -> Point:
        x, y, z = (h - low for low, h in zip(self.low, self.high, strict=True))
        return x, y, z


@dataclass(frozen=True)
class Tank:
    """Outside, and the chambers in it: open towards the core, one for each group of passes that meet in this tank."""

    end: int
    outside: Box
    chambers: tuple[Box, ...]


@dataclass(frozen=True)
class Opening:
    """A port through the end wall of a tank, seen along x.

    `shape` is "round", "D" (flat above, towards the flange) or "slot" (lying along the stack); `y` its middle, `bottom`
    its lowest point; `radius` of its arcs. `x` runs through the wall, from the chamber to the outside.
    """

    name: str
    end: int
    shape: str
    x: Span
    y: float
    bottom: float
    height: float
    width: float
    radius: float
    line_bore: float

    @property
    def centre(self) -> float:
        """Height of the middle of the opening, halfway between its lowest and its highest point."""
        return self.bottom + self.height / 2


@dataclass(frozen=True)
class Placed:
    """The core in its pocket; `keep_out` is the pocket and the room above it, under the lid."""

    core: Box
    tanks: tuple[Tank, Tank]
    ports: tuple[Opening, Opening]
    keep_out: Box


def placed(space: Space, core: Parameters) -> Placed:
    """The core (values (1,) of every variable) in the pocket of the study.

    Raises FinfrontError where no such core can be built.
    """
    batch = space.batch(core, np.zeros(1, dtype=np.int64))
    d = batch.designs
    with np.errstate(all="ignore"):
        g = geometry(d)
        if np.any(impossible(d, g)):
            what = "no such core can be built: no room for passages or chambers, or a port of no shape"
            raise FinfrontError(what, space.study.path, "choose another core")
    pocket = envelope_of(space.study)
    L, T, H, reach = (_one(v) for v in (d.length, d.thickness, g.stack_height, d.tank_length + d.tank_wall))
    floor = -pocket.pocket_depth
    block = Box((-L / 2, -H / 2, floor), (L / 2, H / 2, floor + T))
    cells = _cells(d, g.stack_height, floor)
    half = (pocket.pocket_length / 2, pocket.pocket_width / 2)
    return Placed(
        block,
        (_tank(d, INLET, block, reach, cells), _tank(d, OUTLET, block, reach, cells)),
        _ports(space, {key: _one(v) for key, v in batch.parameters.items()}, d, block, reach, cells),
        Box((-half[0], -half[1], floor), (half[0], half[1], pocket.proud_height)),
    )


def _one(value: Any) -> float:
    return float(np.ravel(value)[0])


def _cells(d: Designs, H: Any, floor: float) -> list[tuple[Span, Span]]:
    """(y, z) spans of the chamber of each pass, in the order of the coolant: upwards, or along the stack."""
    through, across = (int(_one(v)) for v in chambers(d))
    height, width = (_one(v) for v in chamber_size(d, H))
    wall = _one(d.tank_wall)
    ys = [wall - _one(H) / 2 + k * (width + wall) for k in range(across)]
    zs = [floor + wall + k * (height + wall) for k in range(through)]
    return [((y, y + width), (z, z + height)) for z in zs for y in ys]


def _groups(passes: int, end: int) -> list[tuple[int, int]]:
    """First and last pass of each chamber of a tank: the coolant turns where two of them share one.

    >>> _groups(3, INLET), _groups(3, OUTLET), _groups(2, OUTLET)
    ([(0, 0), (1, 2)], [(0, 1), (2, 2)], [(0, 1)])
    """
    starts = [0, *range(1, passes, 2)] if end == INLET else list(range(0, passes, 2))
    return [(a, b - 1) for a, b in zip(starts, [*starts[1:], passes], strict=True)]


def _tank(d: Designs, end: int, block: Box, reach: float, cells: list[tuple[Span, Span]]) -> Tank:
    """A wall between two passes is left out where the coolant turns from one to the other."""
    face = block.low[0] if end == INLET else block.high[0]
    inside = _one(d.tank_length)
    rooms = [
        _box(face, face + end * inside, (cells[a][0][0], cells[b][0][1]), (cells[a][1][0], cells[b][1][1]))
        for a, b in _groups(len(cells), end)
    ]
    outside = _box(face, face + end * reach, (block.low[1], block.high[1]), (block.low[2], block.high[2]))
    return Tank(end, outside, tuple(rooms))


def _box(x1: float, x2: float, y: Span, z: Span) -> Box:
    return Box((min(x1, x2), y[0], z[0]), (max(x1, x2), y[1], z[1]))


def _ports(
    space: Space, p: dict[str, float], d: Designs, block: Box, reach: float, cells: list[tuple[Span, Span]]
) -> tuple[Opening, Opening]:
    """The inlet leaves the chamber of the first pass, the outlet that of the last, as low in it as its land allows."""
    shape, land, header = _SHAPES[int(p["port.shape"])], p["seal_land"], space.study.header
    height, width = _one(d.port.height), _one(d.port.width)
    radius = {"round": p["port.bore"] / 2, "D": p["port.radius"], "slot": p["port.height"] / 2}[shape]
    last = OUTLET if len(cells) % 2 else INLET

    def opening(name: str, end: int, cell: tuple[Span, Span], side: int) -> Opening:
        (y1, y2), (z1, _) = cell
        y = {-1: y1 + land + width / 2, 0: (y1 + y2) / 2, 1: y2 - land - width / 2}[side]
        outer = end * (block.high[0] + reach)
        inner = outer - end * p["tank_wall"]
        return Opening(name, end, shape, (inner, outer), y, z1 + land, height, width, radius, p["port.line_bore"])

    first_side, last_side = {"centre": (0, 0), "same end": (-1, -1), "opposite ends": (-1, 1)}[header]
    return opening("coolant inlet", INLET, cells[0], first_side), opening("coolant outlet", last, cells[-1], last_side)
