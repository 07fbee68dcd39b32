"""A drawing as DXF R2010: layers by meaning, dimension entities, hatches; the same drawing gives the same bytes."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path as File
from typing import TYPE_CHECKING, Any

from optimize.drawing.lettering import clean
from optimize.drawing.primitives import LAYERS, Circle, Dimension, Drawing, Hatch, Path, Text

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document

_STYLE, _BY_LAYER = "FINFRONT", 256
_ANSI31 = 3.175  # [mm] gap of the pattern at scale 1
# What DXF readers take for a code in plain text: %%d, ^J, \U+0041, \M+1; braces only in paragraphs
_CODES = re.compile(r"%(?=%)|\\(?=[UuMm]\+)")


def write_dxf(drawing: Drawing, path: File) -> None:
    """Write the drawing to a file, one millimetre of paper to a unit."""
    with _fixed_bytes():
        document = _document(drawing)
        space = document.modelspace()
        for item in drawing.items:
            if isinstance(item, Dimension):
                _dimension(document, space, item)
            else:
                _add(space, item)
        document.saveas(path)


def plain(text: str) -> str:
    """The text with every DXF code in it broken up by a space."""
    return _CODES.sub(lambda found: found[0] + " ", clean(text)).replace("^", "^ ")


@contextmanager
def _fixed_bytes() -> Iterator[None]:
    """Without dates and ids by chance in the file."""
    import ezdxf

    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before


def _document(drawing: Drawing) -> "Document":
    import ezdxf
    from ezdxf import colors, units

    document = ezdxf.new("R2010", units=units.MM)
    document.styles.add(_STYLE, font="arial.ttf")
    document.styles.add(f"{_STYLE}-BOLD", font="arialbd.ttf")
    for name, layer in LAYERS.items():
        line_type = "CONTINUOUS"
        if layer.dashes:
            line_type = f"FF_{name}"
            pattern = [length if i % 2 == 0 else -length for i, length in enumerate(layer.dashes)]
            document.linetypes.add(line_type, [sum(layer.dashes), *pattern], description=name)
        entry = document.layers.add(name, linetype=line_type, lineweight=round(100 * layer.width))
        entry.rgb = colors.RGB.from_hex(layer.colour)
    for factor in sorted({item.factor for item in drawing.items if isinstance(item, Dimension)}):
        _dimension_style(document, factor)
    document.header["$LTSCALE"] = 1.0
    document.set_modelspace_vport(drawing.height * 1.05, (drawing.width / 2, drawing.height / 2))
    document.header["$EXTMIN"], document.header["$EXTMAX"] = (0, 0, 0), (drawing.width, drawing.height, 0)
    document.modelspace().reset_limits((0, 0), (drawing.width, drawing.height))
    return document


def _style_name(factor: float) -> str:
    return f"{_STYLE}-{factor:g}".replace(".", "_")


def _dimension_style(document: "Document", factor: float) -> None:
    """Lengths are measured on paper and multiplied back to millimetres of the part."""
    values = {
        "dimtxt": 2.5, "dimasz": 2.5, "dimexo": 0.8, "dimexe": 1.8, "dimgap": 0.9, "dimlfac": factor, "dimdec": 3,
        "dimzin": 8, "dimtad": 1, "dimtih": 0, "dimtoh": 0, "dimtxsty": _STYLE,
    }
    document.dimstyles.new(_style_name(factor), dxfattribs=values)


def _dimension(document: "Document", space: Any, item: Dimension) -> None:
    """A linear dimension whose picture is the drawing's own, kept in its block."""
    block = document.blocks.new_anonymous_block("D")
    for part in item.parts:
        _add(block, part)
    text = next((part for part in item.parts if isinstance(part, Text)), None)
    space.new_entity("DIMENSION", dxfattribs={
        "layer": "DIM", "geometry": block.name, "dimtype": 32, "dimstyle": _style_name(item.factor),
        "defpoint": item.base if item.turn else (item.second[0], item.base[1]),
        "defpoint2": item.first, "defpoint3": item.second, "angle": item.turn, "text": item.text,
        "text_midpoint": text.at if text else item.base, "attachment_point": 5,
        "actual_measurement": _measured(item),
    })


def _measured(item: Dimension) -> float:
    axis = 1 if item.turn else 0
    return abs(item.second[axis] - item.first[axis]) * item.factor


def _add(space: Any, item: Path | Circle | Text | Hatch) -> None:
    if isinstance(item, Text):
        _text(space, item)
    elif isinstance(item, Circle):
        space.add_circle(item.centre, item.radius, dxfattribs={"layer": item.layer})
    elif isinstance(item, Hatch):
        hatch = space.add_hatch(color=_BY_LAYER, dxfattribs={"layer": item.layer})
        hatch.set_pattern_fill("ANSI31", scale=item.gap / _ANSI31, angle=item.angle - 45.0, color=_BY_LAYER)
        hatch.paths.add_polyline_path(item.outline, is_closed=True)
    elif item.filled:
        for run in item.runs:
            hatch = space.add_hatch(color=_BY_LAYER, dxfattribs={"layer": item.layer})
            hatch.paths.add_polyline_path(run, is_closed=True)
    else:
        for run in item.runs:
            space.add_lwpolyline(run, close=item.closed, dxfattribs={"layer": item.layer})


def _text(space: Any, item: Text) -> None:
    from ezdxf.enums import TextEntityAlignment

    alignment = {
        "start": TextEntityAlignment.LEFT, "middle": TextEntityAlignment.CENTER, "end": TextEntityAlignment.RIGHT,
    }[item.anchor]
    style = f"{_STYLE}-BOLD" if item.bold else _STYLE
    attributes = {"layer": item.layer, "style": style, "rotation": item.turn}
    entity = space.add_text(plain(item.text), height=item.height, dxfattribs=attributes)
    entity.set_placement(item.at, align=alignment)
