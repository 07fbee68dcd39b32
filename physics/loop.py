"""The coolant circuit around the core: pump, lines, front exchanger; its operating point and its temperatures.

One line of pumps, pipes, front exchanger and core in series, closed: no height to overcome. Outside the core the
coolant's properties are taken at its mean temperature in the core.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from physics.arrays import Array, BoolArray
from physics.heat_transfer import crossflow_unmixed
from physics.pipes import Line, line_loss
from physics.pump import Pump, in_series

GRAVITY = 9.80665
_FURTHEST = 4.0  # times up or down a Newton step may go
_USUAL_VELOCITY = 3.0  # [m/s] of coolant in a line; common practice, only to start from
_STEP_SLOPE = 2.0  # d ln(loss)/d ln(flow) of an area step


@dataclass(frozen=True)
class Run:
    """All sections of one line size: length [m], fittings as equivalent lengths [-] and coefficients [-].

    `line` None: the line the design chooses.
    """

    length: float
    equivalent_length: float
    coefficient: float
    line: Line | None = None


@dataclass(frozen=True)
class LossLaw:
    """A loss measured over volume flow: power laws between the points, and beyond the last ones; ln [m3/s], ln [Pa]."""

    log_flow: Array
    log_loss: Array

    def at(self, flow: Array) -> tuple[Array, Array]:
        """Loss [Pa] and d ln(loss)/d ln(flow) at a volume flow [m3/s].

        >>> law = loss_law([1e-4, 4e-4], [1e3, 16e3])
        >>> [round(float(x[0]), 6) for x in law.at(np.array([8e-4]))]
        [64000.0, 2.0]
        """
        x = np.log(flow)
        piece = np.clip(np.searchsorted(self.log_flow, x) - 1, 0, len(self.log_flow) - 2)
        slope = (np.diff(self.log_loss) / np.diff(self.log_flow))[piece]
        return np.exp(self.log_loss[piece] + slope * (x - self.log_flow[piece])), slope

    def outside(self, flow: Array) -> BoolArray:
        """Where a volume flow [m3/s] lies beyond the points."""
        x = np.log(flow)
        return np.asarray((x < self.log_flow[0]) | (x > self.log_flow[-1]))


def loss_law(flow: "list[float] | tuple[float, ...]", loss: "list[float] | tuple[float, ...]") -> LossLaw:
    """The law through measured points, two or more, both rising."""
    points = np.array([flow, loss], dtype=float)
    if points.shape[1] < 2 or np.any(points <= 0) or np.any(np.diff(points) <= 0):
        raise ValueError("a loss law needs two or more points, flow and loss rising and above zero")
    return LossLaw(np.log(points[0]), np.log(points[1]))


@dataclass(frozen=True)
class Loop:
    """Pumps in series, runs of line, the front exchanger's loss; `line` is the size the design chooses, a column."""

    pumps: tuple[Pump, ...]
    line: Line
    runs: tuple[Run, ...]
    front_loss: LossLaw | None
    opening_pressure: float  # [Pa] to be overcome before anything flows
    step: Array | None = None  # resistance of the step between line and port, passed both ways [1/m4]; None: no step


@dataclass(frozen=True)
class LoopLoss:
    """Loss of the circuit outside the core [Pa], and how it grows: d(total)/d(mass flow) [Pa s/kg]; (m, n)."""

    lines: Array
    fittings: Array
    step: Array  # between line and port, on the way in and out
    front: Array
    slope: Array

    @cached_property
    def total(self) -> Array:
        return self.lines + self.fittings + self.step + self.front


def loop_loss(loop: Loop, mass_flow: Array, rho: Array, mu: Array) -> LoopLoss:
    """Everything the coolant loses from core outlet round to core inlet."""
    lines = fittings = front = np.zeros_like(mass_flow)
    growth = np.zeros_like(mass_flow)
    for run in loop.runs:
        part = line_loss(
            run.line or loop.line, run.length, run.equivalent_length, run.coefficient, mass_flow, rho, mu
        )
        lines, fittings = lines + part.friction, fittings + part.fittings
        growth = growth + part.slope * (part.friction + part.fittings)
    step = loop.step * (mass_flow * mass_flow / rho) if loop.step is not None else np.zeros_like(mass_flow)
    if loop.front_loss is not None:
        front, slope = loop.front_loss.at(mass_flow / rho)
        growth = growth + slope * front
    return LoopLoss(lines, fittings, step, front, (growth + _STEP_SLOPE * step) / mass_flow)


def pump_pressure(loop: Loop, mass_flow: Array, rho: Array, speed: Array) -> tuple[Array, Array]:
    """Pressure rise of the pumps [Pa], less what opens the loop, and its slope over mass flow [Pa s/kg]."""
    head, slope = in_series(loop.pumps, mass_flow / rho, speed)
    return rho * GRAVITY * head - loop.opening_pressure, GRAVITY * slope


def first_flow(loop: Loop, rho: Array, speed: Array) -> Array:
    """A mass flow to start from: a usual velocity in the line, or half of what the pumps give at most (m, n)."""
    reach = np.max([np.broadcast_to(pump.reach(speed), np.shape(speed)) for pump in loop.pumps], axis=0)
    return np.asarray(rho * np.minimum(_USUAL_VELOCITY * loop.line.area, 0.5 * np.maximum(reach, 1e-6)))


def next_flow(mass_flow: Array, rise: Array, rise_slope: Array, loss: Array, loss_slope: Array) -> Array:
    """One Newton step towards the flow at which the pumps give what the circuit takes.

    The rise of a pump falls where the loss rises: the root is unique. Below it the step is taken on logarithms, where
    the loss is nearly straight; above it on the plain difference, as the rise may be nearing zero. Never further than
    fourfold up or down.
    """
    up = np.log(np.maximum(rise / loss, 1.0)) / (loss_slope / loss - rise_slope / np.maximum(rise, loss))
    down = np.minimum(rise - loss, 0.0) / (loss_slope - rise_slope)
    relative = np.clip((up + down) / mass_flow, -1 + 1 / _FURTHEST, np.log(_FURTHEST))
    return mass_flow * np.where(relative > 0, np.exp(relative), 1 + relative)


@dataclass(frozen=True)
class FrontExchanger:
    """Rejects the loop's heat to ambient air: by its effectiveness, or by its UA [W/K] as unmixed crossflow."""

    effectiveness: float | None
    UA: float | None

    def conductance(self, C_loop: Array, C_air: Array) -> tuple[Array, Array]:
        """eps C_min [W/K], heat over the difference of the inlet temperatures, and eps."""
        C_min = np.minimum(C_loop, C_air)
        if self.effectiveness is not None:
            return self.effectiveness * C_min, np.full_like(C_min, self.effectiveness)
        eps = crossflow_unmixed(np.asarray(self.UA) / C_min, C_min / np.maximum(C_loop, C_air))
        return eps * C_min, eps


def coupled_inlet(T_air: Array, T_ambient: Array, K_core: Array, K_front: Array, C_loop: Array) -> Array:
    """Coolant temperature into the core of a liquid-coupled pair at rest with itself [K].

    Q = (T_hot,in - T_cold,in) / [1/(eps1 Cmin1) + 1/(eps2 Cmin2) - 1/C_loop] (energy balance; Kays & London 1984 treat
    the pair as liquid-coupled indirect transfer, from memory); T_coolant,in = T_hot,in - Q/(eps1 Cmin1).
    The heat of the pump (some ten watts) is left out.

    >>> T = [np.array([x]) for x in (120.0, 0.0, 0.8 * 251.5, 0.5 * 1440.0, 1440.0)]
    >>> Q = (120 - coupled_inlet(*T)) * 0.8 * 251.5
    >>> round(float(Q[0]))
    21184
    """
    Q = (T_air - T_ambient) / (1 / K_core + 1 / K_front - 1 / C_loop)
    return T_air - Q / K_core
