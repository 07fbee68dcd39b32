"""The core itself: a batch of designs, and from their dimensions to areas, hydraulic diameters, volumes and mass.

Axes: coolant flows along the length L, air through the thickness T, passages are stacked along the height H.
n coolant passages alternate with n + 1 air passages, air outermost.
"""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from physics.arrays import Array, BoolArray
from physics.fins import Fin, FinFamily, Surface
from physics.ports import Port, port_resistance
from physics.pressure_drop import core_factors, duct_resistance, entry_coefficient, exit_coefficient

# Where the ports feed the stack, as (flow reaching the header's mouth, k_c -+ k_d): see ports.header_spread
HEADERS = {"centre": (0.5, 1.0), "same end": (1.0, 1.0), "opposite ends": (1.0, 3.0)}


@dataclass(frozen=True)
class Designs:
    """A batch of cores: columns (n,) or (1,), SI. One air family and one coolant family a batch."""

    length: Array  # of the core block, along the coolant
    thickness: Array  # along the air
    passages: Array  # coolant passages n; air passages are n + 1
    passes: Array  # N
    side_by_side: Array  # 1: banks side by side; 0: passes through the thickness
    plate_thickness: Array
    side_plate_thickness: Array
    air_bar_width: Array
    coolant_bar_width: Array
    divider_width: Array
    air_blockage: Array  # share of free-flow area taken by braze and squashed fins
    coolant_blockage: Array
    air_fouling: Array  # [m2K/W]
    coolant_fouling: Array
    fin_conductivity: Array
    plate_conductivity: Array
    density: Array  # of the metal
    tank_length: Array  # inside, along the core
    tank_wall: Array
    seal_land: Array
    turn_loss: Array  # coefficient of a 90 degree turn in a tank
    header_mouth: Array
    header_factor: Array
    lid_loss: Array
    lid_area: Array
    plenum_loss: Array
    plenum_area: Array
    air_fin: Fin
    coolant_fin: Fin
    port: Port
    air_family: FinFamily = field(kw_only=True)
    coolant_family: FinFamily = field(kw_only=True)


@dataclass(frozen=True)
class Side:
    """One side of the core, air or coolant: what its films and losses need; columns like the designs."""

    family: FinFamily
    fin: Fin
    surface: Surface
    flow_length: Array  # of one pass [m]
    width: Array  # of one passage, across the flow [m]
    passages: Array
    free_area: Array  # of one pass [m2]
    area: Array  # wetted, whole core [m2]
    sigma: Array
    stack_pitch: Array
    obstruction: Array
    outer_share: Array  # of the passages, lying against an adiabatic side plate
    Kc: Array
    Ke: Array

    @cached_property
    def loss_factors(self) -> tuple[Array, Array, Array]:
        """What a pass loses over G^2/2: over the inlet density, the outlet density, and with f over the mean one."""
        return core_factors(self.sigma, self.Kc, self.Ke, self.flow_length / self.surface.hydraulic_diameter)


@dataclass(frozen=True)
class Geometry:
    """Everything that follows from dimensions alone, [m], [m2], [m3], [kg]; columns like the designs."""

    stack_height: Array
    overall_length: Array
    frontal_area: Array
    plate_area: Array
    air: Side
    coolant: Side
    header_area: Array  # tank cross-section the flow runs along to reach the passages
    turn_area: Array  # tank cross-section in the turns between passes
    turn_resistance: Array  # of all turns [1/m4]
    tank_resistance: Array  # of one tank, on the flow of the whole core [1/m4]
    port_face: Array  # tank end face a port opens into
    port_resistance: Array  # of both ports [1/m4]
    coolant_volume: Array
    dry_mass: Array


def stack_height(d: Designs) -> Array:
    """H = (n+1) b_air + n b_coolant + 2 n t_plate + 2 t_side [m]."""
    coolant_and_plates = d.passages * (d.coolant_fin.spacing + 2 * d.plate_thickness)
    return (d.passages + 1) * d.air_fin.spacing + coolant_and_plates + 2 * d.side_plate_thickness


def overall_length(d: Designs) -> Array:
    """Core and both tanks [m]."""
    return d.length + 2 * (d.tank_length + d.tank_wall)


def dividers(d: Designs) -> Array:
    """Dividers in a coolant passage: N - 1 when the passes lie through the thickness."""
    return (1 - d.side_by_side) * (d.passes - 1)


def air_side(d: Designs, H: Array) -> Side:
    """Air: n + 1 passages, L - 2 bars wide, T long; sigma on the whole face L x H."""
    surface = d.air_family.surface(d.air_fin)
    width = d.length - 2 * d.air_bar_width
    passage_face = (d.passages + 1) * width * d.air_fin.spacing
    free_area = passage_face * surface.open_share * (1 - d.air_blockage)
    obstruction, sigma = d.coolant_fin.spacing + 2 * d.plate_thickness, free_area / (d.length * H)
    return Side(
        d.air_family, d.air_fin, surface, d.thickness, width, d.passages + 1, free_area,
        passage_face * d.thickness * surface.area_density, sigma,
        d.air_fin.spacing + obstruction, obstruction, 2 / (d.passages + 1),
        entry_coefficient(sigma), exit_coefficient(sigma),
    )


def coolant_side(d: Designs, H: Array) -> Side:
    """Coolant: n passages, T less bars and dividers wide, L long, in N passes; sigma on the tank face H x T."""
    surface = d.coolant_family.surface(d.coolant_fin)
    width = d.thickness - 2 * d.coolant_bar_width - dividers(d) * d.divider_width
    passage_face = d.passages * width * d.coolant_fin.spacing
    free_area = passage_face * surface.open_share * (1 - d.coolant_blockage)
    obstruction, sigma = d.air_fin.spacing + 2 * d.plate_thickness, free_area / (H * d.thickness)
    return Side(
        d.coolant_family, d.coolant_fin, surface, d.length, width / (1 + dividers(d)), d.passages,
        free_area / d.passes, passage_face * d.length * surface.area_density, sigma,
        d.coolant_fin.spacing + obstruction, obstruction, np.zeros_like(d.passages),
        entry_coefficient(sigma), exit_coefficient(sigma),
    )


def metal_volume(d: Designs, H: Array, air: Side, coolant: Side) -> Array:
    """Fins, plates, side plates, bars, dividers, and tanks as shells of the stated wall [m3]; port bosses left out."""
    n, T, L = d.passages, d.thickness, d.length
    air_fins = (n + 1) * air.width * T * d.air_fin.spacing * air.surface.metal_share
    coolant_width = coolant.width * (1 + dividers(d))
    coolant_fins = n * coolant_width * L * d.coolant_fin.spacing * coolant.surface.metal_share
    plates = L * T * (2 * n * d.plate_thickness + 2 * d.side_plate_thickness)
    air_bars = (n + 1) * 2 * d.air_bar_width * d.air_fin.spacing * T
    coolant_bars = n * (2 * d.coolant_bar_width + dividers(d) * d.divider_width) * d.coolant_fin.spacing * L
    return air_fins + coolant_fins + plates + air_bars + coolant_bars + tank_metal(d, H)


def tank_metal(d: Designs, H: Array) -> Array:
    """Both tanks: end wall, sides and the walls between chambers, H x T outside, open towards the core [m3]."""
    through, across = chambers(d)
    height, width = chamber_size(d, H)
    sides = H * d.thickness - through * height * across * width
    return 2 * (d.tank_wall * H * d.thickness + d.tank_length * sides)


def coolant_volume(d: Designs, H: Array, coolant: Side) -> Array:
    """Coolant in passages and tanks [m3]."""
    width = coolant.width * (1 + dividers(d))
    passages = d.passages * width * d.coolant_fin.spacing * d.length * (1 - coolant.surface.metal_share)
    through, across = chambers(d)
    height, inside_width = chamber_size(d, H)
    return passages + 2 * d.tank_length * through * height * across * inside_width


def chambers(d: Designs) -> tuple[Array, Array]:
    """Chambers of a tank (through the thickness, along the stack): N where the passes lie, else 1."""
    return np.where(d.side_by_side > 0, 1.0, d.passes), np.where(d.side_by_side > 0, d.passes, 1.0)


def chamber_size(d: Designs, H: Array) -> tuple[Array, Array]:
    """Inside height (across the thickness) and width (along the stack) of one chamber [m]; walls between them too."""
    through, across = chambers(d)
    return (d.thickness - (through + 1) * d.tank_wall) / through, (H - (across + 1) * d.tank_wall) / across


def geometry(d: Designs) -> Geometry:
    """From dimensions to areas, volumes, mass. Tanks are H x T outside."""
    H = stack_height(d)
    air, coolant = air_side(d, H), coolant_side(d, H)
    height, width = chamber_size(d, H)
    inside_T, inside_H = d.thickness - 2 * d.tank_wall, H - 2 * d.tank_wall
    header_area, turn_area = d.tank_length * height, d.tank_length * np.where(d.side_by_side > 0, inside_T, inside_H)
    return Geometry(
        stack_height=H,
        overall_length=overall_length(d),
        frontal_area=d.length * H,
        plate_area=2 * d.passages * air.width * coolant.width * (1 + dividers(d)),
        air=air,
        coolant=coolant,
        header_area=header_area,
        turn_area=turn_area,
        turn_resistance=(d.passes - 1) * duct_resistance(2 * d.turn_loss, turn_area),
        tank_resistance=duct_resistance(d.turn_loss, header_area / d.header_mouth),
        port_face=height * width,
        port_resistance=port_resistance(d.port, height * width),
        coolant_volume=coolant_volume(d, H, coolant),
        dry_mass=d.density * metal_volume(d, H, air, coolant),
    )


def impossible(d: Designs, g: Geometry) -> BoolArray:
    """Where no core can be built at all: no width left for a passage, fins with no gap, a port that is no shape."""
    positive = [
        g.air.width, g.coolant.width, g.air.free_area, g.coolant.free_area, g.air.area, g.coolant.area, g.header_area,
        g.turn_area, g.port_face, d.port.area, d.port.line_area,
        g.air.surface.hydraulic_diameter, g.coolant.surface.hydraulic_diameter,
    ]
    result: BoolArray = np.zeros(1, dtype=bool)
    for value in positive:
        result = result | ~(value > 0)
    return result
