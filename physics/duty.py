"""What a core is asked to do, and how far the published correlations are trusted while it does it."""

from dataclasses import dataclass, field, fields, replace

import numpy as np

from physics.arrays import Array, IntArray
from physics.columns import points_first
from physics.fluid import Fluid


@dataclass(frozen=True)
class Duty:
    """Duty points: arrays (m,), or (n, m) where each design has its own; SI, pressures absolute."""

    names: tuple[str, ...]
    air: Fluid
    coolant: Fluid
    air_flow: Array  # [kg/s]
    air_inlet_temperature: Array  # [K]
    air_inlet_pressure: Array  # [Pa]
    coolant_flow: Array  # [kg/s]
    coolant_inlet_temperature: Array  # [K]
    coolant_inlet_pressure: Array  # [Pa]; liquids ignore it

    @property
    def size(self) -> int:
        """Number of designs the duty is given for: 1 when all share it."""
        return max(a.shape[0] if a.ndim == 2 else 1 for a in self._arrays().values())

    def take(self, index: IntArray) -> "Duty":
        """The duty of the designs at `index`."""
        picked = {name: a[index] for name, a in self._arrays().items() if a.ndim == 2 and a.shape[0] > 1}
        return replace(self, **picked)  # type: ignore[arg-type]

    def points_first(self) -> "Duty":
        """The duty with its arrays as (m, 1), or (m, n) where each design has its own."""
        return replace(self, **{name: points_first(a) for name, a in self._arrays().items()})  # type: ignore[arg-type]

    def at(self, index: IntArray, **changes: Array) -> "Duty":
        """A duty whose points are those at `index` of this one (arrays (m,)), with some of its arrays changed."""
        picked: dict[str, Array] = {name: a[index] for name, a in self._arrays().items()} | changes
        return replace(self, names=tuple(self.names[i] for i in index), **picked)  # type: ignore[arg-type]

    def _arrays(self) -> dict[str, Array]:
        values = {field.name: getattr(self, field.name) for field in fields(self)}
        return {name: value for name, value in values.items() if isinstance(value, np.ndarray)}


def _one() -> Array:
    return np.ones(1)


def _zero() -> Array:
    return np.zeros(1)


@dataclass(frozen=True)
class Factor:
    """What multiplies a correlation: multiplier (Re/reference)^exponent, columns (n,) or (1,); 1 as published."""

    multiplier: Array = field(default_factory=_one)
    exponent: Array = field(default_factory=_zero)
    reference: Array = field(default_factory=_one)

    def at(self, log_Re: Array) -> Array:
        """Its value at ln Re.

        >>> Factor(np.array([1.1]), np.array([-0.1]), np.array([500.0])).at(np.log([500.0, 1000.0])).round(4).tolist()
        [1.1, 1.0263]
        """
        if not np.any(self.exponent):
            return self.multiplier
        return self.multiplier * np.exp(self.exponent * (log_Re - np.log(self.reference)))


@dataclass(frozen=True)
class ModelFactors:
    """Multipliers on the correlations, (n,) or (1,): 1 is the published value.

    j and f may be off by a power of Re too: times (Re/reference)^exponent, one reference a side.
    """

    air_j: Array = field(default_factory=_one)
    air_f: Array = field(default_factory=_one)
    coolant_j: Array = field(default_factory=_one)
    coolant_f: Array = field(default_factory=_one)
    tank_loss: Array = field(default_factory=_one)
    air_j_exponent: Array = field(default_factory=_zero)
    air_f_exponent: Array = field(default_factory=_zero)
    coolant_j_exponent: Array = field(default_factory=_zero)
    coolant_f_exponent: Array = field(default_factory=_zero)
    air_Re: Array = field(default_factory=_one)  # the references
    coolant_Re: Array = field(default_factory=_one)

    def on(self, name: str) -> Factor:
        """The factor on "air_j", "air_f", "coolant_j" or "coolant_f"."""
        side = name.split("_")[0]
        return Factor(getattr(self, name), getattr(self, f"{name}_exponent"), getattr(self, f"{side}_Re"))
