"""Ports and tanks: opening, fit, the loss from line to tank and back, and how evenly a tank feeds the passages."""

from dataclasses import dataclass

import numpy as np

from physics.arrays import Array
from physics.pressure_drop import sudden_contraction, sudden_expansion

SPREAD_LIMIT = 0.5  # header ratio to which the linear spread was checked on a passage network (within 8 %)


@dataclass(frozen=True)
class Port:
    """Port openings as columns, (n,) or (1,), [m], [m2]; height is across the core's thickness."""

    area: Array
    perimeter: Array
    height: Array
    width: Array
    line_area: Array


def round_port(bore: Array, line_bore: Array) -> Port:
    """A drilled port."""
    return Port(np.pi / 4 * bore**2, np.pi * bore, bore, bore, np.pi / 4 * line_bore**2)


def d_port(radius: Array, open_height: Array, line_bore: Array) -> Port:
    """A circular segment: a bore of `radius` cut by a flat, `open_height` from the flat to the far side.

    A = R^2 acos((R-h)/R) - (R-h) sqrt(2Rh - h^2); P = 2R acos((R-h)/R) + 2 sqrt(2Rh - h^2).

    >>> port = d_port(np.array([0.020]), np.array([0.015]), np.array([0.016]))
    >>> round(float(port.area[0]) * 1e6, 3)
    430.422
    """
    R, h = radius, open_height
    half_angle = np.arccos((R - h) / R)
    half_chord = np.sqrt(2 * R * h - h * h)
    return Port(
        area=R * R * half_angle - (R - h) * half_chord,
        perimeter=2 * R * half_angle + 2 * half_chord,
        height=h,
        width=np.where(h >= R, 2 * R, 2 * half_chord),
        line_area=np.pi / 4 * line_bore**2,
    )


def slot_port(height: Array, width: Array, line_bore: Array) -> Port:
    """A stadium: straight sides of width - height between two half rounds of diameter `height`."""
    straight = width - height
    return Port(
        area=np.pi / 4 * height**2 + straight * height,
        perimeter=np.pi * height + 2 * straight,
        height=height,
        width=width,
        line_area=np.pi / 4 * line_bore**2,
    )


def hydraulic_diameter(port: Port) -> Array:
    """4 A / P [m]."""
    return 4 * port.area / port.perimeter


def area_step(area_in: Array, area_out: Array) -> Array:
    """Loss coefficient from one area to the next, on the smaller area's velocity: contraction or expansion."""
    ratio = np.minimum(area_in, area_out) / np.maximum(area_in, area_out)
    return np.where(area_out < area_in, sudden_contraction(ratio), sudden_expansion(ratio))


def port_resistance(port: Port, tank_face: Array) -> Array:
    """Loss of line -> port -> tank on the way in and tank -> port -> line on the way out, over m^2/(2 rho) [1/m4].

    `tank_face` [m2]: the tank's inside cross-section the port opens into.
    """
    narrow_fitting = np.minimum(port.line_area, port.area)
    narrow_tank = np.minimum(port.area, tank_face)
    fitting = area_step(port.line_area, port.area) + area_step(port.area, port.line_area)
    tank = area_step(port.area, tank_face) + area_step(tank_face, port.area)
    return np.asarray(fitting / narrow_fitting**2 + tank / narrow_tank**2)


def port_loss(resistance: Array, mass_flow: Array, rho: Array) -> Array:
    """Loss [Pa] of both ports by their resistance [1/m4]."""
    return resistance * (mass_flow * mass_flow) / (2 * rho)


def header_spread(ratio: Array, exponent: Array, spread_factor: Array) -> Array:
    """Flow spread over the passages, (max - min)/mean [-].

    ratio: header dynamic pressure over passage loss; exponent n of passage loss ~ flow^n; spread_factor:
    k_c - k_d = 1 for a header fed and drawn at the same end, k_c + k_d = 3 at opposite ends (derived with
    pressure recovery k_d = 1 dividing, k_c = 2 combining; within 8 % of a 40-passage network to ratio 0.5).
    """
    return spread_factor * ratio / exponent
