"""One core on one sheet: the smallest sheet and largest scale it fits in, and everything put in its place."""

from dataclasses import dataclass
from itertools import islice

from optimize import units
from optimize.drawing import end_view, face_view, section_view
from optimize.drawing.core_shape import CoreShape, core_shape
from optimize.drawing.figures import Figures
from optimize.drawing.fin_details import ALONG, detail_scale, details, fins_along, ratio
from optimize.drawing.frame import EDGE, LEFT, SHEETS, TITLE_HEIGHT, TITLE_WIDTH, Entry, frame, title_block
from optimize.drawing.lettering import clean
from optimize.drawing.notes import LINE, lines_needed, misfits, notes, passes_text
from optimize.drawing.primitives import Drawing, Primitive, View
from optimize.space import Parameters, Space

# ISO 5455, and what comes first: a larger scale on the small sheet, then on the large one
_CHOICES = [
    *[("A3", scale) for scale in (2.0, 1.0, 0.5)], ("A2", 0.5), ("A3", 0.2), ("A2", 0.2), ("A3", 0.1), ("A2", 0.1),
    ("A2", 0.05), ("A2", 0.02), ("A2", 0.01), ("A2", 0.005), ("A2", 0.002), ("A2", 0.001),
]
_DETAILS = (158.0, 260.0)  # [mm of paper] least and most width of the details
_LEAST = 100.0  # [mm of paper] least height of the details
_SMALLEST = 5.0  # scale of the details, where a sheet can give it
_UNDER = ("WATER", "METAL")


@dataclass(frozen=True)
class Plate:
    """What the title block says: title of the study, name of the core, the run's id, the date as text."""

    title: str
    core: str
    run: str
    made: str


@dataclass(frozen=True)
class _Layout:
    """Section and tank end in the upper row; under it air face, notes and fins on the left, details on the right."""

    sheet: str
    scale: float
    section: float  # width of the section with its dimensions
    top: float  # height of the upper row
    face: tuple[float, float]  # width and height of the air face with its dimensions

    @property
    def inner(self) -> tuple[float, float]:
        width, height = SHEETS[self.sheet]
        return width - LEFT - EDGE, height - 2 * EDGE

    @property
    def detail_room(self) -> tuple[float, float]:
        """Width and height left for the details."""
        wide, high = self.inner
        return min(wide - self.face[0], _DETAILS[1]), high - self.top - TITLE_HEIGHT - 4

    @property
    def left_room(self) -> float:
        """Height left for what stands under the air face."""
        return self.inner[1] - self.top - self.face[1]

    @property
    def left_width(self) -> float:
        """Width of what stands under the air face."""
        return min(self.face[0], self.inner[0] - TITLE_WIDTH) - 10


def draw(space: Space, core: Parameters, plate: Plate) -> Drawing:
    """One core, values (1,) of every design variable, drawn in its pocket; from its dimensions alone, never rated.

    Raises FinfrontError where no such core can be built.
    """
    shape, figures = core_shape(space, core), Figures(space.study.units)
    layout = _layout(shape, figures)
    width, height = SHEETS[layout.sheet]
    detail = detail_scale(shape, layout.detail_room)
    scale = f"{ratio(layout.scale)} (B, C {ratio(detail)})"
    items = frame(layout.sheet) + title_block(layout.sheet, _entry(space, shape, plate, layout.sheet, scale))
    items += _views(shape, figures, layout, detail)
    items.sort(key=lambda item: not _is_under(item))
    return Drawing(
        layout.sheet, width, height, f"{clean(plate.title)}: core {clean(plate.core)}", _about(shape, plate),
        ratio(layout.scale), tuple(items),
    )


def _is_under(item: Primitive) -> bool:
    return getattr(item, "layer", "") in _UNDER


def _views(shape: CoreShape, figures: Figures, layout: _Layout, detail: float) -> list[Primitive]:
    k, top = layout.scale, EDGE + layout.inner[1]
    length, width = shape.pocket[:2]
    row, x = top - layout.top + section_view.BELOW, LEFT + section_view.LEFT
    x += k * max((length - shape.length) / 2, shape.tank_length + shape.wall)
    found = section_view.section_view(shape, View(x, row, k), figures)
    over = max((width - shape.height) / 2, 0.0) * k
    found += end_view.end_view(shape, View(LEFT + layout.section + end_view.LEFT + over, row, k), figures)
    below = top - layout.top - layout.face[1]
    found += face_view.face_view(shape, View(x, below + face_view.BELOW + over, k), figures)
    written = lines_needed(shape, figures, layout.left_width) * LINE + 3
    found += notes(shape, figures, (LEFT + 8, below), (layout.left_width, written))
    (wide, high), base = layout.detail_room, EDGE + TITLE_HEIGHT + 2
    if written + ALONG <= layout.left_room:
        found += fins_along(shape, (LEFT + 8, below - written - ALONG), layout.left_width, figures)
    else:
        found += fins_along(shape, (LEFT + layout.inner[0] - wide, base), wide, figures)
        base, high = base + ALONG, high - ALONG
    return found + details(shape, (LEFT + layout.inner[0] - wide, base), (wide, high), detail, figures)


def _layout(shape: CoreShape, figures: Figures) -> _Layout:
    """The first choice in which everything has room, with large details if any choice gives them."""
    tried = [_tried(shape, sheet, scale) for sheet, scale in _CHOICES]
    found = list(islice((layout for layout in tried if _has_room(shape, figures, layout)), 2)) or tried[-1:]
    large = (layout for layout in found if detail_scale(shape, layout.detail_room) >= _SMALLEST)
    return next(large, found[0])


def _tried(shape: CoreShape, sheet: str, k: float) -> _Layout:
    length, width, depth, proud = shape.pocket
    wide = max(length, shape.overall) * k
    return _Layout(
        sheet, k, wide + section_view.LEFT + section_view.RIGHT,
        max(shape.thickness, depth + proud) * k + section_view.ABOVE + section_view.BELOW,
        (wide + face_view.LEFT + face_view.RIGHT, max(width, shape.height) * k + face_view.ABOVE + face_view.BELOW),
    )


def _has_room(shape: CoreShape, figures: Figures, layout: _Layout) -> bool:
    wide = layout.inner[0]
    end = max(shape.pocket[1], shape.height) * layout.scale + end_view.LEFT + end_view.RIGHT
    written = lines_needed(shape, figures, layout.left_width) * LINE + 3
    across = max(layout.section + end, layout.face[0] + _DETAILS[0])
    right = layout.detail_room[1] - (ALONG if written + ALONG > layout.left_room else 0.0)
    return across <= wide and written <= layout.left_room and right >= _LEAST


def _entry(space: Space, shape: CoreShape, plate: Plate, sheet: str, scale: str) -> Entry:
    system = space.study.units
    both = "inch [mm]" if system == "US" else "mm"
    mass = units.show(shape.dry_mass, "mass", system, 3)
    volume = units.show(shape.coolant_volume / 1e3, "volume", system, 3)
    return Entry(
        title=plate.title, core=plate.core, run=plate.run, made=plate.made, scale=scale, units=both,
        material=f"metal of {units.show(shape.density, 'density', system).replace('^3', '³')}", mass=mass,
        coolant=volume, sheet=sheet,
    )


def _about(shape: CoreShape, plate: Plate) -> str:
    """What a reader who cannot see the drawing is told."""
    fits = "it fits its pocket" if not misfits(shape) else "it does not fit its pocket"
    sizes = f"{shape.length:g} mm long, {shape.thickness:g} mm thick, {shape.height:.4g} mm stack"
    return (
        f"Drawing of a bar-and-plate charge-cooler core of run {clean(plate.run)}: {sizes}, {shape.passages} coolant "
        f"passages, {passes_text(shape)}, port {clean(shape.port.name)}; {fits}. "
        "Section, tank end, air face, details of the passages and fins."
    )
