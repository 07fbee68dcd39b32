"""Losses of a core, signed term by term, and the closed forms of sudden area changes."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from physics.arrays import Array

# Cc within 0.006 as 1 + a u + b u^2 + c u^3, u = sqrt(1 - sigma): three Newton steps from there leave 1e-12
_FIRST_CONTRACTION = (-0.90543, 0.72275, -0.21209)
_NEWTON_STEPS = 3


def contraction_coefficient(sigma: Array) -> Array:
    """Jet contraction Cc of a plane free-streamline contraction: 1/Cc = 1 + (2/pi)(1/x - x) atan x, x = Cc sigma.

    Source: von Mises 1917, from memory; Newton on sigma = x + (2/pi)(1 - x^2) atan x, 1e-12 throughout.

    >>> round(float(contraction_coefficient(np.array([0.5]))[0]), 6)
    0.644353
    """
    s = np.clip(sigma, 1e-6, 1 - 1e-9)
    u = np.sqrt(1 - s)
    a, b, c = _FIRST_CONTRACTION
    x = s * (1 + u * (a + u * (b + u * c)))
    for _ in range(_NEWTON_STEPS):
        angle, xx = (2 / np.pi) * np.arctan(x), x * x
        slope = 1 + (2 / np.pi) * (1 - xx) / (1 + xx) - 2 * x * angle
        x = x - (x + (1 - xx) * angle - s) / slope
    return x / s


def entry_coefficient(sigma: Array, Kd: float = 1.0) -> Array:
    """Kc = [1 - 2 Cc + Cc^2 (2 Kd - 1)]/Cc^2; Kays 1950. Kd = 1: interrupted fins, or apparent f.

    >>> round(float(entry_coefficient(np.array([0.5]))[0]), 6)
    0.304643
    """
    Cc = contraction_coefficient(sigma)
    return (1 - 2 * Cc + Cc * Cc * (2 * Kd - 1)) / (Cc * Cc)


def exit_coefficient(sigma: Array, Kd: float = 1.0) -> Array:
    """Ke = 1 - 2 Kd sigma + sigma^2; Kays 1950."""
    return 1 - 2 * Kd * sigma + sigma * sigma


@dataclass(frozen=True)
class CoreLoss:
    """The four signed terms [Pa] of a core's loss; acceleration is negative when a gas is cooled."""

    entry: Array
    acceleration: Array
    friction: Array
    exit: Array

    @cached_property
    def total(self) -> Array:
        return self.entry + self.acceleration + self.friction + self.exit


def core_factors(sigma: Array, Kc: Array, Ke: Array, length_over_Dh: Array) -> tuple[Array, Array, Array]:
    """The terms of `core_loss` by the density they go with: dp = (G^2/2) (inlet/rho1 + outlet/rho2 + f mean/rho_m)."""
    open_face = 1 - sigma * sigma
    return Kc + open_face - 2, 2 - open_face + Ke, 4 * length_over_Dh


def core_loss(
    G: Array, sigma: Array, Kc: Array, Ke: Array, f: Array, length_over_Dh: Array,
    rho_in: Array, rho_out: Array, rho_mean: Array,
) -> CoreLoss:
    """Kays & London 1984, eq 2-26a, with Fanning f.

    dp = (G^2/2) {(Kc + 1 - s^2)/rho1 + 2 (1/rho2 - 1/rho1) + 4 f (L/Dh)/rho_m - (1 - s^2 - Ke)/rho2}
    """
    q = 0.5 * G * G
    open_face = 1 - sigma * sigma
    return CoreLoss(
        entry=q * (Kc + open_face) / rho_in,
        acceleration=q * 2 * (1 / rho_out - 1 / rho_in),
        friction=q * 4 * f * length_over_Dh / rho_mean,
        exit=q * (Ke - open_face) / rho_out,
    )


def duct_resistance(coefficient: Array, area: Array) -> Array:
    """A stated coefficient on a stated area as a loss over m^2/(2 rho) [1/m4]."""
    return coefficient / (area * area)


def duct_loss(coefficient: Array, area: Array, mass_flow: Array, rho: Array) -> Array:
    """Loss [Pa] of a stated coefficient on a stated area: K (m/A)^2 / (2 rho)."""
    G = mass_flow / area
    return coefficient * G * G / (2 * rho)


def sudden_contraction(area_ratio: Array) -> Array:
    """K on the small side for a sharp contraction, area_ratio = small/large; Rennels & Hudson 2012, ch. 10.

    >>> round(float(sudden_contraction(np.array([0.36]))[0]), 4)
    0.4386
    """
    beta = np.sqrt(area_ratio)
    beta5 = beta**5
    jet = 1 + 0.622 * (1 - 0.215 * beta * beta - 0.785 * beta5)
    return 0.0696 * (1 - beta5) * jet * jet + (jet - 1) ** 2


def sudden_expansion(area_ratio: Array) -> Array:
    """K on the small side for a sudden expansion, (1 - small/large)^2; Borda-Carnot.

    >>> round(float(sudden_expansion(np.array([0.36]))[0]), 4)
    0.4096
    """
    return (1 - area_ratio) ** 2
