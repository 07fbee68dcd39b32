"""Fluids for the scalar baselines: one property of one state at a time, as plain floats.

`PolynomialGas` and `PolynomialLiquid` are the product's own fits; `LookedUp` asks CoolProp anew for every property.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Protocol

from optimize.study.model import Coolant
from physics.properties import FittedGas, FittedLiquid
from physics.property_fits import MIXTURES

_KEYS = {"density": "D", "specific_heat": "C", "viscosity": "V", "conductivity": "L"}


class ScalarFluid(Protocol):
    """Properties of one state, T [K] and p [Pa, absolute]: kg/m3, J/(kg K), Pa s, W/(m K)."""

    def density(self, T: float, p: float) -> float: ...

    def specific_heat(self, T: float, p: float) -> float: ...

    def viscosity(self, T: float, p: float) -> float: ...

    def conductivity(self, T: float, p: float) -> float: ...


def _horner(terms: Iterable[float], t: float) -> float:
    total = 0.0
    for term in reversed(tuple(terms)):
        total = total * t + term
    return total


def _scaled(T: float, clip: tuple[float, float], scale: tuple[float, float]) -> float:
    low, high = scale
    return (min(max(T, clip[0]), clip[1]) - 0.5 * (low + high)) * (2 / (high - low))


@dataclass(frozen=True)
class PolynomialGas:
    """The fit of a gas, a(t) + p b(t)."""

    fit: FittedGas

    def density(self, T: float, p: float) -> float:
        ratio = self._at(self.fit.density_ratio_terms, T, p)
        return ratio * p / (self.fit.gas_constant * max(T, 0.5 * self.fit.temperature_range[0]))

    def specific_heat(self, T: float, p: float) -> float:
        return self._at(self.fit.specific_heat_terms, T, p)

    def viscosity(self, T: float, p: float) -> float:
        return self._at(self.fit.viscosity_terms, T, p)

    def conductivity(self, T: float, p: float) -> float:
        return self._at(self.fit.conductivity_terms, T, p)

    def _at(self, terms: tuple[tuple[float, ...], tuple[float, ...]], T: float, p: float) -> float:
        t = _scaled(T, self.fit.temperature_range, self.fit.temperature_range)
        return _horner(terms[0], t) + p * _horner(terms[1], t)


@dataclass(frozen=True)
class PolynomialLiquid:
    """The fit of a liquid; p is ignored."""

    fit: FittedLiquid

    def density(self, T: float, p: float) -> float:
        return _horner(self.fit.density_terms, self._t(T))

    def specific_heat(self, T: float, p: float) -> float:
        return _horner(self.fit.specific_heat_terms, self._t(T))

    def viscosity(self, T: float, p: float) -> float:
        return math.exp(_horner(self.fit.log_viscosity_terms, self._t(T)))

    def conductivity(self, T: float, p: float) -> float:
        return _horner(self.fit.conductivity_terms, self._t(T))

    def _t(self, T: float) -> float:
        return _scaled(T, self.fit.temperature_range, self.fit.scale_range)


@dataclass(frozen=True)
class LookedUp:
    """CoolProp's high-level call, once a property."""

    name: str
    ask: Callable[[str, str, float, str, float, str], float]

    @classmethod
    def of(cls, name: str) -> "LookedUp":
        """A fluid by CoolProp's name for it."""
        from CoolProp.CoolProp import PropsSI

        return cls(name, PropsSI)

    def density(self, T: float, p: float) -> float:
        return self.ask(_KEYS["density"], "T", T, "P", p, self.name)

    def specific_heat(self, T: float, p: float) -> float:
        return self.ask(_KEYS["specific_heat"], "T", T, "P", p, self.name)

    def viscosity(self, T: float, p: float) -> float:
        return self.ask(_KEYS["viscosity"], "T", T, "P", p, self.name)

    def conductivity(self, T: float, p: float) -> float:
        return self.ask(_KEYS["conductivity"], "T", T, "P", p, self.name)


def looked_up(coolant: Coolant) -> tuple[LookedUp, LookedUp]:
    """Air and a study's coolant, by CoolProp."""
    if coolant.strength is None or coolant.basis is None:
        return LookedUp.of("Air"), LookedUp.of("Water")
    code = MIXTURES[coolant.fluid, coolant.basis]
    return LookedUp.of("Air"), LookedUp.of(f"INCOMP::{code}[{coolant.strength}]")
