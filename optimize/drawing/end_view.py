"""The tank end from the left: ports in true shape in their chambers, seal land, the mouths of passages behind."""

from itertools import pairwise

from optimize.drawing.core_shape import CoreShape, PortPlace
from optimize.drawing.dimensions import horizontal, leader, vertical
from optimize.drawing.figures import Figures
from optimize.drawing.lettering import fit, width
from optimize.drawing.pocket_view import (
    STUB,
    beyond,
    profile,
    reference,
    room_layer,
    room_text,
    stack_band,
    view_title,
)
from optimize.drawing.port_outline import COARSE, outline, strips
from optimize.drawing.primitives import Circle, Path, Primitive, Text, View, line, rectangle

LEFT, RIGHT = 27.0, 54.0  # room for dimensions and texts on paper


def end_view(shape: CoreShape, view: View, figures: Figures) -> list[Primitive]:
    """The view, u against the stack (first angle), v from the pocket's floor."""
    H, T = shape.height, shape.thickness
    low, high = H / 2 - shape.pocket[1] / 2, H / 2 + shape.pocket[1] / 2
    top = max(T, shape.pocket[2] + shape.pocket[3])
    found = profile(shape, view, (low, high), (0.0, H), names_left=True)
    found.append(rectangle("OUTLINE", view, 0, 0, H, T))
    found += _chambers(shape, view)
    for place in _seen_ports(shape):
        found += _port(shape, view, place)
    found += _port_texts(shape, view, figures, high)
    found += _dimensions(shape, view, figures, (low, high))
    if shape.room["width_clearance"] < 0:
        found += beyond(view, 0, 0, low, T) + beyond(view, high, 0, H, T)
    x, y = view.at(min(low, 0.0), top)
    return found + view_title((x - STUB, y + 12), "Tank end", "from the left; passages seen through the port blue")


def _seen_ports(shape: CoreShape) -> list[PortPlace]:
    """The inlet, and the outlet where it is not straight behind it."""
    behind = (shape.inlet.y, shape.inlet.z) == (shape.outlet.y, shape.outlet.z)
    return [shape.inlet] if behind else [shape.inlet, shape.outlet]


def _chambers(shape: CoreShape, view: View) -> list[Primitive]:
    found: list[Primitive] = []
    for bank in range(shape.banks):
        for layer in range(shape.layers):
            u, v = shape.height - shape.edge(bank), shape.floor(layer)
            found.append(rectangle("HIDDEN", view, u - shape.chamber_width, v, u, v + shape.chamber_height))
    return found


def _port(shape: CoreShape, view: View, place: PortPlace) -> list[Primitive]:
    """Edge, seal land, line bore, axes; dashed where it is on the far tank."""
    edge, H = "OUTLINE" if place.left else "HIDDEN", shape.height
    axis, middle = H - place.y, place.z + shape.port.height / 2
    points = [view.many([(axis - a, place.z + b) for a, b in outline(shape.port, grow)]) for grow in (0.0, shape.land)]
    land = Path("THIN" if place.left else "HIDDEN", (points[1],), closed=True)
    found: list[Primitive] = [Path(edge, (points[0],), closed=True), land]
    if place.left:
        mouths = tuple(view.many([(H - y, z) for y, z in strip]) for strip in strips(shape, place, COARSE))
        found += [Path("WATER", mouths, closed=True, filled=True), Path("THIN", mouths, closed=True)] if mouths else []
    found.append(Circle("POCKET", view.at(axis, middle), shape.port.values["line_bore"] / 2 * view.scale))
    beside = shape.land + 2 / view.scale
    reach_u, reach_v = shape.port.width / 2 + beside, shape.port.height / 2 + beside
    found.append(line("CENTRE", view.at(axis - reach_u, middle), view.at(axis + reach_u, middle)))
    found.append(line("CENTRE", view.at(axis, middle - reach_v), view.at(axis, middle + reach_v)))
    side = place.y - shape.edge(place.bank)  # free beside the port, towards the left on paper
    text = "in" if place == shape.inlet else "out" if place.left else "out, far tank"
    room = (shape.chamber_width - side) * view.scale - reach_u * view.scale - 1.0
    if width(text, 2.5) <= room:
        x, y = view.at(axis - reach_u, middle)
        return [*found, Text("FLOW", (x - 0.6, y + 0.8), text, anchor="end")]
    x, y = view.at(axis, middle + reach_v)
    return [*found, Text("FLOW", (x + 0.8, y - 0.4), text)]


def port_size(shape: CoreShape, figures: Figures) -> list[str]:
    """The size of the port in words and figures, with tolerances."""
    values, bands = shape.port.values, shape.bands

    def size(key: str, sign: str = "") -> str:
        return sign + figures.length(values[key], bands.get(f"port.{key}"))

    if shape.port.shape == "round":
        return [size("bore", "Ø")]
    if shape.port.shape == "D":
        return [f"D: {size('radius', 'R')}", f"height {size('open_height')}"]
    return [f"slot {size('height')}", f"by {size('width')}"]


def _port_texts(shape: CoreShape, view: View, figures: Figures, high: float) -> list[Primitive]:
    place, H = shape.inlet, shape.height
    inside = [figures.length(size, both=False) for size in (shape.chamber_height, shape.chamber_width)]
    lines = [
        f"port {fit(shape.port.name, 2.5, 34.0)}", *port_size(shape, figures),
        f"line Ø{figures.length(shape.port.values['line_bore'], shape.bands.get('port.line_bore'))}",
        f"seal land {figures.length(shape.land, shape.bands.get('seal_land'))}",
        "chamber inside",
        f"{inside[0]} × {inside[1]} {figures.unit}",
        *(["both tanks alike"] if len(_seen_ports(shape)) == 1 else []),
    ]
    share = 0.85 if shape.port.shape == "round" else 0.5
    tip = view.at(H - place.y + shape.port.width / 2 * 0.7, place.z + shape.port.height * share)
    edge = max(view.at(high, 0)[0], view.at(H, 0)[0])
    return leader(tip, (edge + 6.0, view.at(0, shape.pocket[2])[1] - 6.5), lines)


def _dimensions(shape: CoreShape, view: View, figures: Figures, pocket: tuple[float, float]) -> list[Primitive]:
    """Stack, pocket and the places of the ports."""
    factor, y, H = 1 / view.scale, view.at(0, 0)[1], shape.height
    room, places = shape.room["width_clearance"], list(dict.fromkeys(p for p in (shape.inlet, shape.outlet) if p.left))
    pocket_text = f"pocket {figures.length(shape.pocket[1], both=False)}, {room_text(figures, room)}"
    found: list[Primitive] = []
    if shape.header != "centre" or shape.banks > 1:
        y += 4.0
        axes = sorted({0.0, *(place.y for place in places)})
        for low, high in pairwise(axes):
            ends, text = (view.at(H - high, 0), view.at(H - low, 0)), figures.length(high - low, both=False)
            found.append(horizontal(*ends, y - 11, text, factor))
        y -= 7.0
    found += [
        horizontal(view.at(0, 0), view.at(H, 0), y - 11, reference(figures, H, stack_band(shape)), factor),
        horizontal(view.at(pocket[0], 0), view.at(pocket[1], 0), y - 18, pocket_text, factor, room_layer(room)),
    ]
    level = min(view.at(pocket[0], 0)[0], view.at(0, 0)[0]) - STUB - 4
    for i, z in enumerate(sorted({place.z for place in places})):
        axis, middle = H - places[-1].y, z + shape.port.height / 2
        found.append(vertical(view.at(axis, 0), view.at(axis, middle), level + 7 * i, figures.plain(middle), factor))
    return found + _flange(shape, view, figures, pocket)


def _flange(shape: CoreShape, view: View, figures: Figures, pocket: tuple[float, float]) -> list[Primitive]:
    """How far the upper port, with land and wall above it, stands out over the flange."""
    room, depth = shape.room["port_flange_clearance"], shape.pocket[2]
    if room >= 0:
        return []
    tip = view.at(shape.height - shape.outlet.y + shape.port.width / 3, depth - room)
    edge = view.at(max(pocket[1], shape.height), depth)
    text = f"port over flange by {figures.length(-room, both=False)} {figures.unit}"
    return leader(tip, (edge[0] + 6.0, edge[1] + 2.5), [text], "MISFIT")
