"""Details to a larger scale: the first passages seen with the air and with the coolant, both fins along their flow."""

from math import isfinite, radians, sin

from optimize.drawing.core_shape import Band, CoreShape, Fins
from optimize.drawing.dimensions import chain, horizontal, leader
from optimize.drawing.figures import Figures
from optimize.drawing.fin_profiles import across, along, behind, has_walls, is_strip
from optimize.drawing.lettering import fit
from optimize.drawing.pocket_view import bar, view_title
from optimize.drawing.primitives import Path, Point, Primitive, Text, View, arrow_head, line, rectangle

SCALES = (20.0, 10.0, 5.0, 2.0, 1.0, 0.5, 0.2)
LABELS, ABOVE, BELOW, ALONG = 40.0, 17.0, 16.0, 35.0  # room on paper; ALONG is the height of a fin along its flow
_SHOWN = 0.4  # of the second passage
_ASIDE, _HIGH = 5.0, 13.0


def stack_shown(shape: CoreShape) -> float:
    """Height of the part of the stack that the details show [mm]."""
    return shape.air_passage(1)[0] + _SHOWN * shape.air.spacing if shape.passages else shape.height


def detail_scale(shape: CoreShape, room: tuple[float, float]) -> float:
    """The largest scale in which the part shown, its dimensions and a few fins find room (width, height) on paper."""
    high = room[1] - ABOVE - BELOW
    wide = _shown_width(room[0])
    needed = max(_few(shape.air, shape.air_bar), _few(shape.coolant, shape.coolant_bar))
    return next((s for s in SCALES if stack_shown(shape) * s <= high and needed * s <= wide), SCALES[-1])


def _few(fins: Fins, edge: float) -> float:
    """A bar and three fins beside it."""
    return edge + 3.0 * fins.pitch if has_walls(fins) else 1.5 * edge


def _shown_width(room: float) -> float:
    return (room - LABELS - 4 * _ASIDE) / 2


def details(shape: CoreShape, at: Point, room: tuple[float, float], scale: float, figures: Figures) -> list[Primitive]:
    """Both corners of the stack in the room (width, height) above `at`, its lower left corner; heights at the first."""
    wide = _shown_width(room[0])
    first, y = at[0] + LABELS, at[1] + BELOW + max((room[1] - ABOVE - BELOW - stack_shown(shape) * scale) / 2, 0.0)
    second = View(first + wide + 2 * _ASIDE, y, scale)
    found = _across(shape, View(first, y, scale), wide / scale, True, figures)
    found += _heights(shape, View(first, y, scale), figures)
    return found + _across(shape, second, wide / scale, False, figures)


def fins_along(shape: CoreShape, at: Point, room: float, figures: Figures) -> list[Primitive]:
    """Both fins along their flow, side by side."""
    half = room / 2
    found = _along(shape, at, half - 6, True, figures)
    return found + _along(shape, (at[0] + half, at[1]), half - 6, False, figures)


def _across(shape: CoreShape, view: View, wide: float, with_air: bool, figures: Figures) -> list[Primitive]:
    """The corner of the stack looking with one of the flows: its own passages open, the other's bar from outside."""
    top = stack_shown(shape)
    wide = min(wide, shape.length if with_air else shape.thickness)
    found: list[Primitive] = bar(view, 0, 0, wide, shape.side_plate)
    levels = [shape.air_passage(0), shape.coolant_passage(0), (shape.air_passage(1)[0], top)]
    for i, (low, high) in enumerate(levels):
        if (i == 1) is with_air:
            found += bar(view, 0, low, wide, high)
        else:
            found += _passage(shape, view, (low, high), wide, with_air)
    for low, high in ((levels[0][1], levels[1][0]), (levels[1][1], levels[2][0])):
        found.append(rectangle("FINS", view, 0, low, wide, high, filled=True))
    found += [line("OUTLINE", view.at(0, 0), view.at(0, top)), line("OUTLINE", view.at(0, 0), view.at(wide, 0))]
    found += _broken(view, wide, top)
    found += _widths(shape, view, figures, with_air)
    name = "B: air side" if with_air else "C: coolant side"
    x, y = view.at(0, top)
    under = "seen with the air" if with_air else "with the coolant, no tank"
    return found + view_title((x - (8.0 if with_air else 0.0), y + ABOVE - 3.5), f"{name} ({ratio(view.scale)})", under)


def ratio(scale: float) -> str:
    """A scale as ISO 5455 writes it.

    >>> ratio(5.0), ratio(0.5), ratio(1.0)
    ('5:1', '1:2', '1:1')
    """
    return f"{scale:g}:1" if scale >= 1 else f"1:{1 / scale:g}"


def _passage(
    shape: CoreShape, view: View, level: tuple[float, float], wide: float, with_air: bool
) -> list[Primitive]:
    """A passage open towards the eye: its bar in section grey, its fins solid, what lies behind them thin."""
    fins, edge = (shape.air, shape.air_bar) if with_air else (shape.coolant, shape.coolant_bar)
    low, high = level
    found: list[Primitive] = [] if with_air else [rectangle("WATER", view, edge, low, wide, high, filled=True)]
    found += bar(view, 0, low, min(edge, wide), high)
    rest = wide - edge

    def placed(outlines: list[tuple[Point, ...]]) -> tuple[tuple[Point, ...], ...]:
        cut = [tuple((edge + u, min(low + v, high)) for u, v in outline) for outline in outlines]
        return tuple(view.many(outline) for outline in cut if max(v for _, v in outline) > min(v for _, v in outline))

    seen, solid = placed(behind(fins, rest)), placed(across(fins, rest))
    found += [Path("THIN", seen, closed=True)] if seen else []
    return found + ([Path("FINS", solid, closed=True, filled=True)] if solid else [])


def _broken(view: View, wide: float, top: float) -> list[Primitive]:
    """Where the core goes on: a thin line with zigzags, to the right and above."""
    corners = [view.at(wide, 0), view.at(wide, top), view.at(0, top)]
    (x, y0), (_, y1), (x0, _) = corners
    middle, across_ = (y0 + y1) / 2, (x0 + x) / 2
    zigzag = ((-1.5, 0.0), (-0.5, -1.2), (0.5, 1.2), (1.5, 0.0))
    upright = [(x, y0 - 2), *((x + off, middle + on) for on, off in zigzag), (x, y1 + 2)]
    flat = [(x0 - 2, y1), *((across_ + on, y1 + off) for on, off in zigzag), (x + 2, y1)]
    return [line("THIN", *upright), line("THIN", *flat)]


def _heights(shape: CoreShape, view: View, figures: Figures) -> list[Primitive]:
    """Side plate, spacings and plate, with their names."""
    air, coolant = shape.air_passage(0), shape.coolant_passage(0)
    rows = [
        (0.0, shape.side_plate, "side plate", shape.side_plate, "side_plate_thickness"),
        (*air, "air fins", shape.air.spacing, "air_fin.spacing"),
        (air[1], coolant[0], "plate", shape.plate, "plate_thickness"),
        (*coolant, "coolant", shape.coolant.spacing, "coolant_fin.spacing"),
    ]
    spans = [
        (view.at(0, low)[1], view.at(0, high)[1], f"{name} {figures.length(value, shape.bands.get(key), both=False)}")
        for low, high, name, value, key in rows
    ]
    return chain(spans, view.x - 4.0, view.x - 7.5, 1 / view.scale)


def _widths(shape: CoreShape, view: View, figures: Figures, with_air: bool) -> list[Primitive]:
    """The bar below; pitch and thickness of the fins above, where they have walls."""
    factor, part = 1 / view.scale, "air" if with_air else "coolant"
    fins, edge = (shape.air, shape.air_bar) if with_air else (shape.coolant, shape.coolant_bar)
    low = 0.0 if with_air else shape.coolant_passage(0)[0]
    text = f"bar {figures.length(edge, shape.bands.get(f'{part}_bar_width'), both=False)}"
    found: list[Primitive] = [horizontal(view.at(0, low), view.at(edge, low), view.y - 6.5, text, factor)]
    if not has_walls(fins):
        return found
    top, first = stack_shown(shape), edge + fins.pitch
    level = top if with_air else shape.coolant_passage(0)[1]
    ends = [view.at(u, level) for u in (first, first + fins.pitch)]
    pitch = f"pitch {figures.length(fins.pitch, _band(shape, part, 'pitch'), both=False)}"
    found.append(horizontal(ends[0], ends[1], view.at(0, top)[1] + 3.5, pitch, factor, side="left"))
    thick = f"thick {figures.length(fins.thickness, _band(shape, part, 'thickness'), both=False)}"
    middle = sum(shape.air_passage(0) if with_air else shape.coolant_passage(0)) / 2
    tip = view.at(edge + 2 * fins.pitch + fins.thickness, middle)
    return found + leader(tip, (tip[0] - 3.0, view.y - 12.5), [thick])


def _band(shape: CoreShape, part: str, key: str) -> Band | None:
    return shape.bands.get(f"{part}_fin.{key}")


def _along_scale(fins: Fins, wide: float, high: float) -> float:
    """The largest scale in which two walls and one length of the fin's pattern find room."""
    reach, pattern = fins.pitch, 1.0
    if fins.family == "wavy":
        reach, pattern = fins.pitch + 2 * fins.wave_amplitude, fins.wave_length
    elif fins.family == "louver":
        reach += fins.louver_pitch * sin(radians(fins.louver_angle))
        pattern = 4 * fins.louver_pitch
    elif is_strip(fins):
        reach, pattern = 1.5 * fins.pitch, 2 * fins.strip_length
    reach += fins.thickness
    return next((s for s in SCALES if reach * s <= high and pattern * s <= wide), SCALES[-1])


def _along(shape: CoreShape, at: Point, room: float, with_air: bool, figures: Figures) -> list[Primitive]:
    """A fin along its flow, cut at half height."""
    fins, part = (shape.air, "air") if with_air else (shape.coolant, "coolant")
    letter, what = ("D", "air fin") if with_air else ("E", "turbulator")
    scale = _along_scale(fins, room - 12, _HIGH) if has_walls(fins) else 1.0
    name = fit(f"{letter}: {what} {fins.name}", 3.5, room - 16, bold=True)
    title = f"{name} ({ratio(scale)})" if has_walls(fins) else name
    family = f"{fins.family}, along its flow, cut at half height"
    found = view_title((at[0], at[1] + ALONG - 5.2), title, fit(family, 2.5, room))
    wide, high = (room - 12) / scale, _HIGH / scale
    view = View(at[0] + 12, at[1] + 10.5, scale)
    if not has_walls(fins):
        return [*found, Text("TEXT", (at[0] + 8, at[1] + 18), "open: nothing between the plates")]
    walls = tuple(view.many(outline) for outline in along(fins, wide, high))
    found.append(Path("FINS", walls, closed=True, filled=True))
    x, y = view.at(0, high / 2)
    found += [line("FLOW", (x - 11, y), (x - 3, y)), arrow_head("FLOW", (x - 2, y), 0.0, 3.0)]
    return found + _along_sizes(shape, fins, part, view, figures)


def _along_sizes(shape: CoreShape, fins: Fins, part: str, view: View, figures: Figures) -> list[Primitive]:
    """Strip, louver or wave, by family."""
    factor, y = 1 / view.scale, view.y - 4.5

    def size(key: str, value: float, name: str) -> str:
        return f"{name} {figures.length(value, _band(shape, part, key), both=False)}"

    if fins.family == "louver":
        found: list[Primitive] = [horizontal(view.at(fins.louver_pitch / 2, 0), view.at(1.5 * fins.louver_pitch, 0), y,
                                             size("louver_pitch", fins.louver_pitch, "louver pitch"), factor)]
        band = _band(shape, part, "louver_angle")
        angle = f"angle {fins.louver_angle:g}°" + (f" ±{band[1]:g}°" if band and band[0] == band[1] else "")
        length = size("louver_length", fins.louver_length, "louver length")
        return [*found, Text("TEXT", (view.x, y - 4.6), f"{angle}, {length}")]
    if fins.family == "wavy":
        text = size("wave_length", fins.wave_length, "wave")
        amplitude = size("wave_amplitude", fins.wave_amplitude, "amplitude (half of peak to peak)")
        wave = horizontal(view.at(0, 0), view.at(fins.wave_length, 0), y, text, factor)
        return [wave, Text("TEXT", (view.x, y - 4.6), amplitude)]
    if is_strip(fins) and isfinite(fins.strip_length):
        text = size("strip_length", fins.strip_length, "strip")
        return [horizontal(view.at(0, 0), view.at(fins.strip_length, 0), y, text, factor),
                Text("TEXT", (view.x, y - 4.6), "each strip set off by half a pitch")]
    return [Text("TEXT", (view.x, y - 1.5), "walls run through")]
