"""A core in its pocket drawn to scale, from its geometry alone: `draw` makes it, `svg` and `write_dxf` write it."""

from optimize.drawing.dxf_file import write_dxf
from optimize.drawing.primitives import Drawing
from optimize.drawing.sheet import Plate, draw
from optimize.drawing.svg_file import svg

__all__ = ["Drawing", "Plate", "draw", "svg", "write_dxf"]
