"""Displacement blower and the engine that breathes behind it: flow, discharge temperature, work, efficiencies.

Efficiencies are curves over pressure ratio: measured ones, or made here from what a machine is (built-in pressure
ratio, leak area, loss torque). Speeds in revolutions a second.
"""

from dataclasses import dataclass

import numpy as np

from physics.arrays import Array, BoolArray
from physics.fluid import Fluid

GAMMA, GAS_CONSTANT = 1.4, 287.05  # of dry air at room temperature [-], [J/(kg K)]; for the curves made here only
RATIOS = 1 + np.geomspace(0.05, 3.0, 40)  # pressure ratios of those; lines between them keep 0.2 %


@dataclass(frozen=True)
class Curve:
    """Straight lines between points x (k,), rising, and y (k,); held at the ends. One point is a constant."""

    x: Array
    y: Array

    def __post_init__(self) -> None:
        if np.ndim(self.x) != 1 or np.shape(self.x) != np.shape(self.y) or not len(self.x):
            raise ValueError("a curve needs one or more points, as many x as y")
        if np.any(np.diff(self.x) <= 0):
            raise ValueError(f"the x of a curve rises from point to point: {np.asarray(self.x).tolist()}")

    def at(self, x: Array | float) -> Array:
        """Value at x, in the shape of x; NaN at NaN.

        >>> Curve(np.array([1.0, 2.0]), np.array([0.9, 0.8])).at(np.array([[1.25, 3.0]])).tolist()
        [[0.875, 0.8]]
        """
        return np.asarray(np.interp(x, self.x, self.y))

    def outside(self, x: Array | float) -> BoolArray:
        """Where x lies beyond the ends, or is NaN; nowhere for a constant."""
        if len(self.x) == 1:
            return np.zeros(np.shape(x), dtype=bool)
        return np.asarray(~((np.asarray(x) >= self.x[0]) & (np.asarray(x) <= self.x[-1])))


@dataclass(frozen=True)
class Blower:
    """A displacement blower; the curves are over the pressure ratio, outlet over inlet."""

    displacement: float  # [m3] a revolution
    volumetric: Curve  # flow over displacement x speed x inlet density
    isentropic: Curve  # isentropic rise over the charge's own rise of temperature
    mechanical: float  # work on the charge over shaft work
    inlet_loss: float  # [Pa] of filter and throttle before it
    drive_ratio: float | None = None  # blower revolutions per engine revolution

    def outside(self, ratio: Array) -> BoolArray:
        """Where a pressure ratio lies beyond one of the curves, or below 1, where nothing is compressed."""
        return self.volumetric.outside(ratio) | self.isentropic.outside(ratio) | (ratio < 1)


@dataclass(frozen=True)
class Engine:
    """What breathes the charge: displacement [m3], volumetric efficiency over speed [rev/s]."""

    displacement: float
    volumetric: Curve  # on the density in the manifold
    strokes: int = 4


@dataclass(frozen=True)
class Compression:
    """Temperature [K] after the blower and work on the charge [J/kg]."""

    T2: Array
    work: Array


@dataclass(frozen=True)
class Intake:
    """A gas before the blower: temperature [K], density [kg/m3], R and, at no pressure, cp [J/(kg K)]."""

    gas: Fluid
    T: Array | float
    rho: Array
    R: Array
    cp: Array


def intake(gas: Fluid, T1: Array | float, p1: Array | float) -> Intake:
    """A gas at T1 [K], p1 [Pa] before the blower."""
    rho = gas.density(T1, p1)
    return Intake(gas, T1, rho, p1 / (rho * T1), gas.specific_heat(T1, 0.0))


def compress(gas: Fluid, T1: Array | float, p1: Array | float, ratio: Array, efficiency: Array | float) -> Compression:
    """Compression from T1 [K], p1 [Pa] by a pressure ratio > 0 at an isentropic efficiency; all broadcast.

    T2 = T1 {1 + [ratio^(R/cp) - 1]/efficiency}, work = cp (T2 - T1) (Borgnakke & Sonntag, Fundamentals of
    Thermodynamics); below a ratio of 1 the charge goes round the rotors, throttled: no rise, no work. cp halfway
    between T1 and a first estimate of T2, at no pressure: the formula is that of an ideal gas: T2 comes within 0.15 K
    of CoolProp's air to ratio 3, the work within 0.25 %.

    >>> from physics.properties import ConstantFluid
    >>> air = ConstantFluid("air", 1004.0, 1.8e-5, 0.026, gas_constant=1004.0 / 3.5)
    >>> done = compress(air, 300.0, 1e5, np.array(1.5), 0.70)
    >>> round(float(done.T2), 1), round(float(done.work) / 1e3, 1)  # 300 (1 + (1.5^(1/3.5) - 1)/0.7), by hand 352.6
    (352.6, 52.8)
    """
    return compressed(intake(gas, T1, p1), ratio, efficiency)


def compressed(before: Intake, ratio: Array, efficiency: Array | float) -> Compression:
    """`compress` from what is known of the gas before the blower."""
    log_ratio = np.log(np.maximum(ratio, 1.0))
    x = before.R / before.cp * log_ratio
    half_rise = x / (2 - x) / efficiency  # exp(x) - 1 = 2x/(2 - x) within 1 % to ratio 3: enough for cp
    cp = before.gas.specific_heat(before.T * (1 + half_rise), 0.0)
    rise = before.T * ((np.exp(before.R / cp * log_ratio) - 1) / efficiency)
    return Compression(before.T + rise, cp * rise)


def swept_flow(blower: Blower, speed: Array | float, ratio: Array, rho1: Array | float) -> Array:
    """Mass flow [kg/s] at a blower speed [rev/s] and a density before the blower [kg/m3]."""
    return np.asarray(blower.displacement * speed * rho1 * blower.volumetric.at(ratio))


def speed_for(blower: Blower, mass_flow: Array | float, ratio: Array, rho1: Array | float) -> Array:
    """Blower speed [rev/s] that moves a mass flow [kg/s]."""
    return np.asarray(mass_flow / (blower.displacement * rho1 * blower.volumetric.at(ratio)))


def shaft_power(blower: Blower, mass_flow: Array | float, work: Array) -> Array:
    """Power at the blower's shaft [W] for a flow [kg/s] and the work on it [J/kg]."""
    return np.asarray(mass_flow * work / blower.mechanical)


def engine_flow(engine: Engine, speed: Array | float, rho_manifold: Array | float) -> Array:
    """Mass flow [kg/s] an engine takes at a speed [rev/s] from a manifold density [kg/m3].

    >>> float(engine_flow(Engine(4e-3, Curve(np.array([0.0]), np.array([0.5]))), 100.0, 2.0))
    0.2
    """
    fillings = speed * (2 / engine.strokes)
    return np.asarray(engine.displacement * fillings * engine.volumetric.at(speed) * rho_manifold)


def ideal_efficiency(gamma: float, ratio: Array, built_in_ratio: float) -> Array:
    """Isentropic efficiency of a loss-free machine that compresses to a built-in ratio and then at constant volume.

    Its work over p1 v1 is g/(g - 1) (ri^k - 1) + (r - ri) ri^(-1/g), k = (g - 1)/g; ri = 1 is the Roots blower (Nag,
    Basic and Applied Thermodynamics, Example 19.14). Below ri it compresses too far. Ratios > 1.

    >>> float(ideal_efficiency(1.4, np.array(2.0), 1.0).round(4))  # 3.5 (2^(2/7) - 1)/(2 - 1)
    0.7665
    """
    k = (gamma - 1) / gamma
    inside = (built_in_ratio**k - 1) / k
    return np.asarray((ratio**k - 1) / k / (inside + (ratio - built_in_ratio) * built_in_ratio ** (-1 / gamma)))


def isentropic_curve(built_in: float, internal: float, gamma: float = GAMMA) -> Curve:
    """Isentropic efficiency over `RATIOS`: the ideal machine of a built-in ratio (1 = Roots) times an internal one.

    `internal` holds what else heats the charge: leakage, flow losses, friction in the air.
    """
    if built_in < 1 or not 0 < internal <= 1:
        raise ValueError(f"built-in pressure ratio >= 1 and internal efficiency in 0 .. 1, not {built_in}, {internal}")
    return Curve(RATIOS, internal * ideal_efficiency(gamma, RATIOS, built_in))


def leakage(
    displacement: float, leak_area: float, loss_torque: float, speed: float, p1: float, T1: float,
    ratios: Array = RATIOS,
) -> tuple[Curve, Curve]:
    """Volumetric and isentropic efficiency over pressure ratios > 1 of a dry machine that leaks, at one speed [rev/s].

    A share x of what the rotors take in returns from the discharge (tau T_mix, tau = ratio^(R/cp)) through a nozzle of
    `leak_area` [m2] and mixes with the suction (T1 [K], p1 [Pa]); compression from the mixture is isentropic, so that
    T_mix = T1 (1 - x)/(1 - x tau) and the volumetric efficiency is 1 - x tau. The loss torque [N m] adds 2 pi N torque
    after it, all taken as heat in the charge: what goes to gears and bearings belongs to the mechanical efficiency.
    Ratios the machine cannot hold, because all it sweeps leaks back, are left out; ValueError when none is left.
    Source: University of Liege, course exercise on a dry screw compressor.
    """
    k = (GAMMA - 1) / GAMMA
    r = np.asarray(ratios, dtype=float)
    tau, rho1 = r**k, p1 / (GAS_CONSTANT * T1)
    cold = nozzle_flow(leak_area, r * p1, tau * T1, r) / (rho1 * displacement * speed)
    volumetric = 1 - tau * np.array([_leak_share(t, c) for t, c in zip(tau, cold, strict=True)])
    held = np.isfinite(volumetric)
    if not np.any(held):
        raise ValueError("all the blower sweeps leaks back: a smaller leak area or a higher speed is needed")
    work = GAS_CONSTANT * T1 * (tau - 1) / k
    isentropic = volumetric * work / (work + 2 * np.pi * loss_torque / (rho1 * displacement))
    return Curve(r[held], volumetric[held]), Curve(r[held], isentropic[held])


def nozzle_flow(area: float, p0: Array, T0: Array, ratio: Array, gamma: float = GAMMA) -> Array:
    """Isentropic nozzle flow [kg/s] from rest at p0 [Pa], T0 [K] to p0/ratio, choked above the critical ratio."""
    critical = ((gamma + 1) / 2) ** (gamma / (gamma - 1))
    q = 1 / np.minimum(ratio, critical)
    speed = np.sqrt(2 * gamma / (gamma - 1) * (q ** (2 / gamma) - q ** ((gamma + 1) / gamma)))
    return np.asarray(area * p0 / np.sqrt(GAS_CONSTANT * T0) * speed)


def _leak_share(tau: float, cold: float) -> float:
    """Share of the swept flow that is leak: x = c sqrt(T_mix/T1), c that of an unheated suction; NaN if none holds.

    With T_mix the cubic tau x^3 - x^2 - c^2 x + c^2 = 0; the smaller of its two roots below 1/tau is the stable one.
    """
    roots = np.roots([tau, -1.0, -cold * cold, cold * cold])
    x = roots.real[(np.abs(roots.imag) < 1e-9) & (roots.real >= 0) & (roots.real < 1 / tau)]
    return float(np.min(x)) if len(x) else float("nan")
