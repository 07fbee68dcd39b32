"""Cores and duties the physics tests rate: an invented charge cooler of ordinary size, changed by keyword."""

from functools import cache
from typing import Any

import numpy as np

from physics.arrays import Array
from physics.columns import column
from physics.core import Designs
from physics.duty import Duty, ModelFactors
from physics.fins import OFFSET_STRIP, Fin, Flow
from physics.ports import round_port
from physics.properties import AIR, ConstantFluid, coolant
from physics.rating import Rating, rate

GLYCOL = coolant("ethylene glycol", 0.5, "volume")
INCH = 25.4e-3

DIMENSIONS = {
    "length": 0.28,
    "thickness": 0.07,
    "passages": 11,
    "passes": 1,
    "side_by_side": 0,
    "plate_thickness": 0.5e-3,
    "side_plate_thickness": 1.5e-3,
    "air_bar_width": 5e-3,
    "coolant_bar_width": 5e-3,
    "divider_width": 4e-3,
    "air_blockage": 0.04,
    "coolant_blockage": 0.03,
    "air_fouling": 0.0,
    "coolant_fouling": 2e-5,
    "fin_conductivity": 180,
    "plate_conductivity": 160,
    "density": 2730,
    "tank_length": 0.018,
    "tank_wall": 0.003,
    "seal_land": 0.003,
    "turn_loss": 1.2,
    "header_mouth": 0.5,
    "header_factor": 1.0,
    "lid_loss": 0.35,
    "lid_area": 0.03,
    "plenum_loss": 0.5,
    "plenum_area": 0.028,
}


def fin(**changes: float | Array) -> Fin:
    """A fin; numbers become shared columns."""
    return Fin(**{name: column(value) for name, value in changes.items()})


AIR_FIN = fin(spacing=6.35e-3, pitch=INCH / 18, thickness=0.102e-3, strip_length=3.175e-3)
PLAIN_TURBULATOR = fin(spacing=2.5e-3, pitch=3e-3, thickness=0.15e-3)
TURBULATOR = fin(spacing=2e-3, pitch=1.8e-3, thickness=0.15e-3, strip_length=3.175e-3)


def core(**changes: Any) -> Designs:
    """The ordinary core, with numbers or columns (n,) in place of any field."""
    parts: dict[str, Any] = {
        "air_fin": AIR_FIN,
        "coolant_fin": TURBULATOR,
        "port": round_port(column(0.019), column(0.019)),
        "air_family": OFFSET_STRIP,
        "coolant_family": OFFSET_STRIP,
    }
    parts = {name: changes.pop(name, part) for name, part in parts.items()}
    unknown = set(changes) - set(DIMENSIONS)
    if unknown:
        raise ValueError(f"no such dimension: {sorted(unknown)}")
    parts.update({name: column(value) for name, value in {**DIMENSIONS, **changes}.items()})
    return Designs(**parts)


def duty(
    air_flow: float | Array = 0.80,
    air_temperature: float | Array = 142.0,
    air_pressure: float | Array = 215e3,
    coolant_flow: float | Array = 0.97,
    coolant_temperature: float | Array = 46.0,
    **fluids: Any,
) -> Duty:
    """One duty point (or as many as the arrays hold); kg/s, degC, Pa."""
    values = [
        np.atleast_1d(np.asarray(v, dtype=float))
        for v in (air_flow, air_temperature, air_pressure, coolant_flow, coolant_temperature)
    ]
    m = max(v.shape[-1] for v in values)
    names = tuple(f"point {i}" for i in range(m))
    return Duty(
        names,
        fluids.get("air", AIR),
        fluids.get("coolant", GLYCOL),
        values[0],
        values[1] + 273.15,
        values[2],
        values[3],
        values[4] + 273.15,
        np.full(m, fluids.get("coolant_pressure", 2e5)),
    )


DUTIES = {
    "full power": duty(),
    "climb": duty(0.55, 118, 175e3, 0.79, 55),
    "hardly any coolant": duty(0.80, 142, 215e3, 0.05, 46),
    "heated air": duty(0.50, -5, 101e3, 0.8, 70),
    "water": duty(0.80, 142, 215e3, 1.0, 30, coolant=coolant("water")),
}


def one(rating: Rating, name: str) -> float:
    """The only value of an output: one core, one duty point."""
    return float(np.ravel(rating[name])[0])


def flow(
    Re: Any,
    Pr: float = 0.7,
    length: float = 0.05,
    width: float = 0.06,
    stack: float = 0.01,
    gap: float = 0.002,
) -> Flow:
    """Air past an ordinary air fin, unless changed; lengths in m."""
    Re = np.asarray(Re, dtype=float)
    return Flow(np.atleast_1d(Re), column(Pr), column(length), column(width), column(stack), column(gap))


@cache
def constant_core(NTU: float, C_ratio: float, air_is_min: bool) -> tuple[Rating, float, float]:
    """A rating with constant properties near the wanted NTU and C*, and its NTU on either stream."""
    cp, T_hot, T_cold = 1000.0, 400.0 - 273.15, 300.0 - 273.15
    air = ConstantFluid("hot", cp, 2e-5, 0.03, gas_constant=287.0)
    cold = ConstantFluid("cold", cp, 2e-4, 0.3, density=1000.0)
    air_flow = 0.5
    coolant_flow = air_flow / C_ratio if air_is_min else air_flow * C_ratio
    point = duty(air_flow, T_hot, 3e5, coolant_flow, T_cold, air=air, coolant=cold)
    r = rate(core(coolant_fouling=0, tank_length=10.0), point)
    # Conductance to order: scale both films alike until NTU is met
    low, high = 1e-2, 1e2
    for _ in range(14):
        factor = np.sqrt(low * high)
        r = rate(
            core(coolant_fouling=0, tank_length=10.0),
            point,
            ModelFactors(column(factor), coolant_j=column(factor)),
        )
        low, high = (factor, high) if one(r, "NTU") < NTU else (low, factor)
    UA = one(r, "UA")
    return r, UA / (air_flow * cp), UA / (coolant_flow * cp)
