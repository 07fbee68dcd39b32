"""Section A-A along the coolant, as the core lies in its pocket: tanks, chambers, ports, passes, flange and lid."""

from optimize.drawing.core_shape import CoreShape, PortPlace
from optimize.drawing.dimensions import horizontal, vertical
from optimize.drawing.figures import Figures
from optimize.drawing.pocket_view import (
    STUB,
    beyond,
    block_arrow,
    flow_line,
    metal,
    overall_band,
    profile,
    reference,
    room_layer,
    room_text,
    view_title,
)
from optimize.drawing.primitives import Point, Primitive, Text, View, line, rectangle

LEFT, RIGHT, ABOVE, BELOW = 30.0, 36.0, 22.0, 29.0  # room for dimensions on paper


def section_view(shape: CoreShape, view: View, figures: Figures) -> list[Primitive]:
    """The section, u along the core from its left tank face, v from the pocket's floor."""
    middle = shape.length / 2
    low, high = middle - shape.pocket[0] / 2, middle + shape.pocket[0] / 2
    top = max(shape.thickness, shape.pocket[2] + shape.pocket[3])
    out = shape.tank_length + shape.wall
    found = profile(shape, view, (low, high), (-out, shape.length + out), names_left=not shape.outlet.left)
    found += _core(shape, view) + _tank(shape, view, True) + _tank(shape, view, False)
    for place, name in ((shape.inlet, "in"), (shape.outlet, "out")):
        found += _line(shape, view, place, name, (low, high))
    found += _coolant(shape, view, (low, high)) + _air(view, shape, top)
    found += _across(shape, view, figures, (low, high)) + _upright(shape, view, figures, (low, high))
    found += _misfit(shape, view, (low, high))
    title = view.at(low, top)
    return found + view_title((title[0] - STUB, title[1] + ABOVE - 10), "A–A: ports and a coolant passage")


def _core(shape: CoreShape, view: View) -> list[Primitive]:
    """Coolant bars and dividers cut, the passage between them open."""
    T, L, bar = shape.thickness, shape.length, shape.coolant_bar
    found: list[Primitive] = [rectangle("WATER", view, 0, bar, L, T - bar, filled=True)]
    edges = [(0.0, bar), (T - bar, T)]
    for k in range(1, shape.layers):
        start = bar + k * shape.pass_width + (k - 1) * shape.divider
        edges.append((start, start + shape.divider))
    for v0, v1 in edges:
        found += metal(view, 0, v0, L, v1)
    return found


def joined(shape: CoreShape, left: bool) -> list[tuple[int, int]]:
    """Chambers of a tank that the coolant goes through as one, first and last, counted from the inlet's side.

    >>> from types import SimpleNamespace
    >>> joined(SimpleNamespace(passes=3), True), joined(SimpleNamespace(passes=3), False)
    ([(0, 0), (1, 2)], [(0, 1), (2, 2)])
    """
    found, k = [], 0
    while k < shape.passes:
        alone = (left and k == 0) or k == shape.passes - 1
        found.append((k, k) if alone else (k, k + 1))
        k += 1 if alone else 2
    return found


def _tank(shape: CoreShape, view: View, left: bool) -> list[Primitive]:
    """A tank cut: end wall with its port, sides, and the walls between chambers where the coolant must not pass."""
    t, w, T = shape.tank_length, shape.wall, shape.thickness
    near, far = (0.0, -t) if left else (shape.length, shape.length + t)
    outside = far - w if left else far + w
    found: list[Primitive] = [rectangle("WATER", view, near, w, far, T - w, filled=True)]
    cuts = [(0.0, w), (T - w, T)]
    if shape.layers > 1:
        cuts += [(shape.floor(last + 1) - w, shape.floor(last + 1)) for _, last in joined(shape, left)[:-1]]
    for v0, v1 in cuts:
        found += metal(view, min(near, far), v0, max(near, far), v1, 135.0)
    solid, level = [], 0.0
    for place in sorted({p for p in (shape.inlet, shape.outlet) if p.left is left}, key=lambda p: (p.z, p.bank)):
        if place.z >= level:
            solid.append((level, place.z))
            level = place.z + shape.port.height
            found.append(rectangle("WATER", view, far, place.z, outside, level, filled=True))
    for v0, v1 in [*solid, (level, T)]:
        if v1 > v0:
            found += metal(view, min(far, outside), v0, max(far, outside), v1, 135.0)
    return found


def _line(shape: CoreShape, view: View, place: PortPlace, name: str, pocket: tuple[float, float]) -> list[Primitive]:
    """The bore of the coolant line outside the tank, through the casting, and the flow in it."""
    half, z = shape.port.values["line_bore"] / 2, place.z + shape.port.height / 2
    sign = -1.0 if place.left else 1.0
    start = -shape.tank_length - shape.wall if place.left else shape.length + shape.tank_length + shape.wall
    wall = min(pocket[0], start) if place.left else max(pocket[1], start)
    end = wall + sign * 13.0 / view.scale
    found: list[Primitive] = [line("POCKET", view.at(start, v), view.at(end, v)) for v in (z - half, z + half)]
    found.append(line("CENTRE", view.at(start - sign * shape.tank_length, z), view.at(end + sign * 2 / view.scale, z)))
    x, y = view.at(wall, z + half)
    hidden = shape.side_by_side and shape.inlet.left is shape.outlet.left
    if not (hidden and name == "out"):
        text = "in, out" if hidden else name
        found.append(Text("FLOW", (x + sign * 2.0, y + 0.8), text, anchor="end" if sign < 0 else "start"))
    return found


def _coolant(shape: CoreShape, view: View, pocket: tuple[float, float]) -> list[Primitive]:
    """The way of the coolant: through every pass where they lie through the thickness, else along the first bank."""
    turn, reach = shape.tank_length / 2, 11.0 / view.scale
    points: list[Point] = []
    for k in range(shape.layers):
        z = shape.coolant_bar + k * (shape.pass_width + shape.divider) + shape.pass_width / 2
        ends = (-turn, shape.length + turn)
        points += [(u, z) for u in (ends if k % 2 == 0 else ends[::-1])]
    inlet = shape.inlet.z + shape.port.height / 2
    points = [(min(pocket[0], -shape.tank_length - shape.wall) - reach, inlet), (-turn, inlet), *points]
    if not shape.side_by_side:
        z = shape.outlet.z + shape.port.height / 2
        away = shape.length + shape.tank_length + shape.wall
        end = min(pocket[0], shape.length - away) - reach if shape.outlet.left else max(pocket[1], away) + reach
        points += [(points[-1][0], z), (end, z)]
    return flow_line([view.at(*point) for point in points])


def _air(view: View, shape: CoreShape, top: float) -> list[Primitive]:
    """Air through the lid's side into the core and out of its floor."""
    found: list[Primitive] = []
    for share in (0.25, 0.5, 0.75):
        x, y = view.at(share * shape.length, top)
        floor = view.at(0, 0)[1]
        found += [block_arrow((x, y + 11), (x, y + 2)), block_arrow((x, floor - 1.2), (x, floor - 7.5))]
    x, y = view.at(0.5 * shape.length, top)
    return [*found, Text("FLOW", (x + 3, y + 7.5), "air in"), Text("FLOW", (x + 3, view.at(0, 0)[1] - 5.5), "air out")]


def _across(shape: CoreShape, view: View, figures: Figures, pocket: tuple[float, float]) -> list[Primitive]:
    """Dimensions along the core, below it."""
    factor, y = 1 / view.scale, view.at(0, 0)[1]
    L, t, w = shape.length, shape.tank_length, shape.wall
    room = shape.room["length_clearance"]
    pocket_text = f"pocket {figures.length(shape.pocket[0], both=room >= 0)}, {room_text(figures, room)}"
    bottom = [view.at(u, 0) for u in (-t - w, -t, 0, L, L + t, L + t + w)]
    return [
        horizontal(bottom[2], bottom[3], y - 11, figures.length(L, shape.bands.get("length")), factor),
        horizontal(bottom[0], bottom[1], y - 11, figures.length(w, shape.bands.get("tank_wall")), factor, side="left"),
        horizontal(bottom[3], bottom[4], y - 11, figures.length(t, shape.bands.get("tank_length")), factor),
        horizontal(bottom[0], bottom[5], y - 18, reference(figures, shape.overall, overall_band(shape)), factor),
        horizontal(view.at(pocket[0], 0), view.at(pocket[1], 0), y - 25, pocket_text, factor, room_layer(room)),
    ]


def _upright(shape: CoreShape, view: View, figures: Figures, pocket: tuple[float, float]) -> list[Primitive]:
    """Dimensions from floor, flange and lid."""
    factor, depth, proud, T = 1 / view.scale, shape.pocket[2], shape.pocket[3], shape.thickness
    room, out = shape.room["lid_clearance"], shape.tank_length + shape.wall
    right = view.at(max(pocket[1], shape.length + out), 0)[0]
    edge = view.at(min(pocket[0], -out), 0)[0]
    outer, stub = view.at(shape.length + shape.tank_length, T), right + STUB
    found: list[Primitive] = [
        vertical(view.at(-shape.tank_length, 0), view.at(-shape.tank_length, T), edge - 21,
                 figures.length(T, shape.bands.get("thickness")), factor),
        vertical((right, view.at(0, 0)[1]), (stub, view.at(0, depth)[1]), stub + 5,
                 f"depth {figures.plain(depth)}", factor, side="down"),
    ]
    if proud > 0:
        found.append(vertical((stub, view.at(0, depth)[1]), (stub, view.at(0, depth + proud)[1]), stub + 5,
                              figures.plain(proud), factor))
    found.append(vertical(outer, (stub, view.at(0, depth + proud)[1]), stub + 12,
                          room_text(figures, room), factor, room_layer(room), "down"))
    return found


def _misfit(shape: CoreShape, view: View, pocket: tuple[float, float]) -> list[Primitive]:
    ends = (-shape.tank_length - shape.wall, shape.length + shape.tank_length + shape.wall)
    lid, found = shape.pocket[2] + shape.pocket[3], list[Primitive]()
    if shape.room["length_clearance"] < 0:
        found += beyond(view, ends[0], 0, pocket[0], shape.thickness)
        found += beyond(view, pocket[1], 0, ends[1], shape.thickness)
    if shape.room["lid_clearance"] < 0:
        found += beyond(view, ends[0], lid, ends[1], shape.thickness)
    return found


