"""What a drawing says in words: room in the pocket, ports, parts, general notes."""

from optimize.drawing.core_shape import CoreShape, Fins
from optimize.drawing.figures import INCH, Figures
from optimize.drawing.fin_profiles import has_walls
from optimize.drawing.lettering import fit, wrap
from optimize.drawing.pocket_view import room_text
from optimize.drawing.port_outline import opening
from optimize.drawing.primitives import Point, Primitive, Text

LINE = 3.9
_ROOMS = {
    "length_clearance": "length", "width_clearance": "width", "lid_clearance": "under the lid",
    "port_height_clearance": "port height in its chamber", "port_width_clearance": "port width in its chamber",
    "port_flange_clearance": "port below the flange",
}
Row = tuple[str, str, bool]  # layer, text, bold


def misfits(shape: CoreShape) -> list[str]:
    """The clearances that are negative, by name."""
    return [name for name, room in shape.room.items() if room < 0]


def notes(shape: CoreShape, figures: Figures, at: Point, room: tuple[float, float]) -> list[Primitive]:
    """Two columns of lines below the upper left corner `at`, within the room (width, height)."""
    half = room[0] / 2
    columns = (
        [*_room_rows(shape, figures), ("TEXT", "", False), *_port_rows(shape, figures)],
        [*_part_rows(shape, figures), ("TEXT", "", False), *_general_rows(shape, figures, half - 4)],
    )
    most = int(room[1] / LINE)
    found: list[Primitive] = []
    for i, rows in enumerate(columns):
        for k, (layer, text, bold) in enumerate(rows[:most]):
            if text:
                place = (at[0] + i * half, at[1] - 3.0 - k * LINE)
                found.append(Text(layer, place, fit(text, 2.5, half - 4, bold), bold=bold))
    return found


def lines_needed(shape: CoreShape, figures: Figures, wide: float) -> int:
    """Lines of the longer column."""
    first = len(_room_rows(shape, figures)) + 1 + len(_port_rows(shape, figures))
    return max(first, len(_part_rows(shape, figures)) + 1 + len(_general_rows(shape, figures, wide / 2 - 4)))


def _room_rows(shape: CoreShape, figures: Figures) -> list[Row]:
    verdict = "The core fits its pocket" if not misfits(shape) else "THE CORE DOES NOT FIT ITS POCKET"
    sizes = [figures.plain(size) for size in shape.pocket]
    pocket = f"pocket {sizes[0]} × {sizes[1]}, depth {sizes[2]}, proud {sizes[3]} {figures.unit}"
    rows: list[Row] = [("MISFIT" if misfits(shape) else "TEXT", verdict, True), ("TEXT", pocket, False)]
    if figures.system == "US":
        rows.append(("TEXT", f"[{' × '.join(f'{size:.5g}' for size in shape.pocket)} mm]", False))
    for name, label in _ROOMS.items():
        room = shape.room[name]
        rows.append(("MISFIT" if room < 0 else "TEXT", f"{label}: {room_text(figures, room)}", False))
    return rows


def _port_rows(shape: CoreShape, figures: Figures) -> list[Row]:
    o = opening(shape, shape.inlet)
    texts = [
        f"opens {100 * o.area / o.tank_face:.1f} % of the tank face (chamber, {figures.area(o.tank_face)})",
        f"opens {100 * o.area / o.coolant_face:.1f} % of the core's coolant face",
        f"({figures.area(o.coolant_face)} in a pass); before it lie {o.passages} of {o.of_passages}",
        f"passages and {100 * o.straight_before / o.coolant_face:.1f} % of that face. Header: {shape.header}",
    ]
    head = f"Port {fit(shape.port.name, 2.5, 40.0)}, opening {figures.area(o.area)}"
    return [("TEXT", head, True), *(("TEXT", text, False) for text in texts)]


def passes_text(shape: CoreShape) -> str:
    """The passes as the study writes them."""
    if shape.passes == 1:
        return "1 pass"
    return f"{shape.passes} passes {'side by side' if shape.side_by_side else 'through the thickness'}"


def _fins_text(fins: Fins, figures: Figures) -> str:
    if not has_walls(fins):
        return f"{fins.name}: {fins.family}, {figures.length(fins.spacing)} high"
    return f"{fins.name}: {fins.family}, {INCH / fins.pitch:.3g} fins/in"


def _part_rows(shape: CoreShape, figures: Figures) -> list[Row]:
    n, f = shape.passages, figures.length
    bars = [figures.plain(width) for width in (shape.air_bar, shape.coolant_bar, shape.side_plate)]
    texts = [
        f"{n + 1} air passages, {_fins_text(shape.air, figures)}",
        f"{n} coolant passages, {_fins_text(shape.coolant, figures)}",
        passes_text(shape),
        f"{2 * n} plates {f(shape.plate, shape.bands.get('plate_thickness'))}, 2 side plates {bars[2]}",
        f"{2 * (n + 1)} air bars {bars[0]} wide, {2 * n} coolant bars {bars[1]} wide",
    ]
    if shape.layers > 1:
        texts.append(f"{n * (shape.layers - 1)} dividers {f(shape.divider, shape.bands.get('divider_width'))} wide")
    texts.append(f"2 tanks, {f(shape.tank_length, shape.bands.get('tank_length'))} long inside, wall {f(shape.wall)}")
    return [("TEXT", "Parts", True), *(("TEXT", text, False) for text in texts)]


def _general_rows(shape: CoreShape, figures: Figures, wide: float) -> list[Row]:
    unit = "Dimensions in millimetres."
    if figures.system == "US":
        unit = "Dimensions in inches, millimetres in [ ]; details in inches."
    text = (
        f"{unit} Tolerances: half width of the law the study states, none where none is shown. In round brackets: "
        "follows from others, tolerance by arithmetic sum. Ports on their lowest seal land. No bosses, no radii."
    )
    if shape.passes > 1:
        text += " Chambers open where the coolant turns; mass as if walled."
    rows = wrap(text, 2.5, wide, 7)
    return [("TEXT", "Notes", True), *(("TEXT", row, False) for row in rows)]
