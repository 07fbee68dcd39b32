"""Installations the physics tests rate cores in: an invented pump, lines, front exchanger, blower and engine."""

from typing import Any

import numpy as np

from physics.blower import Blower, Curve, Engine
from physics.columns import column
from physics.installation import BREATHING, GIVEN, HELD, Asked, Installation
from physics.loop import FrontExchanger, Loop, LossLaw, Run, loss_law
from physics.pipes import Line
from physics.pump import Pump, pump

PUMP = pump(np.array([0, 20, 40, 60, 80, 92]) / 6e4, np.array([12.5, 12.0, 10.4, 7.6, 3.6, 0.0]))
LINE = Line(column(17.46e-3), column(1.5e-6))
RUN = Run(length=4.6, equivalent_length=180.0, coefficient=1.5)
FRONT_LOSS = loss_law((20 / 6e4, 50 / 6e4), (3.4e3, 18e3))
BLOWER = Blower(
    displacement=3.4e-3, volumetric=Curve(np.array([1.0, 1.5, 2.5]), np.array([0.96, 0.91, 0.82])),
    isentropic=Curve(np.array([1.2, 1.8, 2.6]), np.array([0.62, 0.70, 0.66])), mechanical=0.95, inlet_loss=2e3,
    drive_ratio=2.1,
)
ENGINE = Engine(displacement=7.0e-3, volumetric=Curve(np.array([0.0]), np.array([0.95])))


def loop(
    pumps: tuple[Pump, ...] = (PUMP,), line: Line = LINE, runs: tuple[Run, ...] = (RUN,),
    front_loss: LossLaw | None = FRONT_LOSS, opening_pressure: float = 0.0,
) -> Loop:
    """The ordinary circuit, or with parts changed."""
    return Loop(pumps, line, runs, front_loss, opening_pressure)


def asked(
    m: int = 1, air: str = GIVEN, flow_open: bool = True, temperature_open: bool = False, **changes: Any
) -> Asked:
    """m duty points of one kind; numbers of `changes` in place of the ordinary ones."""
    usual = {
        "ambient_temperature": 307.0, "ambient_pressure": 96e3, "front_air_flow": 3.0, "pump_speed": 1.0,
        "manifold_pressure": 198e3 if air == HELD else np.nan, "engine_speed": 110.0 if air == BREATHING else np.nan,
    }
    arrays = {name: np.broadcast_to(np.asarray(changes.get(name, v), dtype=float), (m,)) for name, v in usual.items()}
    return Asked((air,) * m, np.full(m, flow_open), np.full(m, temperature_open), **arrays)


def installation(held_to: Asked | None = None, **parts: Any) -> Installation:
    """Loop, front exchanger, blower and engine around a core."""
    usual = {"loop": loop(), "front": FrontExchanger(0.55, None), "blower": BLOWER, "engine": ENGINE}
    return Installation(held_to or asked(), **{**usual, **parts})
