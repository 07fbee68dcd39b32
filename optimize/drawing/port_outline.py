"""A port in true shape, and what of the core's coolant face lies straight behind it.

Local axes [mm]: a along the stack from the port's axis, b across the thickness from its lower edge. The flat of a D
lies towards the flange, as its catalogue entry has it: height counted from the crown of the arc.
"""

from dataclasses import dataclass
from math import asin, degrees, sqrt

from optimize.drawing.core_shape import CoreShape, PortPlace, PortShape
from optimize.drawing.primitives import Point, arc_points

_FINE, COARSE = 48, 10  # steps across a passage mouth: for its area, for its picture


@dataclass(frozen=True)
class Opening:
    """What a port opens [mm2]: itself, its chamber's face, the coolant face of its pass, and what it stands before."""

    area: float
    tank_face: float
    coolant_face: float
    straight_before: float
    passages: int  # that lie before it, at least in part
    of_passages: int


def outline(port: PortShape, grow: float = 0.0) -> tuple[Point, ...]:
    """The port's edge as a closed polyline, counter-clockwise; `grow` > 0 for the land around it."""
    if port.shape == "round":
        R = port.width / 2
        return arc_points((0.0, R), R + grow, 0.0, 360.0, 64)[:-1]
    if port.shape == "slot":
        return _stadium(port, grow)
    R, h = port.values["radius"], port.values["open_height"]
    reach = R + grow
    angle = degrees(asin(max(-1.0, min(1.0, (h + grow - R) / reach))))
    return arc_points((0.0, R), reach, 180.0 - angle, 360.0 + angle, 64)


def _stadium(port: PortShape, grow: float) -> tuple[Point, ...]:
    r, half = port.height / 2, (port.width - port.height) / 2
    right = arc_points((half, r), r + grow, -90.0, 90.0)
    return right + arc_points((-half, r), r + grow, 90.0, 270.0)


def chord(port: PortShape, a: float) -> tuple[float, float] | None:
    """From and to across the thickness at a place along the stack; None beside the port."""
    if abs(a) >= port.width / 2:
        return None
    if port.shape == "slot":
        r, half = port.height / 2, (port.width - port.height) / 2
        reach = sqrt(max(r * r - max(abs(a) - half, 0.0) ** 2, 0.0))
        return r - reach, r + reach
    R = port.values["radius"] if port.shape == "D" else port.width / 2
    reach = sqrt(max(R * R - a * a, 0.0))
    return R - reach, min(R + reach, port.height)


def strips(shape: CoreShape, place: PortPlace, steps: int = _FINE) -> list[tuple[Point, ...]]:
    """The mouths of coolant passages seen through a port: polygons in (y, z) of the core."""
    found = []
    for i in range(shape.passages):
        low, high = shape.coolant_passage(i)
        low, high = max(low, place.y - shape.port.width / 2), min(high, place.y + shape.port.width / 2)
        if high > low:
            found += _seen(shape, place, low, high, steps)
    return found


def _seen(shape: CoreShape, place: PortPlace, low: float, high: float, steps: int) -> list[tuple[Point, ...]]:
    """The part of the port between two places along the stack that opens on its pass."""
    floor = shape.coolant_bar + place.layer * (shape.pass_width + shape.divider)
    roof = floor + shape.pass_width
    below, above = [], []
    for k in range(steps + 1):
        y = low + (high - low) * k / steps
        ends = chord(shape.port, y - place.y)
        if ends is not None:
            z0, z1 = max(place.z + ends[0], floor), min(place.z + ends[1], roof)
            if z1 > z0:
                below.append((y, z0))
                above.append((y, z1))
    return [tuple(below + above[::-1])] if len(below) > 1 else []


def polygon_area(points: tuple[Point, ...]) -> float:
    """Area within a closed polyline, by the shoelace formula."""
    following = (*points[1:], points[0])
    return abs(sum(p[0] * q[1] - q[0] * p[1] for p, q in zip(points, following, strict=True))) / 2


def opening(shape: CoreShape, place: PortPlace) -> Opening:
    """What the port at a place opens."""
    seen, in_pass = strips(shape, place), shape.passages / shape.banks
    return Opening(
        area=shape.port.area, tank_face=shape.chamber_height * shape.chamber_width,
        coolant_face=in_pass * shape.coolant.spacing * shape.pass_width,
        straight_before=sum(polygon_area(points) for points in seen), passages=len(seen), of_passages=round(in_pass),
    )
