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


def different_parts(kinds: tuple[PartKind, ...], chosen: IntArray, slot: int) -> IntArray:
    """Number of different parts (m,) of some cores with each of the m cores in the place of one of them."""
    rest = np.delete(chosen, slot)
    counts = np.zeros(len(kinds[0].codes), dtype=np.int64)
    for kind in kinds:
        held = np.zeros(len(kind.texts), dtype=bool)
        held[kind.codes[rest]] = True
        counts += int(held.sum()) + ~held[kind.codes]
    return counts


def shared(parts: int, kinds: int, cores: int) -> float:
    """How far cores share: 0 where each has parts all of its own, 1 where all have one of each kind.

    >>> shared(16, 8, 3), shared(8, 8, 3), shared(24, 8, 3)
    (0.5, 1.0, 0.0)
    """
    return 1.0 if cores < 2 else 1.0 - (parts - kinds) / (kinds * (cores - 1))
