"""The pocket: signed clearances of a core in it, each named; a core fits when none is negative."""

from dataclasses import dataclass
from typing import Protocol

from physics.arrays import Array
from physics.core import Designs, chamber_size, chambers


@dataclass(frozen=True)
class Envelope:
    """The pocket in the casting [m]: length along the coolant, width along the stack, depth below the flange."""

    pocket_length: float
    pocket_width: float
    pocket_depth: float
    proud_height: float  # how far the core may stand above the flange under the lid


class Outside(Protocol):
    """What of a geometry the pocket sees [m]."""

    @property
    def stack_height(self) -> Array: ...

    @property
    def overall_length(self) -> Array: ...


def clearances(d: Designs, g: Outside, envelope: Envelope) -> dict[str, Array]:
    """Room left in each direction [m], negative where it does not fit; columns like the designs.

    A port sits in its chamber of the tank's end face inside a seal land, and leaves the pocket, with land and wall
    above it, below the flange; one port of a tank divided through the thickness leaves the uppermost chamber.
    """
    height, width = chamber_size(d, g.stack_height)
    through, _ = chambers(d)
    floor = d.tank_wall + (through - 1) * (height + d.tank_wall)
    land = 2 * d.seal_land
    return {
        "length_clearance": envelope.pocket_length - g.overall_length,
        "width_clearance": envelope.pocket_width - g.stack_height,
        "lid_clearance": envelope.pocket_depth + envelope.proud_height - d.thickness,
        "port_height_clearance": height - land - d.port.height,
        "port_width_clearance": width - land - d.port.width,
        "port_flange_clearance": envelope.pocket_depth - floor - land - d.port.height - d.tank_wall,
    }
