"""Air and coolants as polynomials in temperature: cheap, picklable, no property library on the run path.

The coefficients lie in `physics/data/*.json`, made from CoolProp by `python -m physics.property_fits`, and
hold 0.05 % over the ranges stated there. Outside a fluid's `temperature_range` the fits stand still at the
end of the range, so values stay positive and finite; `out_of_range` tells where that happened.

All methods take T [K] and p [Pa, absolute], arrays of shapes that broadcast. Only gases read p; what does
not depend on p has the shape of T.
"""

import json
from dataclasses import dataclass
from functools import cache, cached_property
from importlib.resources import files
from typing import Any

import numpy as np

from physics.arrays import Array, Range
from physics.polynomials import Polynomial, polynomial, polynomials, scaled, side_by_side

PressurePair = tuple[Polynomial, Polynomial]  # a and b of a(t) + p b(t)
ANY: Range = (0.0, float("inf"))

_STRENGTH_SLACK = 1e-9  # "60 %" may miss the end of the range by a rounding error


@dataclass(frozen=True)
class FittedGas:
    """A gas: each property is a(t) + p b(t), its density p/(R T) times such a ratio.

    t = (T - centre)/half_width, T clipped to `temperature_range`; the pressure [Pa] is not clipped, and
    `pressure_range` [Pa] is where the fit was made. Polynomials in ascending powers of t.
    """

    name: str
    temperature_range: Range
    pressure_range: Range
    gas_constant: float
    density_ratio_terms: PressurePair
    specific_heat_terms: PressurePair
    viscosity_terms: PressurePair
    conductivity_terms: PressurePair

    @property
    def is_gas(self) -> bool:
        return True

    def density(self, T: Array | float, p: Array | float) -> Array:
        """Density [kg/m3], shape of T and p broadcast; 1/T goes on outside the range, to half its low end."""
        value = self._evaluate(self.density_ratio_terms, T, p)
        value *= p
        value /= self.gas_constant * np.maximum(T, 0.5 * self.temperature_range[0])
        return value

    def specific_heat(self, T: Array | float, p: Array | float) -> Array:
        """Isobaric specific heat [J/(kg K)], shape of T and p broadcast."""
        return self._evaluate(self.specific_heat_terms, T, p)

    def viscosity(self, T: Array | float, p: Array | float) -> Array:
        """Dynamic viscosity [Pa s], shape of T and p broadcast."""
        return self._evaluate(self.viscosity_terms, T, p)

    def conductivity(self, T: Array | float, p: Array | float) -> Array:
        """Thermal conductivity [W/(m K)], shape of T and p broadcast."""
        return self._evaluate(self.conductivity_terms, T, p)

    def transport(self, T: Array, p: Array) -> tuple[Array, Array, Array]:
        """Specific heat, viscosity and conductivity at once, shape of T and p broadcast."""
        t = scaled(T, self.temperature_range, self.temperature_range)
        at_zero_pressure, per_pascal = polynomials(self._transport_terms, t)
        specific_heat, viscosity, conductivity = at_zero_pressure + p * per_pascal
        return specific_heat, viscosity, conductivity

    @cached_property
    def _transport_terms(self) -> Array:
        pairs = self.specific_heat_terms, self.viscosity_terms, self.conductivity_terms
        return np.stack([side_by_side([pair[i] for pair in pairs]) for i in (0, 1)], axis=1)

    def _evaluate(self, terms: PressurePair, T: Array | float, p: Array | float) -> Array:
        t = scaled(T, self.temperature_range, self.temperature_range)
        at_zero_pressure = polynomial(terms[0], t)
        if isinstance(p, float) and p == 0:
            return at_zero_pressure
        return at_zero_pressure + p * polynomial(terms[1], t)


@dataclass(frozen=True)
class FittedLiquid:
    """A liquid of fixed strength: rho, cp, k and ln(mu) are polynomials in the scaled temperature.

    `temperature_range` [K] starts above `freezing_point` [K]; `scale_range` [K] maps to t = -1 .. 1.
    """

    name: str
    temperature_range: Range
    scale_range: Range
    freezing_point: float
    density_terms: Polynomial
    specific_heat_terms: Polynomial
    log_viscosity_terms: Polynomial
    conductivity_terms: Polynomial

    @property
    def pressure_range(self) -> Range:
        return ANY

    @property
    def is_gas(self) -> bool:
        return False

    def density(self, T: Array | float, p: Array | float) -> Array:
        """Density [kg/m3], shape of T."""
        return polynomial(self.density_terms, self._scaled(T))

    def specific_heat(self, T: Array | float, p: Array | float) -> Array:
        """Specific heat [J/(kg K)], shape of T."""
        return polynomial(self.specific_heat_terms, self._scaled(T))

    def viscosity(self, T: Array | float, p: Array | float) -> Array:
        """Dynamic viscosity [Pa s], shape of T."""
        return np.exp(polynomial(self.log_viscosity_terms, self._scaled(T)))

    def conductivity(self, T: Array | float, p: Array | float) -> Array:
        """Thermal conductivity [W/(m K)], shape of T."""
        return polynomial(self.conductivity_terms, self._scaled(T))

    def transport(self, T: Array, p: Array) -> tuple[Array, Array, Array]:
        """Specific heat, viscosity and conductivity at once, shape of T."""
        specific_heat, log_viscosity, conductivity = polynomials(self._transport_terms, self._scaled(T))
        return specific_heat, np.exp(log_viscosity), conductivity

    @cached_property
    def _transport_terms(self) -> Array:
        return side_by_side([self.specific_heat_terms, self.log_viscosity_terms, self.conductivity_terms])

    def _scaled(self, T: Array | float) -> Array:
        return scaled(T, self.temperature_range, self.scale_range)


@dataclass(frozen=True, init=False)
class ConstantFluid:
    """A fluid of textbook constants: [J/(kg K)], [Pa s], [W/(m K)], and either [kg/m3] or R [J/(kg K)].

    With `density` it is incompressible, with `gas_constant` an ideal gas, rho = p/(R T). Raises ValueError
    unless exactly one of the two is given. No temperature is out of its range.

    >>> gas = ConstantFluid("air", 1005.0, 1.8e-5, 0.026, gas_constant=250.0)
    >>> float(gas.density(400.0, 2.0e5))
    2.0
    """

    name: str
    cp: float
    mu: float
    k: float
    rho: float | None
    gas_constant: float | None
    temperature_range: Range

    def __init__(
        self,
        name: str,
        specific_heat: float,
        viscosity: float,
        conductivity: float,
        density: float | None = None,
        gas_constant: float | None = None,
    ) -> None:
        if (density is None) == (gas_constant is None):
            raise ValueError(f"{name}: give exactly one of density and gas_constant")
        values = (name, specific_heat, viscosity, conductivity, density, gas_constant, (0.0, np.inf))
        for field, value in zip(self.__dataclass_fields__, values, strict=True):
            object.__setattr__(self, field, value)

    @property
    def pressure_range(self) -> Range:
        return ANY

    @property
    def is_gas(self) -> bool:
        return self.rho is None

    def density(self, T: Array | float, p: Array | float) -> Array:
        """Density [kg/m3]: shape of T, with a gas constant that of T and p broadcast."""
        if self.rho is not None:
            return np.full(np.shape(T), self.rho)
        assert self.gas_constant is not None
        return np.asarray(np.asarray(p, dtype=np.float64) / (self.gas_constant * np.asarray(T)))

    def specific_heat(self, T: Array | float, p: Array | float) -> Array:
        """Specific heat [J/(kg K)], shape of T."""
        return np.full(np.shape(T), self.cp)

    def viscosity(self, T: Array | float, p: Array | float) -> Array:
        """Dynamic viscosity [Pa s], shape of T."""
        return np.full(np.shape(T), self.mu)

    def conductivity(self, T: Array | float, p: Array | float) -> Array:
        """Thermal conductivity [W/(m K)], shape of T."""
        return np.full(np.shape(T), self.k)

    def transport(self, T: Array, p: Array) -> tuple[Array, Array, Array]:
        """Specific heat, viscosity and conductivity at once, shape of T."""
        return self.specific_heat(T, p), self.viscosity(T, p), self.conductivity(T, p)


def coolant(name: str, strength: float | None = None, basis: str | None = None) -> FittedLiquid:
    """Water, or a glycol-water mixture of a given strength.

    Parameters
    ----------
    name : "water", "ethylene glycol" or "propylene glycol".
    strength : glycol fraction 0.10 .. 0.60; None for water.
    basis : "volume" or "mass"; None for water. The two are separate data sets (CoolProp INCOMP AEG, APG and
        MEG, MPG), never converted into each other.

    Raises ValueError for an unknown name or basis, a strength out of range, missing, or given for water.

    >>> glycol = coolant("ethylene glycol", 0.40, "mass")
    >>> round(float(glycol.specific_heat(44.67 + 273.15, 1.0e5)))  # 3615 in a course exercise (Liège)
    3615
    >>> coolant("water").temperature_range
    (273.15, 373.15)
    """
    if name == "water":
        if strength is not None or basis is not None:
            raise ValueError("water takes no strength and no basis: leave both out, or name the glycol")
        return _water()
    mixtures = _table("glycol_water.json")["mixtures"]
    known = sorted({mixture["coolant"] for mixture in mixtures})
    if name not in known:
        raise ValueError(f"unknown coolant {name!r}: give one of 'water', {', '.join(map(repr, known))}")
    if basis not in ("volume", "mass"):
        raise ValueError(f"{name}: the basis of its strength must be 'volume' or 'mass', not {basis!r}")
    mixture = next(m for m in mixtures if m["coolant"] == name and m["basis"] == basis)
    return _glycol_mixture(mixture, _checked_strength(mixture, strength))


def _checked_strength(mixture: dict[str, Any], strength: float | None) -> float:
    low, high = mixture["strength_range"]
    if strength is None:
        raise ValueError(f"{mixture['coolant']}: give its strength, a fraction from {low} to {high}")
    if not low - _STRENGTH_SLACK <= strength <= high + _STRENGTH_SLACK:
        raise ValueError(f"{mixture['coolant']}: strength is a fraction from {low} to {high}, not {strength}")
    return float(min(max(strength, low), high))


def _glycol_mixture(mixture: dict[str, Any], strength: float) -> FittedLiquid:
    """Take the strength out of the (T power, strength power) tables, once."""
    low, high = mixture["strength_range"]
    x = np.asarray((2.0 * strength - (low + high)) / (high - low))
    terms = {
        f"{quantity}_terms": tuple(float(polynomial(row, x)) for row in rows)
        for quantity, rows in mixture["coefficients"].items()
    }
    freezing_point = float(polynomial(mixture["freezing_point"], x))
    coldest, hottest = mixture["temperature_range"]
    return FittedLiquid(
        name=f"{mixture['coolant']} {100.0 * strength:g} % by {mixture['basis']}",
        temperature_range=(max(coldest, freezing_point + mixture["freezing_margin"]), hottest),
        scale_range=(coldest, hottest),
        freezing_point=freezing_point,
        **terms,
    )


def _water() -> FittedLiquid:
    table = _table("water.json")
    terms = {f"{quantity}_terms": tuple(row) for quantity, row in table["coefficients"].items()}
    low, high = table["temperature_range"]
    return FittedLiquid("water", (low, high), (low, high), table["freezing_point"], **terms)


def _air() -> FittedGas:
    table = _table("air.json")
    terms = {
        f"{quantity}_terms": (tuple(pair["at_zero_pressure"]), tuple(pair["per_pascal"]))
        for quantity, pair in table["coefficients"].items()
    }
    temperatures, pressures = tuple(table["temperature_range"]), tuple(table["pressure_range"])
    return FittedGas("air", temperatures, pressures, table["gas_constant"], **terms)


@cache
def _table(file_name: str) -> Any:
    return json.loads(files("physics").joinpath("data", file_name).read_text(encoding="utf-8"))


AIR = _air()
