"""One currency for cooling and loss: charge, shaft power and engine power gained over a reference core."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from physics.arrays import Array, BoolArray

_STATE = ("charge_flow", "charge_density", "air_outlet_temperature", "shaft_power")


@dataclass(frozen=True)
class Worth:
    """What the engine makes of its charge: a stated estimate, to be replaced by the engine's own figures."""

    power_per_air: float  # [J/kg] engine power per charge mass flow
    power_per_kelvin: float  # [1/K] share of engine power lost per kelvin of hotter charge


@dataclass(frozen=True)
class Reference:
    """The reference core's state at each duty point, (m,) or (n, m) where the model's factors differ."""

    charge_flow: Array
    charge_density: Array
    air_outlet_temperature: Array
    shaft_power: Array


def reference_of(values: Mapping[str, Array]) -> Reference:
    """The reference from the outputs of its rating."""
    return Reference(*(values[name] for name in _STATE))


def net_gain(values: Mapping[str, Array], reference: Reference, worth: Worth, breathing: BoolArray) -> dict[str, Array]:
    """Change of charge flow [kg/s], shaft, engine and net power [W] against the reference; (n, m).

    An engine that breathes takes the flow it takes. Where flow and manifold pressure are held, the engine is credited
    with the flow it would draw at the same speed from the denser charge, flow * (density/reference density - 1), and
    charged with the shaft power of that flow. Engine power follows flow, less what hotter charge costs; net gain is
    that less the extra shaft power.
    """
    flow, density, T, shaft = (values[name] for name in _STATE)
    drawn = flow * (density / reference.charge_density - 1)
    more = np.where(breathing, flow - reference.charge_flow, drawn)
    hotter = T - reference.air_outlet_temperature
    full = worth.power_per_air * (reference.charge_flow + more)
    engine = worth.power_per_air * more - full * worth.power_per_kelvin * hotter
    extra = shaft * np.where(breathing, 1.0, 1 + drawn / flow) - reference.shaft_power
    return {
        "charge_flow_change": more, "shaft_power_change": extra, "engine_power_change": engine,
        "net_gain": engine - extra,
    }
