"""What a core is built of: parts that several cores of a range may share, each by what makes it the same part."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from optimize import units
from optimize.evaluate import CoreProblem
from optimize.space import PASSES, Parameters
from physics.arrays import Array, IntArray

_DIGITS = 9  # of a length [m]: parts equal to a nanometre are one part


@dataclass(frozen=True)
class PartKind:
    """A kind of part: numbers (n,) that are equal where the cores share one, and a text for each number."""

    name: str
    codes: IntArray
    texts: tuple[str, ...]


def part_kinds(problem: CoreProblem, choices: Parameters, n: int) -> tuple[PartKind, ...]:
    """The parts of n cores: fin rolls, bar stock, plates, tanks, ports, and the line where there is a loop.

    Bars are bought by height and width and cut to length; plates and tanks fit one outline; a tank one layout of
    passes too.
    """
    space = problem.space
    rating = problem.rate_choices(choices, n)
    p = {name: np.broadcast_to(value, n) for name, value in choices.items()}
    heights = [_spacing(problem, name, p[name]) for name in ("air_fin", "turbulator")]
    stack, passes = rating["stack_height"], [PASSES[int(code)] for code in p["passes"]]
    kinds = [_named(problem, "air_fin", "air fin roll", p), _named(problem, "turbulator", "turbulator roll", p)]
    kinds += [
        _measured(problem, "air bars", (heights[0], p["air_bar_width"])),
        _measured(problem, "coolant bars", (heights[1], p["coolant_bar_width"])),
        _measured(problem, "parting plates", (p["length"], p["thickness"], p["plate_thickness"])),
        _measured(problem, "tanks", (stack, p["thickness"]), passes),
        _named(problem, "port", "port", p),
    ]
    if "line" in space.words:
        kinds.append(_named(problem, "line", "line", p))
    return tuple(kinds)


def _spacing(problem: CoreProblem, name: str, codes: Array) -> Array:
    rolls = problem.study.air_fins if name == "air_fin" else problem.study.turbulators
    return np.array([roll.values["spacing"] for roll in rolls.values()])[codes.astype(np.int64)]


def _named(problem: CoreProblem, variable: str, kind: str, p: Parameters) -> PartKind:
    return _kind(kind, [problem.space.words[variable][int(code)] for code in p[variable]])


def _measured(
    problem: CoreProblem, kind: str, sizes: Iterable[Array], words: list[str] | None = None
) -> PartKind:
    system = problem.study.units
    columns = [[units.show(round(float(v), _DIGITS), "length", system, 6) for v in column] for column in sizes]
    texts = [" x ".join(row) for row in zip(*columns, strict=True)]
    return _kind(kind, [f"{a}, passes {b}" for a, b in zip(texts, words, strict=True)] if words else texts)


def _kind(name: str, texts: list[str]) -> PartKind:
    found, codes = np.unique(np.array(texts), return_inverse=True)
    return PartKind(name, codes.astype(np.int64), tuple(map(str, found)))


def shared(kinds: tuple[PartKind, ...], cores: IntArray) -> float:
    """How far some cores share their parts: 0 where each has all of its own, 1 where all have one of each kind."""
    different = sum(len(np.unique(kind.codes[cores])) for kind in kinds)
    return 1.0 if len(cores) < 2 else 1.0 - (different - len(kinds)) / (len(kinds) * (len(cores) - 1))
