"""The air face seen with the air: the stack between its side plates, bars, fins, tanks, the pocket around."""

from optimize.drawing.core_shape import CoreShape
from optimize.drawing.dimensions import vertical
from optimize.drawing.figures import Figures
from optimize.drawing.fin_profiles import has_walls, wave_line
from optimize.drawing.lettering import fit
from optimize.drawing.pocket_view import (
    bar,
    beyond,
    flow_line,
    reference,
    room_text,
    stack_band,
    view_title,
)
from optimize.drawing.primitives import Circle, Path, Point, Primitive, Text, View, line, rectangle
from optimize.drawing.section_view import joined

LEFT, RIGHT, ABOVE, BELOW = 30.0, 22.0, 2.0, 17.0  # room for dimensions on paper
_ZONE, _MOST_WALLS, _FINEST = 26.0, 1000, 0.3  # fins are drawn so far from the bars, so many, this far apart on paper


def face_view(shape: CoreShape, view: View, figures: Figures) -> list[Primitive]:
    """The view, u along the coolant from the left tank face, v along the stack."""
    L, H = shape.length, shape.height
    u0, v0 = (L - shape.pocket[0]) / 2, (H - shape.pocket[1]) / 2
    ends = (-shape.tank_length - shape.wall, L + shape.tank_length + shape.wall)
    found: list[Primitive] = [rectangle("POCKET", view, u0, v0, L - u0, H - v0)]
    found += _plates(shape, view) + _passages(shape, view) + _fins(shape, view)
    found += [rectangle("OUTLINE", view, 0, 0, L, H), *_tanks(shape, view)]
    found += _flows(shape, view) + _dimensions(shape, view, figures)
    if shape.room["width_clearance"] < 0:
        found += beyond(view, ends[0], 0, ends[1], v0) + beyond(view, ends[0], H - v0, ends[1], H)
    if shape.room["length_clearance"] < 0:
        found += beyond(view, ends[0], 0, u0, H) + beyond(view, L - u0, 0, ends[1], H)
    x, y = view.at(min(u0, ends[0]), min(v0, 0))
    n = shape.passages
    names = [fit(name, 2.5, 32.0) for name in (shape.air.name, shape.coolant.name)]
    under = f"{n + 1} air passages ({names[0]}), {n} coolant passages ({names[1]}); fins drawn at the ends"
    return found + view_title((x, y - 8.5), "Air face, seen with the air", under)


def _plates(shape: CoreShape, view: View) -> list[Primitive]:
    """Side plates, and the edges of the parting plates in one path."""
    L, H, edges = shape.length, shape.height, []
    for i in range(shape.passages):
        low, high = shape.coolant_passage(i)
        edges += [view.many([(0, v), (L, v)]) for v in (low - shape.plate, high + shape.plate)]
    return [
        *bar(view, 0, 0, L, shape.side_plate), *bar(view, 0, H - shape.side_plate, L, H), Path("THIN", tuple(edges)),
    ]


def _passages(shape: CoreShape, view: View) -> list[Primitive]:
    """Bars: those of the coolant lie along the whole face, those of the air close its passages at both ends."""
    L, found = shape.length, list[Primitive]()
    for i in range(shape.passages):
        low, high = shape.coolant_passage(i)
        found.append(rectangle("METAL", view, 0, low - shape.plate, L, high + shape.plate, filled=True))
    for i in range(shape.passages + 1):
        low, high = shape.air_passage(i)
        for u in (0.0, L - shape.air_bar):
            found += bar(view, u, low, u + shape.air_bar, high)
    return found


def _fins(shape: CoreShape, view: View) -> list[Primitive]:
    """Fins at their own pitch beside both bars, thinned out where they would run together on paper."""
    fins, n, low = shape.air, shape.passages + 1, shape.air_bar
    if not has_walls(fins):
        return []
    pitch = fins.pitch * view.scale
    zone = min(_ZONE, _MOST_WALLS / (2 * n) * max(pitch, _FINEST)) / view.scale
    length = min(zone, (shape.length - 2 * shape.air_bar) / 2)
    wave = wave_line(fins, 0.0, length)
    keep = 1 if pitch >= _FINEST else int(_FINEST / pitch) + 1
    if keep > 1:
        wave = tuple(p for i, p in enumerate(wave) if (i // 2) % keep == 0)
    runs = []
    for i in range(n):
        base = shape.air_passage(i)[0]
        runs += [view.many([(low + u, base + v) for u, v in wave])]
        runs += [view.many([(shape.length - low - u, base + v) for u, v in wave])]
    return [Path("FINS", tuple(runs))]


def _tanks(shape: CoreShape, view: View) -> list[Primitive]:
    """Both tanks from above, their chambers and the bores of the ports dashed."""
    found: list[Primitive] = []
    t, w, L = shape.tank_length, shape.wall, shape.length
    for left in (True, False):
        far = -t if left else L + t
        near, outside = (0.0, far - w) if left else (L, far + w)
        found.append(rectangle("OUTLINE", view, min(near, outside), 0, max(near, outside), shape.height))
        groups = joined(shape, left) if shape.banks > 1 else [(0, 0)]
        for first, last in groups:
            v0, v1 = shape.edge(first), shape.edge(last) + shape.chamber_width
            found.append(rectangle("HIDDEN", view, min(near, far), v0, max(near, far), v1))
    for place in (shape.inlet, shape.outlet):
        far = -t if place.left else L + t
        sign = -1.0 if place.left else 1.0
        half = shape.port.width / 2
        found += [line("HIDDEN", view.at(far, v), view.at(far + sign * w, v)) for v in (place.y - half, place.y + half)]
        end = far + sign * (w + 8.0 / view.scale)
        found.append(line("CENTRE", view.at(far - sign * t / 2, place.y), view.at(end, place.y)))
    return found


def _flows(shape: CoreShape, view: View) -> list[Primitive]:
    """Air into the paper; the way of the coolant through the banks."""
    turn, points = shape.tank_length / 2, list[Point]()
    for k in range(shape.banks):
        v = (k + 0.5) * shape.height / shape.banks
        ends = (-turn, shape.length + turn)
        points += [(u, v) for u in (ends if k % 2 == 0 else ends[::-1])]
    inlet, outlet = shape.inlet, shape.outlet
    reach = shape.tank_length + shape.wall + 7.0 / view.scale
    points = [(-reach, inlet.y), (-turn, inlet.y), *points]
    points += [(points[-1][0], outlet.y), (-reach if outlet.left else shape.length + reach, outlet.y)]
    found = flow_line([view.at(*p) for p in points]) if shape.side_by_side or shape.passes == 1 else []
    centre = view.at(0.5 * shape.length, shape.air_passage(shape.passages // 2 + 1 if shape.passages > 1 else 0)[0])
    x, y = centre[0], centre[1] + shape.air.spacing * view.scale / 2
    r = 2.4
    cross = tuple(((x - s * r * 0.7, y - r * 0.7), (x + s * r * 0.7, y + r * 0.7)) for s in (1, -1))
    return [*found, Circle("FLOW", (x, y), r), Path("FLOW", cross), Text("FLOW", (x + 3.4, y - 1.2), "air")]


def _dimensions(shape: CoreShape, view: View, figures: Figures) -> list[Primitive]:
    factor, H, room = 1 / view.scale, shape.height, shape.room["width_clearance"]
    u0, v0 = (shape.length - shape.pocket[0]) / 2, (H - shape.pocket[1]) / 2
    outer = -shape.tank_length - shape.wall
    left = min(view.at(u0, 0)[0], view.at(outer, 0)[0])
    right = max(view.at(shape.length - u0, 0)[0], view.at(shape.length - outer, 0)[0])
    text = f"pocket {figures.length(shape.pocket[1])}"
    return [
        vertical(view.at(outer, 0), view.at(outer, H), left - 14, reference(figures, H, stack_band(shape)), factor),
        vertical(view.at(shape.length - u0, v0), view.at(shape.length - u0, H - v0), right + 11, text, factor),
        Text(
            "MISFIT" if room < 0 else "TEXT", (right + 17.5, view.at(0, H / 2)[1]), room_text(figures, room),
            anchor="middle", turn=90.0,
        ),
    ]


