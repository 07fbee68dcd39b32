"""Boxes of cores: alike but for thickness, tank length, port and line, each of which lies between two ends."""

from dataclasses import dataclass, replace

import numpy as np

from physics.arrays import Array
from physics.core import Designs, Geometry, chamber_size, geometry, stack_height
from physics.pipes import Line
from physics.ports import Port, area_step, port_resistance


@dataclass(frozen=True)
class Boxes:
    """The two ends of n boxes, columns (n,) or (1,): thickness and tank length are least in `small`, most in `large`.

    `large_g` has the least port resistance of the ports in the box, `small_g` the largest. Lines and steps are None
    where a study has no loop; a step is the adapter's coefficient over m^2/rho [1/m4], (least, largest).
    """

    small: Designs
    large: Designs
    small_g: Geometry
    large_g: Geometry
    narrow: Line | None = None
    wide: Line | None = None
    step: tuple[Array, Array] | None = None


def boxes(
    small: Designs, large: Designs, resistance: tuple[Array, Array] | None = None, narrow: Line | None = None,
    wide: Line | None = None, step: tuple[Array, Array] | None = None,
) -> Boxes:
    """Boxes between two ends; resistance: of the ports in each (least, largest) [1/m4], unless they are all alike."""
    small_g, large_g = geometry(small), geometry(large)
    if resistance is None:
        return Boxes(small, large, small_g, large_g, narrow, wide, step)
    return Boxes(
        small, large, replace(small_g, port_resistance=resistance[1]), replace(large_g, port_resistance=resistance[0]),
        narrow, wide, step,
    )


def resistances(port: Port, small: Designs, large: Designs) -> tuple[Array, Array]:
    """Least and largest resistance of a port (n,) [1/m4] over tank faces between those of the two ends.

    It is least where the face has the port's own size, and rises away from it.
    """
    faces = [_face(d) for d in (small, large)]
    fitting = area_step(port.line_area, port.area) + area_step(port.area, port.line_area)
    ends = [port_resistance(port, face) for face in faces]
    alone = fitting / np.minimum(port.line_area, port.area) ** 2
    crosses = (faces[0] < port.area) & (port.area < faces[1])
    return np.where(crosses, alone, np.minimum(*ends)), np.maximum(*ends)


def _face(d: Designs) -> Array:
    height, width = chamber_size(d, stack_height(d))
    return np.asarray(height * width)
