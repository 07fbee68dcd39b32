"""Drawings of the front for the page: the named cores first, then evenly along the front, as long as there is room."""

from dataclasses import dataclass

from optimize.errors import FinfrontError
from optimize.evenly import evenly
from optimize.report.page.front_source import FrontSource
from optimize.report.page.packing import packed
from optimize.runs import Run

MOST_DRAWINGS = 100


@dataclass(frozen=True)
class Drawings:
    """Drawings by core, packed; `note`: why there are none, or not all that were wanted."""

    packed: dict[str, str]
    note: str


def core_order(source: FrontSource) -> list[str]:
    """All cores, the named ones first, then evenly along the front: who gets what there is not enough of."""
    cores = [str(core) for core in source.data["core"]]
    named = [core for core, pick in zip(cores, source.data["pick"], strict=True) if pick]
    some = evenly(cores, named, MOST_DRAWINGS)
    return [*some, *(core for core in cores if core not in set(some))]


def drawn_cores(run: Run, source: FrontSource, room: int) -> Drawings:
    """At most `MOST_DRAWINGS` drawings in at most `room` bytes; without any where the run's study cannot be read."""
    from optimize.core_drawings import drawings

    if not source.is_front:
        return Drawings({}, "")
    found: dict[str, str] = {}
    wanted = core_order(source)[:MOST_DRAWINGS]
    try:
        for core, svg in drawings(run, wanted):
            text = packed(svg)
            room -= len(text)
            if room < 0:
                break
            found[core] = text
    except FinfrontError as error:
        return Drawings(found, f"No drawings: {error.what}.")
    if len(found) < len(source):
        return Drawings(found, f"{len(found):,} of {len(source):,} cores are drawn in this page.")
    return Drawings(found, "")
