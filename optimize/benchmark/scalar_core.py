"""The scalar baselines' geometry: one core as plain floats, from dimensions to areas, sigma, coefficients, mass.

The same as `physics.core` and `physics.ports`; sources there.
"""

import math
from dataclasses import fields
from types import SimpleNamespace as Record
from typing import Any

import numpy as np

from optimize.benchmark.scalar_fins import surface


def floats(columns: Any, i: int) -> Record:
    """Design i of a batch of columns as floats; nested columns too."""
    found: dict[str, Any] = {}
    for field in fields(columns):
        value = getattr(columns, field.name)
        if isinstance(value, np.ndarray):
            found[field.name] = float(value[i if value.shape[0] > 1 else 0])
        elif field.name.endswith("family"):
            found[field.name] = value.name
        else:
            found[field.name] = floats(value, i)
    return Record(**found)


def geometry(d: Record) -> Record:
    """Areas, ratios, volumes, mass [m], [m2], [m3], [kg]."""
    n, T, L = d.passages, d.thickness, d.length
    b_air, b_coolant, plate = d.air_fin.spacing, d.coolant_fin.spacing, d.plate_thickness
    H = (n + 1) * b_air + n * (b_coolant + 2 * plate) + 2 * d.side_plate_thickness
    walls = (1 - d.side_by_side) * (d.passes - 1)
    width = L - 2 * d.air_bar_width
    depth = T - 2 * d.coolant_bar_width - walls * d.divider_width
    air = _side(d.air_family, d.air_fin, (n + 1) * width * b_air, T, 1 - d.air_blockage, L * H, 2 / (n + 1))
    coolant = _side(d.coolant_family, d.coolant_fin, n * depth * b_coolant, L, 1 - d.coolant_blockage, H * T, 0.0)
    coolant.free_area /= d.passes
    through, across = (1.0, d.passes) if d.side_by_side > 0 else (d.passes, 1.0)
    height, face_width = (T - (through + 1) * d.tank_wall) / through, (H - (across + 1) * d.tank_wall) / across
    face, inside = height * face_width, through * height * across * face_width
    metal = (
        (n + 1) * width * T * b_air * air.surface.metal + n * depth * L * b_coolant * coolant.surface.metal
        + L * T * (2 * n * plate + 2 * d.side_plate_thickness) + (n + 1) * 2 * d.air_bar_width * b_air * T
        + n * (2 * d.coolant_bar_width + walls * d.divider_width) * b_coolant * L
        + 2 * (d.tank_wall * H * T + d.tank_length * (H * T - inside))
    )
    return Record(
        air=air, coolant=coolant, stack_height=H, plate_area=2 * n * width * depth, header_area=d.tank_length * height,
        turn_area=d.tank_length * ((T if d.side_by_side > 0 else H) - 2 * d.tank_wall),
        port_resistance=_port_resistance(d.port, face), dry_mass=d.density * metal,
        coolant_volume=n * depth * b_coolant * L * (1 - coolant.surface.metal) + 2 * d.tank_length * inside,
    )


def _side(family: str, fin: Record, face: float, length: float, open_: float, front: float, outer: float) -> Record:
    cell = surface(family, fin)
    free = face * cell.open * open_
    sigma = free / front
    Cc = _contraction(sigma)
    return Record(
        family=family, fin=fin, surface=cell, flow_length=length, free_area=free, area=face * length * cell.density,
        sigma=sigma, outer_share=outer, Kc=(1 - 2 * Cc + Cc * Cc) / (Cc * Cc), Ke=1 - 2 * sigma + sigma * sigma,
    )


def _contraction(sigma: float) -> float:
    u = math.sqrt(1 - sigma)
    x = sigma * (1 + u * (-0.90543 + u * (0.72275 - u * 0.21209)))
    for _ in range(3):
        angle, xx = 2 / math.pi * math.atan(x), x * x
        slope = 1 + 2 / math.pi * (1 - xx) / (1 + xx) - 2 * x * angle
        x -= (x + (1 - xx) * angle - sigma) / slope
    return x / sigma


def _port_resistance(port: Record, face: float) -> float:
    fitting = _step(port.line_area, port.area) + _step(port.area, port.line_area)
    tank = _step(port.area, face) + _step(face, port.area)
    return float(fitting / min(port.line_area, port.area) ** 2 + tank / min(port.area, face) ** 2)


def _step(first: float, then: float) -> float:
    ratio = min(first, then) / max(first, then)
    if then >= first:
        return (1 - ratio) ** 2
    beta = math.sqrt(ratio)
    jet = 1 + 0.622 * (1 - 0.215 * beta**2 - 0.785 * beta**5)
    return float(0.0696 * (1 - beta**5) * jet * jet + (jet - 1) ** 2)
