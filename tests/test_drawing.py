"""The drawing of a core: its numbers are the study's, it is to scale, all of it is on the sheet, no text is code."""

import ast
import math
import re
import subprocess
import sys
from dataclasses import replace
from itertools import combinations
from xml.etree import ElementTree

import numpy as np
import pytest
from drawn_cores import CASES, PLATE, US_CASES, core, drawn, flat, space, text_boxes, texts
from small_studies import ROOT

from optimize.drawing import Plate, draw, svg
from optimize.drawing.core_shape import core_shape
from optimize.drawing.lettering import clean, fit, width, wrap
from optimize.drawing.port_outline import chord, opening, outline, polygon_area
from optimize.drawing.primitives import Circle, Dimension, Path, Text
from optimize.errors import FinfrontError
from optimize.handover.placing import placed
from optimize.runs import run_id
from optimize.space import Space
from optimize.study.model import Tolerance

ALL = [("SI", name) for name in CASES] + [("US", name) for name in US_CASES]
SVG = "{http://www.w3.org/2000/svg}"
INCH = 25.4
HOSTILE = [
    "<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "]]></style><script>", "=cmd()|' /C calc'!A0",
    "&amp;&lt;", "a\nb\r\nc\x00\x1b[31m", "\u202eright to left\u2066", "%%d%%c \\U+0041 \\P{\\fArial;x} ^J", "x" * 500,
    "$1 100 %", "'", "", "\ud800 lone",
]


def case(system, name):
    return (US_CASES if system == "US" else CASES)[name]


def svg_texts(drawing):
    return [element.text or "" for element in ElementTree.fromstring(svg(drawing)).iter(f"{SVG}text")]


# --- its numbers ----------------------------------------------------------------------------------------------------


def test_the_ordinary_core_carries_the_numbers_of_its_study():
    found = svg_texts(drawn())
    # Worked from the study file: 12 x 6.35 + 11 x (2 + 2 x 0.5) + 2 x 1.5; tolerances 12 x 0.05 + 11 x 0.03 + 22 x 0.02
    expected = [
        "286 ±0.5", "69 ±0.4", "(328 ±0.5)", "(112.2 ±1.37)", "3", "18", "pocket 330, room +2 mm", "depth 66", "24",
        "room +21 mm", "pocket 118, room +5.8 mm", "Ø22 ±0.1", "line Ø21.9", "seal land 3", "63 × 106.2 mm",
        "air fins 6.35 ±0.05", "coolant 2 ±0.03", "plate 0.5 ±0.02", "side plate 1.5", "pitch 1.27 ±0.038",
        "thick 0.1 ±0.005", "pitch 1.587 ±0.048", "thick 0.15 ±0.0075", "strip 3.2", "bar 5",
    ]  # fmt: skip
    assert [text for text in expected if text not in found] == []


def test_inches_stand_with_millimetres_in_brackets_and_the_sheet_says_so():
    found = svg_texts(drawn("US"))
    # 12 x 0.25 + 11 x (0.08 + 2 x 0.02) + 2 x 0.06 = 4.44; 12 x 0.002 + 11 x 0.001 + 22 x 0.0008 = 0.0526
    for text in ("12.200 ±0.020 [309.88]", "(4.440 ±0.053) [112.78]", "2.750 ±0.015", "[69.85]",
                 "slot 0.700 ±0.004 [17.78]", "by 1.200 ±0.008 [30.48]", "plate 0.020 ±0.0008",
                 "thick 0.004 ±0.0002", "inch [mm]"):  # fmt: skip
        assert text in found
    assert any("Dimensions in inches, millimetres in [ ]" in text for text in found)


def test_parts_are_counted():
    found = texts(drawn(passages="12", passes="3 through the thickness", thickness="89 mm", port="R16"))
    assert "13 air passages, S20-64: offset strip, 20 fins/in" in found
    assert "12 coolant passages, TS-20-16: offset strip, 16 fins/in" in found
    assert "3 passes through the thickness" in found
    assert "24 plates 0.5 ±0.02, 2 side plates 1.5" in found
    assert "26 air bars 5 wide, 24 coolant bars 5 wide" in found
    assert "24 dividers 4 wide" in found


def test_a_skewed_tolerance_shows_both_sides():
    asked = space("SI").study
    skewed = replace(asked.variables["core.length"], tolerance=Tolerance("uniform", 0.1e-3, 0.3e-3, None, False))
    other = Space(replace(asked, variables=asked.variables | {"core.length": skewed}))
    found = texts(draw(other, core(), PLATE))
    assert "286 +0.3/−0.1" in found
    assert "(328 +0.3/−0.1)" in found


@pytest.mark.parametrize(("system", "name"), ALL)
def test_what_a_dimension_says_is_what_it_spans(system, name):
    drawing = drawn(system, **case(system, name))
    dimensions = [item for item in drawing.items if isinstance(item, Dimension)]
    assert len(dimensions) > 15
    for item in dimensions:
        number = float(re.search(r"-?[0-9]+(?:\.[0-9]+)?", item.text)[0])
        if "does not fit" in item.text and not item.text.startswith("pocket"):
            number = abs(number)
        axis = 1 if item.turn else 0
        spanned = abs(item.second[axis] - item.first[axis]) * item.factor
        said = number * (INCH if system == "US" else 1.0)
        assert spanned == pytest.approx(said, abs=0.6e-3 * (INCH if system == "US" else 10)), item.text


def test_a_core_that_fits_in_nothing_says_by_how_much_in_red():
    drawing = drawn(**CASES["does not fit"])
    red = [item.text for item in flat(drawing) if isinstance(item, Text) and item.layer == "MISFIT"]
    # 300 + 2 x 21 - 330; 16 x 6.35 + 15 x 3 + 3 - 118; 95 - 90
    for text in ("length: does not fit by 12 mm", "width: does not fit by 31.6 mm",
                 "under the lid: does not fit by 5 mm", "THE CORE DOES NOT FIT ITS POCKET",
                 "does not fit by 31.6 mm"):  # fmt: skip
        assert text in red
    fits = drawn()
    assert [item for item in flat(fits) if getattr(item, "layer", "") == "MISFIT"] == []
    assert "The core fits its pocket" in texts(fits)


def test_a_port_over_the_flange_is_marked():
    drawing = drawn(passes="2 through the thickness", thickness="85 mm", port="D25-17")
    # Chambers of (85 - 9)/2 = 38; the upper one starts at 44; 44 + 3 + 17 + 3 + 3 = 70, the flange is at 66
    assert "port over flange by 4 mm" in texts(drawing)


@pytest.mark.parametrize("missing", ["study", "made"])
def test_the_id_of_a_run_is_its_study_and_its_minute(missing):
    record = {"study": "dune_racer.toml", "made": "2026-11-25T19:08:14+00:00"}
    assert run_id(record) == "dune_racer 2026-11-25 19:08"
    del record[missing]
    with pytest.raises(FinfrontError, match=missing):
        run_id(record)


def test_the_title_block_says_what_it_is_of():
    found = texts(drawn())
    for text in ("Desert racer", "C123", "dune_racer 2026-11-25 19:08", "2026-11-25", "not released", "A3", "1/1"):
        assert text in found
    assert any("check before making; not a released drawing" in text for text in found)
    assert any("metal of 2730 kg/m³" in text for text in found)


# --- its geometry ---------------------------------------------------------------------------------------------------


def test_chambers_passages_and_ports_stand_where_the_core_has_them():
    shape = core_shape(space("SI"), core(passes="3 through the thickness", thickness="89 mm", port="R16"))
    # (89 - 4 x 3)/3 high, walls of 3 between; passes (89 - 10 - 2 x 4)/3
    assert shape.chamber_height == pytest.approx(77 / 3)
    assert [shape.floor(k) for k in range(3)] == pytest.approx([3, 3 + 77 / 3 + 3, 3 + 2 * (77 / 3 + 3)])
    assert shape.pass_width == pytest.approx(71 / 3)
    assert shape.coolant_passage(1) == pytest.approx((1.5 + 2 * 6.35 + 2 + 3 * 0.5, 1.5 + 2 * 6.35 + 2 * 2 + 3 * 0.5))
    assert shape.air_passage(shape.passages)[1] + shape.side_plate == pytest.approx(shape.height)
    assert (shape.inlet.left, shape.outlet.left) == (True, False)
    assert shape.inlet.z == pytest.approx(6)
    assert shape.outlet.z == pytest.approx(3 + 2 * (77 / 3 + 3) + 3)


@pytest.mark.parametrize(("passes", "left"), [("1", False), ("2 side by side", True), ("2 through the thickness", True),
                                              ("3 side by side", False)])  # fmt: skip
def test_an_even_number_of_passes_brings_the_coolant_back(passes, left):
    assert core_shape(space("SI"), core(passes=passes, passages="12")).outlet.left is left


@pytest.mark.parametrize("header", ["same end", "opposite ends"])
def test_ports_stand_at_the_ends_the_header_names(header):
    other = Space(replace(space("SI").study, header=header))
    shape = core_shape(other, core())
    low, high = 3 + 3 + 11, 112.2 - 3 - 3 - 11  # wall, land, half a bore of 22
    assert (shape.inlet.y, shape.outlet.y) == pytest.approx((low, low if header == "same end" else high))


@pytest.mark.parametrize(("port", "area"), [
    ("R22", math.pi / 4 * 22**2),
    # R = 12.5, cut 17 from the crown: whole circle less the segment of 8 by integration of its chords
    ("D25-17",
     math.pi * 12.5**2 - 2 * sum(math.sqrt(12.5**2 - (4.5 + (i + 0.5) * 8e-4) ** 2) * 8e-4 for i in range(10000))),
])  # fmt: skip
def test_the_outline_of_a_port_encloses_its_area(port, area):
    shape = core_shape(space("SI"), core(port=port))
    points = outline(shape.port)
    assert polygon_area(points) == pytest.approx(area, rel=3e-3)
    assert shape.port.area == pytest.approx(area, rel=1e-4)
    assert max(a for a, _ in points) - min(a for a, _ in points) == pytest.approx(shape.port.width, rel=2e-3)
    assert (min(b for _, b in points), max(b for _, b in points)) == pytest.approx((0, shape.port.height), abs=0.02)


def test_a_slot_is_two_half_rounds_and_a_straight():
    shape = core_shape(space("US"), core("US"))
    assert polygon_area(outline(shape.port)) == pytest.approx((math.pi / 4 * 0.7**2 + 0.5 * 0.7) * INCH**2, rel=1e-3)
    assert chord(shape.port, 0.0) == pytest.approx((0.0, 0.7 * INCH))
    assert chord(shape.port, 0.61 * INCH) is None


@pytest.mark.parametrize(
    ("system", "name"), [("SI", "round"), ("SI", "two through"), ("US", "slot"), ("US", "side by side")]
)
def test_what_lies_before_a_port_agrees_with_throwing_points_at_it(system, name):
    shape = core_shape(space(system), core(system, **case(system, name)))
    place, random = shape.inlet, np.random.default_rng(5)
    a = random.uniform(-shape.port.width / 2, shape.port.width / 2, 40_000)
    b = random.uniform(0, shape.port.height, 40_000)
    polygon = outline(shape.port)
    inside = np.zeros(a.size, dtype=bool)
    for (x0, y0), (x1, y1) in zip(polygon, [*polygon[1:], polygon[0]], strict=True):  # even-odd rule
        if y0 != y1:
            inside ^= ((y0 > b) != (y1 > b)) & (a < x0 + (b - y0) / (y1 - y0) * (x1 - x0))
    y, z = place.y + a, place.z + b
    mouths = np.zeros(a.size, dtype=bool)
    for i in range(shape.passages):
        low, high = shape.coolant_passage(i)
        mouths |= (y > low) & (y < high)
    mouths &= (z > shape.coolant_bar) & (z < shape.coolant_bar + shape.pass_width)
    found = opening(shape, place)
    thrown = shape.port.width * shape.port.height * np.mean(inside & mouths)
    assert found.straight_before == pytest.approx(thrown, rel=0.05)


def test_a_port_opens_its_share_of_tank_face_and_coolant_face():
    found = opening(shape := core_shape(space("SI"), core()), shape.inlet)
    assert found.area == pytest.approx(math.pi / 4 * 22**2)
    assert found.tank_face == pytest.approx(63 * 106.2)
    assert found.coolant_face == pytest.approx(11 * 2 * 59)
    said = texts(drawn())
    assert "opens 5.7 % of the tank face (chamber, 6691 mm²)" in said
    assert "opens 29.3 % of the core's coolant face" in said


@pytest.mark.parametrize(("scale", "changes"), [
    ("1:2", {}), ("1:1", {"length": "100 mm", "passages": "5", "thickness": "35 mm"}),
])  # fmt: skip
def test_the_core_is_drawn_to_the_scale_it_names(scale, changes):
    asked = space("SI").study
    small = replace(asked.envelope, pocket_length=0.15, pocket_width=0.06, pocket_depth=0.03, proud_height=0.01)
    drawing = draw(Space(replace(asked, envelope=small if changes else asked.envelope)), core(**changes), PLATE)
    assert drawing.scale == scale
    factor = {"1:1": 1.0, "1:2": 0.5}[scale]
    (length,) = [d for d in drawing.items if isinstance(d, Dimension) and d.text.startswith(("286 ", "100 "))]
    assert abs(length.second[0] - length.first[0]) == pytest.approx(factor * (100 if changes else 286))


def test_ports_are_drawn_in_their_shape_and_their_line_round():
    drawing = drawn(port="D25-17")
    radii = [item.radius for item in drawing.items if isinstance(item, Circle) and item.layer == "POCKET"]
    assert radii == pytest.approx([18.8 / 2 / 2])
    sizes = [
        (max(x for x, _ in run) - min(x for x, _ in run), max(y for _, y in run) - min(y for _, y in run))
        for item in drawing.items if isinstance(item, Path) and item.layer == "OUTLINE" for run in item.runs
    ]
    assert any(size == pytest.approx((12.5, 8.5), abs=0.02) for size in sizes)  # 25 x 17 to 1:2


@pytest.mark.parametrize(("fins", "key"), [
    ("S20-64", "strip 3.2"), ("L18-64", "louver pitch 1.2"), ("W16-64", "wave 9.5"), ("P16-64", "walls run through"),
])  # fmt: skip
def test_a_fin_is_drawn_by_its_family(fins, key):
    drawing = drawn(air_fin=fins)
    assert key in texts(drawing)
    assert sum(len(item.runs) for item in drawing.items if isinstance(item, Path) and item.layer == "FINS") > 20


# --- the sheet ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("system", "name"), ALL)
def test_nothing_leaves_the_sheet_and_no_text_lies_on_another(system, name):
    drawing = drawn(system, **case(system, name))
    boxes = text_boxes(drawing)
    for text, (x0, y0, x1, y1) in boxes:
        assert x0 >= 15, text
        assert y0 >= 5, text
        assert x1 <= drawing.width - 5, text
        assert y1 <= drawing.height - 5, text
    for item in flat(drawing):
        if isinstance(item, Path):
            assert all(-1e-9 <= x <= drawing.width + 1e-9 and -1e-9 <= y <= drawing.height + 1e-9
                       for run in item.runs for x, y in run)  # fmt: skip
    over = [
        (one, other) for (one, a), (other, b) in combinations(boxes, 2)
        if min(a[2], b[2]) - max(a[0], b[0]) > 0.3 and min(a[3], b[3]) - max(a[1], b[1]) > 0.3
    ]
    assert over == []


@pytest.mark.parametrize(("system", "name"), ALL)
def test_a_drawing_is_small_sound_and_the_same_each_time(system, name):
    drawing = drawn(system, **case(system, name))
    text = svg(drawing)
    assert len(text.encode()) < 60_000
    assert text == svg(drawn(system, **case(system, name)))
    root = ElementTree.fromstring(text)
    assert [child.tag.removeprefix(SVG) for child in root][:2] == ["title", "desc"]
    assert root[0].text == "Desert racer: core C123"
    assert {element.tag.removeprefix(SVG) for element in root.iter()} == {
        "svg", "title", "desc", "style", "rect", "path", "circle", "g", "text"}  # fmt: skip
    assert "http" not in text.replace("http://www.w3.org/2000/svg", "")
    assert "nan" not in re.sub(r"<text.*?</text>|<title.*?</desc>", "", text, flags=re.S)


@pytest.mark.parametrize("hostile", HOSTILE, ids=range(len(HOSTILE)))
def test_no_text_of_the_user_becomes_markup_or_leaves_its_field(hostile):
    asked = space("SI").study
    fins = {name if name != "S20-64" else hostile: roll for name, roll in asked.air_fins.items()}
    ports = {name if name != "R22" else hostile: port for name, port in asked.ports.items()}
    variables = asked.variables | {
        key: replace(asked.variables[key], values=tuple(names)) for key, names in
        (("core.air_fin", fins), ("tanks.port", ports))
    }
    named = replace(
        asked, air_fins={name: replace(roll, name=name) for name, roll in fins.items()}, variables=variables,
        ports={name: replace(port, name=name) for name, port in ports.items()},
    )
    drawing = draw(Space(named), core(), Plate(hostile, hostile, hostile, hostile))
    root = ElementTree.fromstring(svg(drawing).encode("utf-8"))
    assert {element.tag.removeprefix(SVG) for element in root.iter()} <= {
        "svg", "title", "desc", "style", "rect", "path", "circle", "g", "text"}  # fmt: skip
    for text, (x0, _, x1, _) in text_boxes(drawing):
        assert 15 <= x0 <= x1 <= drawing.width - 5, text


def test_text_is_cut_and_wrapped_to_its_room():
    assert clean(" a\t\u202eb\x07 ") == "a b"
    for room in (4.0, 11.0, 60.0):
        assert width(fit("some rather long words " * 9, 2.5, room), 2.5) <= max(room, width("…", 2.5))
        for parts in (wrap("some rather long words " * 9, 2.5, room, 3), wrap("x" * 300, 2.5, room, 2)):
            assert len(parts) <= 3
            assert all(width(part, 2.5) <= max(room, width("x…", 2.5)) for part in parts)
    assert " ".join(wrap("one two three", 2.5, 1000, 2)) == "one two three"


def test_a_core_that_cannot_be_built_is_refused_in_words():
    with pytest.raises(FinfrontError, match="no such core can be built"):
        drawn(tank_wall="60 mm")


# --- its place among the others -------------------------------------------------------------------------------------


def test_drawing_loads_no_rating_and_no_dxf_library():
    done = subprocess.run(
        [sys.executable, "-c", "import optimize.drawing, sys; print('\\n'.join(sys.modules))"], capture_output=True,
        text=True, cwd=ROOT, check=True,
    )
    assert {"physics.rating", "optimize.evaluate", "ezdxf", "matplotlib"} & set(done.stdout.split()) == set()


def test_the_rooms_of_a_drawing_know_nothing_of_rating():
    for path in (ROOT / "optimize/drawing").glob("*.py"):
        names = {getattr(node, "module", "") or "" for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))}
        assert not {"physics.rating", "optimize.evaluate", "optimize.search"} & names


@pytest.mark.parametrize(("system", "name"), ALL)
def test_ports_stand_where_the_solid_has_them(system, name):
    """The solid is placed by code of its own: both follow the envelope, so they must agree."""
    of, chosen = space(system), core(system, **case(system, name))
    shape, solid = core_shape(of, chosen), placed(of, chosen)
    for port, there in zip((shape.inlet, shape.outlet), solid.ports, strict=True):
        assert port.left == (there.end < 0)
        assert port.y == pytest.approx(1e3 * there.y + shape.height / 2, abs=1e-9)
        assert port.z == pytest.approx(1e3 * (there.bottom - solid.core.low[2]), abs=1e-9)
