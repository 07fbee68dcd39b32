"""The pocket: signed clearances of a core in it, each named; a core fits when none is negative."""

from dataclasses import dataclass

import numpy as np

from physics.arrays import Array
from physics.core import Designs, Geometry


@dataclass(frozen=True)
class Envelope:
    """The pocket in the casting [m]: length along the coolant, width along the stack, depth below the flange."""

    pocket_length: float
    pocket_width: float
    pocket_depth: float
    proud_height: float  # how far the core may stand above the flange under the lid


def clearances(d: Designs, g: Geometry, envelope: Envelope) -> dict[str, Array]:
    """Room left in each direction [m], negative where it does not fit; columns like the designs.

    A port sits in its chamber of the tank's end face with a wall and a seal land on each side, and leaves the
    pocket below the flange.
    """
    frame = 2 * (d.tank_wall + d.seal_land)
    through = np.where(d.side_by_side > 0, 1.0, d.passes)
    across = np.where(d.side_by_side > 0, d.passes, 1.0)
    upper_floor = d.thickness * (through - 1) / through  # one port of a divided tank leaves the uppermost chamber
    return {
        "length_clearance": envelope.pocket_length - g.overall_length,
        "width_clearance": envelope.pocket_width - g.stack_height,
        "lid_clearance": envelope.pocket_depth + envelope.proud_height - d.thickness,
        "port_height_clearance": d.thickness / through - frame - d.port.height,
        "port_width_clearance": g.stack_height / across - frame - d.port.width,
        "port_flange_clearance": envelope.pocket_depth - frame - d.port.height - upper_floor,
    }
