"""The sheet Bench: what the core alone should lose, how far each cause may take it, and what to accept."""

from typing import Any

from optimize import units
from optimize.handover import notes
from optimize.handover.acceptance import TOO_COARSE, Accepted, guarded
from optimize.handover.bench import Stream
from optimize.handover.digits import decimals, decimals_of_largest
from optimize.handover.grid import Grid, Look, Value, Words
from optimize.handover.subject import Subject

_WIDTHS = (16, 12, 12, 12, 13, 12, 12, 12, 12, 12, 12, 16, 14, 14)
_AIR_VOLUME = {"SI": "L/s", "US": "ft^3/min"}  # the measures of flow benches
_MEASURED = 13
_HEADS = (
    "of the largest flow", "mass flow", "volume flow", "Reynolds number", "expected loss", "from", "to", "from", "to",
    "from", "to", "look into it below", "accept up to", "measured",
)


def bench_sheet(s: Subject, book: Any, look: Look, named: Words) -> None:
    """A block a stream, with room for what is measured."""
    grid = Grid(book, look, "Bench", _WIDTHS, named)
    for text in notes.bench(s):
        grid.note(text)
    grid.sheet.freeze_panes(2, 1)
    for stream in s.bench:
        _stream(s, grid, stream)


def _stream(s: Subject, grid: Grid, stream: Stream) -> None:
    system = s.problem.study.units
    grid.heading(notes.stream_title(stream, system))
    over = ("shop tolerances alone", "correlations alone", "both together", "less the bench's own")
    for i, text in enumerate(over):
        grid.over(5 + 2 * i, 6 + 2 * i, text)
    grid.at += 1
    grid.heads(_HEADS)
    loss, mass = (units.unit_symbol(kind, system) for kind in ("pressure", "mass flow"))
    volume, _ = volume_unit(stream, system)
    grid.row(("%", mass, volume, "", *(loss for _ in _HEADS[4:])), 0, ["soft"] + ["number"] * (len(_HEADS) - 1))
    places = loss_places(stream, system)
    for accepted in guarded(stream, s.guard):
        _point(s, grid, accepted, places)
    for text in notes.stream_notes(stream):
        grid.note(text)


def volume_unit(stream: Stream, system: str) -> tuple[str, float]:
    """The unit of a volume flow as typeset, and its size [m3/s]."""
    if stream.name != "air":
        return units.unit_symbol("volume flow", system), units.scale("volume flow", system)[0]
    return _AIR_VOLUME[system].replace("^3", "³"), units.parse(f"1 {_AIR_VOLUME[system]}", "volume flow")


def loss_places(stream: Stream, system: str) -> int:
    """Decimals of all losses of a stream."""
    return decimals_of_largest(float(units.to_display(point.loss, "pressure", system)) for point in stream.points)


def _point(s: Subject, grid: Grid, accepted: Accepted, places: int) -> None:
    system, point = s.problem.study.units, accepted.point
    losses = [
        float(units.to_display(value, "pressure", system))
        for value in (point.loss, *point.shop, *point.model, *point.both, accepted.low, accepted.high)
    ]
    flows = (
        100 * point.share, float(units.to_display(point.mass_flow, "mass flow", system)),
        point.volume_flow / volume_unit(accepted.stream, system)[1], point.Re,
    )
    shown: list[Value] = [*losses] if accepted.possible else [*losses[:-2], TOO_COARSE, "-"]
    styles = ["number"] * 11 + ["accept"] * 2
    grid.row((*flows, *shown), (0, *(decimals([v], 4) for v in flows[1:3]), 0, *(places for _ in losses)), styles)
    grid.at -= 1
    grid.cell(_MEASURED, None, places, "fill in")
    if accepted.possible:
        _judge(grid, *losses[-2:])
    grid.at += 1


def _judge(grid: Grid, low: float, high: float) -> None:
    """The cell to fill in turns red above what is accepted, and where so little is lost that fins may be missing."""
    tiny = 1e-9
    for criterion in (
        {"criteria": ">", "value": high}, {"criteria": "between", "minimum": tiny, "maximum": low - tiny},
    ):
        rule = {"type": "cell", "format": grid.look("failed"), **criterion}
        if all(abs(value) < 1e300 for value in criterion.values() if isinstance(value, float)):
            grid.sheet.conditional_format(grid.at, _MEASURED, grid.at, _MEASURED, rule)
