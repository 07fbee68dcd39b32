"""Lines between the parts: friction of round pipes, fittings, the step at an adapter, bores of the dash sizes."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from physics.arrays import Array
from physics.pressure_drop import sudden_contraction, sudden_expansion

RE_LAMINAR = 2300.0
RE_TURBULENT = 4000.0
SMOOTHEST = 1e-6  # roughness over bore below which a pipe has no fully rough friction to speak of: smooth to Re 1e7
STEEL_ROUGHNESS = 45.72e-6  # [m] 0.0018 in, clean commercial steel: the pipe equivalent lengths refer to (Crane TP-410)
# Haaland, J. Fluids Eng. 105 (1983) 89-90: 1/sqrt(4 f) = -1.8 log10[6.9/Re + (e/3.7D)^1.11], here with ln.
_HAALAND = 0.25 * (np.log(10) / 1.8) ** 2
_SMOOTH, _ROUGH_DIVISOR, _ROUGH_POWER = 6.9, 3.7, 1.11
_NO_FLOW, _NO_LOSS = 1e-9, 1e-300  # Re, coefficient: instead of zero, so that no flow is no loss and never NaN

# Equivalent lengths over bore, L/D; Crane TP-410, from memory.
FITTINGS = {
    "elbow 90": 30.0, "elbow 45": 16.0, "long elbow 90": 14.0, "return bend": 50.0,
    "tee run": 20.0, "tee branch": 60.0,
    "ball valve": 3.0, "gate valve": 8.0, "angle valve": 150.0, "swing check valve": 100.0,
}  # fmt: skip
# Loss coefficients on the velocity in the line; Crane TP-410, from memory.
COEFFICIENTS = {"sharp entry": 0.5, "exit": 1.0}

# Bores [mm]. Dash: tube outside diameter in sixteenths of an inch. The bore belongs to the family, not to the dash:
# hoses of the tube series are narrower than "nominal" ones, whose bore is the dash (from memory).
_BORES = {
    "tube series hose": {4: 4.76, 6: 7.94, 8: 11.11, 10: 14.29, 12: 17.46, 16: 22.22, 20: 28.57, 24: 34.92},
    "37 degree fitting": {4: 4.83, 6: 7.92, 8: 11.1, 12: 17.45, 16: 23.83},
    "nominal hose": {4: 6.35, 6: 9.52, 8: 12.70, 10: 15.88, 12: 19.05, 16: 25.40, 20: 31.75, 24: 38.10, 32: 50.80},
}
DASH_FAMILIES = tuple(_BORES)


@dataclass(frozen=True)
class Line:
    """Round pipe or hose as columns, (n,) or (1,): bore and roughness [m]."""

    bore: Array
    roughness: Array

    @cached_property
    def area(self) -> Array:
        """Cross-section [m2]."""
        return np.pi / 4 * self.bore * self.bore

    @cached_property
    def rough_term(self) -> Array:
        """What the roughness adds in Haaland's formula [-]."""
        return _rough_term(self.roughness / self.bore)

    @cached_property
    def fitting_friction(self) -> Array:
        """Fanning f_T that goes with equivalent lengths: of clean commercial steel of this bore [-]."""
        return rough_friction(STEEL_ROUGHNESS / self.bore)


def dash_bore(dash: int, family: str) -> float:
    """Bore [m] of a dash size in a family of hoses or fittings; ValueError names what there is.

    >>> round(dash_bore(16, "tube series hose") * 1e3, 2)
    22.22
    """
    if family not in _BORES:
        raise ValueError(f"no dash sizes for {family!r}: the families are {', '.join(map(repr, DASH_FAMILIES))}")
    sizes = _BORES[family]
    if dash not in sizes:
        raise ValueError(f"no bore known for dash {dash} as {family}: there are {', '.join(map(str, sizes))}")
    return sizes[dash] * 1e-3


def pipe_friction(Re: Array, relative_roughness: Array | float) -> tuple[Array, Array]:
    """Fanning f of a round pipe and d ln f/d ln Re; Re > 0, relative_roughness = e/D, broadcasting.

    16/Re to Re 2300, Haaland 1983 from 4000, linear in Re between the two ends, so that the loss is continuous and
    rises with flow. One logarithm a value.

    >>> f, slope = pipe_friction(np.array([1000.0, 1e5]), 1e-3)
    >>> f.round(6).tolist(), float(slope[0])  # log10(6.9e-5 + 1.0947e-4) = -3.74843; 1/(3.6 x 3.74843)^2
    ([0.016, 0.005492], -1.0)
    """
    return _friction(Re, _rough_term(relative_roughness))


def _friction(Re: Array, rough: Array) -> tuple[Array, Array]:
    smooth = _SMOOTH / Re
    both = smooth + rough
    half_log = np.log(both)
    half_log *= 0.5  # in place: fresh memory costs more than the arithmetic
    both *= half_log
    slope = smooth / both
    half_log *= half_log
    f = 0.25 * _HAALAND / half_log
    if np.any(Re < RE_TURBULENT):
        slow_f, slow_slope = _slow_friction(Re, rough)
        fast = Re >= RE_TURBULENT
        return np.where(fast, f, slow_f), np.where(fast, slope, slow_slope)
    return f, slope


def _rough_term(relative_roughness: Array | float) -> Array:
    # A column even of one number: NumPy raises a bare number by another routine, which may differ in the last bit.
    return np.asarray((np.atleast_1d(relative_roughness) / _ROUGH_DIVISOR) ** _ROUGH_POWER)


def _slow_friction(Re: Array, rough: Array) -> tuple[Array, Array]:
    """Fanning f and d ln f/d ln Re below Re 4000: the laminar law, and the transition."""
    first, last = 16 / RE_LAMINAR, _HAALAND / np.log(_SMOOTH / RE_TURBULENT + rough) ** 2
    rise = (last - first) / (RE_TURBULENT - RE_LAMINAR)
    between = first + rise * (Re - RE_LAMINAR)
    laminar = Re <= RE_LAMINAR
    return np.where(laminar, 16 / Re, between), np.where(laminar, -1.0, rise * Re / between)


def rough_friction(relative_roughness: Array | float) -> Array:
    """Fanning f at endless Re: Haaland 1983 without 6.9/Re; e/D at least `SMOOTHEST`.

    >>> round(float(rough_friction(1e-3)), 6)  # 1/(3.6 x 1.11 x 3.56820)^2
    0.004919
    """
    log = _ROUGH_POWER * np.log(np.maximum(relative_roughness, SMOOTHEST) / _ROUGH_DIVISOR)
    return np.asarray(_HAALAND / (log * log))


@dataclass(frozen=True)
class LineLoss:
    """Loss [Pa] of pipe and fittings, and d ln(total)/d ln(flow)."""

    friction: Array
    fittings: Array
    slope: Array

    @property
    def total(self) -> Array:
        return self.friction + self.fittings


def line_loss(
    line: Line,
    length: float,
    equivalent_length: float,
    coefficient: float,
    mass_flow: Array,
    rho: Array,
    mu: Array,
) -> LineLoss:
    """Loss of `length` [m] of pipe, of fittings as a sum of L/D, and of a sum of coefficients on the line's velocity.

    dp = (4 f L/D + 4 f_T sum(L/D) + sum(K)) G^2/(2 rho). f_T, the fully rough friction that goes with the equivalent
    lengths (Crane TP-410), is that of clean commercial steel of this bore, whatever the line is made of: a smooth
    hose does not make its elbows any better. mass_flow [kg/s] >= 0; columns broadcast against duty points.

    >>> one = np.ones(1)
    >>> oil = line_loss(Line(0.02 * one, 0 * one), 1.0, 0.0, 2.0, np.pi * 1e-4 * 1e3 * one, 1e3 * one, 0.02 * one)
    >>> float(oil.friction[0].round(6)), float(oil.fittings[0].round(6))  # Re 1000: 64/1000 x 1/0.02 x 500, 2 x 500
    (1600.0, 1000.0)
    """
    bore = line.bore
    Re = mass_flow / mu * (4 / (np.pi * bore))
    f, slope = _friction(np.maximum(Re, _NO_FLOW), line.rough_term)
    pipe, fittings = f * (4 * length / bore), 4 * line.fitting_friction * equivalent_length + coefficient
    slope *= pipe
    slope /= np.maximum(pipe + fittings, _NO_LOSS)
    slope += 2
    G = mass_flow / line.area
    head = 0.5 * G * G / rho
    return LineLoss(pipe * head, fittings * head, slope)


def step_resistance(area_one: Array, area_other: Array) -> Array:
    """Loss of an adapter's step passed once each way, in at one end of the core, out at the other, over m^2/rho [1/m4].

    One way contracts and the other expands, whichever is the wider: both coefficients on the narrower area.

    >>> R = step_resistance(np.array([1e-4]), np.array([2e-4]))  # K 0.3434 + 0.25 on 1 m/s of water
    >>> round(float(R[0]) * 0.1**2 / 1e3)
    297
    """
    narrow = np.minimum(area_one, area_other)
    ratio = narrow / np.maximum(area_one, area_other)
    return np.asarray((sudden_contraction(ratio) + sudden_expansion(ratio)) / (2 * narrow * narrow))
