"""The tank end seen from the left: ports in true shape in their chambers, seal land, and the mouths of passages behind."""

from optimize.drawing.core_shape import CoreShape, PortPlace
from optimize.drawing.dimensions import horizontal, leader, vertical
from optimize.drawing.figures import Figures
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
from optimize.drawing.port_outline import outline, strips
from optimize.drawing.primitives import Circle, Path, Primitive, Text, View, line, rectangle

LEFT, RIGHT = 27.0, 56.0  # room for dimensions and texts on paper


def end_view(shape: CoreShape, view: View, figures: Figures) -> list[Primitive]:
    """The view, u against the stack (first angle), v from the pocket's floor."""
    H, T = shape.height, shape.thickness
    low, high = H / 2 - shape.pocket[1] / 2, H / 2 + shape.pocket[1] / 2
    top = max(T, shape.pocket[2] + shape.pocket[3])
    found = profile(shape, view, low, high)
    found.append(rectangle("OUTLINE", view, 0, 0, H, T))
    found += _chambers(shape, view)
    for place in _seen_ports(shape):
        found += _port(shape, view, place)
    found += _port_texts(shape, view, figures, high)
    found += _dimensions(shape, view, figures, (low, high), top)
    if shape.room["width_clearance"] < 0:
        found += beyond(view, 0, 0, low, T) + beyond(view, high, 0, H, T)
    x, y = view.at(low, top)
    return found + view_title((x - STUB, y + 13), "Tank end", "from the left; passages seen through the port blue")


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
    found: list[Primitive] = [Path(edge, (points[0],), closed=True), Path("THIN" if place.left else "HIDDEN", (points[1],), closed=True)]
    if place.left:
        mouths = tuple(view.many([(H - y, z) for y, z in strip]) for strip in strips(shape, place))
        found += [Path("WATER", mouths, closed=True, filled=True), Path("THIN", mouths, closed=True)] if mouths else []
    found.append(Circle("POCKET", view.at(axis, middle), shape.port.values["line_bore"] / 2 * view.scale))
    reach_u, reach_v = shape.port.width / 2 + shape.land + 2 / view.scale, shape.port.height / 2 + shape.land + 2 / view.scale
    found.append(line("CENTRE", view.at(axis - reach_u, middle), view.at(axis + reach_u, middle)))
    found.append(line("CENTRE", view.at(axis, middle - reach_v), view.at(axis, middle + reach_v)))
    x, y = view.at(axis - reach_u, middle)
    text = "in" if place == shape.inlet else "out" if place.left else "out, far tank"
    if len(_seen_ports(shape)) == 1:
        text = "in; out on far tank"
    return [*found, Text("FLOW", (x - 0.6, y + 0.8), text, anchor="end")]


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
    lines = [
        f"port {shape.port.name}", *port_size(shape, figures),
        f"line Ø{figures.length(shape.port.values['line_bore'], shape.bands.get('port.line_bore'))}",
        f"seal land {figures.length(shape.land, shape.bands.get('seal_land'))}",
        "chamber inside",
        f"{figures.length(shape.chamber_height, both=False)} × {figures.length(shape.chamber_width, both=False)} {figures.unit}",
    ]
    tip = view.at(H - place.y + shape.port.width / 2 * 0.7, place.z + shape.port.height * (0.85 if shape.port.shape == "round" else 0.5))
    edge = max(view.at(high, 0)[0], view.at(H, 0)[0])
    return leader(tip, (edge + 6.0, view.at(0, shape.pocket[2])[1] - 6.5), lines)


def _dimensions(
    shape: CoreShape, view: View, figures: Figures, pocket: tuple[float, float], top: float
) -> list[Primitive]:
    factor, y = 1 / view.scale, view.at(0, 0)[1]
    room = shape.room["width_clearance"]
    pocket_text = f"pocket {figures.length(shape.pocket[1], both=room >= 0)}, {room_text(figures, room)}"
    found: list[Primitive] = [
        horizontal(view.at(0, 0), view.at(shape.height, 0), y - 11,
                   reference(figures, shape.height, stack_band(shape)), factor),
        horizontal(view.at(pocket[0], 0), view.at(pocket[1], 0), y - 18, pocket_text, factor, room_layer(room)),
    ]
    level = min(view.at(pocket[0], 0)[0], view.at(0, 0)[0]) - STUB - 4
    for i, place in enumerate(dict.fromkeys(p for p in (shape.inlet, shape.outlet) if p.left)):
        axis, middle = shape.height - place.y, place.z + shape.port.height / 2
        if i == 0 or place.z != shape.inlet.z:
            found.append(vertical(view.at(axis, 0), view.at(axis, middle), level + 7 * i, figures.length(middle), factor))
        if shape.header != "centre" or shape.banks > 1:
            found.append(horizontal(view.at(axis, middle), view.at(shape.height, shape.thickness), view.at(0, top)[1] + 5 + 6 * i,
                                    figures.length(place.y), factor, side="left"))
    return found
