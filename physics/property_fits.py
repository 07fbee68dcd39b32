"""Make `physics/data/*.json` from CoolProp, or check what is shipped: `python -m physics.property_fits`.

The product's only door to CoolProp (a benchmark times the usual script with it).
Least squares of the relative error on Chebyshev nodes; the errors stated in the
tables are found on an even grid of other points, ends of the range included.
"""

import argparse
import json
import math
import re
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

from physics.arrays import Array

LIMIT = 5e-4  # largest relative error a fit may have
DATA = Path(__file__).parent / "data"
PROPERTIES = {"density": "D", "specific_heat": "C", "viscosity": "V", "conductivity": "L"}  # CoolProp's keys

AIR_TEMPERATURES = (250.0, 600.0)
AIR_PRESSURES = (0.8e5, 5.0e5)
# Degrees in temperature of a and b in a(T) + p b(T); the density ratio is 1 + p b(T).
AIR_DEGREES = {
    "density_ratio": (0, 3),
    "specific_heat": (3, 3),
    "viscosity": (3, 2),
    "conductivity": (3, 3),
}

WATER_TEMPERATURES = (273.15, 373.15)
WATER_PRESSURE = 2.0e5
WATER_FREEZING_POINT = 273.15
WATER_DEGREES = {"density": 4, "specific_heat": 5, "log_viscosity": 6, "conductivity": 5}

GLYCOL_TEMPERATURES = (263.15, 373.15)
GLYCOL_STRENGTHS = (0.10, 0.60)
# CoolProp's own equations are a cubic in T by a quintic in strength, so these fits are exact.
GLYCOL_DEGREES = (3, 5)
GLYCOL_PRESSURE = 2.0e5
FREEZING_DEGREE = 6
FREEZING_MARGIN = 0.01  # [K], ten times the error of the freezing-point fit
MIXTURES = {
    ("ethylene glycol", "volume"): "AEG",
    ("ethylene glycol", "mass"): "MEG",
    ("propylene glycol", "volume"): "APG",
    ("propylene glycol", "mass"): "MPG",
}

Row = tuple[str, str, float]
Table = dict[str, Any]
Spacing = Callable[[float, float, int], Array]


def main(arguments: list[str] | None = None) -> int:
    """Write the tables, or with `--check` compare those shipped; 1 when an error passes the limit."""
    parser = argparse.ArgumentParser(prog="python -m physics.property_fits", description=__doc__)
    parser.add_argument("--check", action="store_true", help="compare the shipped fits only, write nothing")
    rows = list(shipped_errors()) if parser.parse_args(arguments).check else write_tables(DATA)
    for fluid, quantity, error in rows:
        print(f"{fluid:20} {quantity:15} {100.0 * error:8.4f} %{'  too large' * (not error <= LIMIT)}")
    good = all(error <= LIMIT for _, _, error in rows)
    print(f"largest error {100.0 * max(error for _, _, error in rows):.4f} %, limit {100.0 * LIMIT:.2f} %")
    return 0 if good else 1


def write_tables(folder: Path) -> list[Row]:
    """Fit every fluid and write its table into the folder; returns the errors found."""
    air, water, glycol = air_table(), water_table(), glycol_table()
    for name, table in {"air": air, "water": water, "glycol_water": glycol}.items():
        (folder / f"{name}.json").write_text(_json_text(table), encoding="utf-8")
    entries = [air, water, *glycol["mixtures"]]
    return [(e["fluid"], quantity, error) for e in entries for quantity, error in e["max_error"].items()]


def shipped_errors() -> Iterator[Row]:
    """Largest relative error of each shipped property against CoolProp over its declared range."""
    from physics.fluid import Fluid
    from physics.properties import AIR, coolant

    def rows(fluid: Fluid, source: str, T: Array, p: Array) -> Iterator[Row]:
        for method, key in PROPERTIES.items():
            yield source, method, _error(getattr(fluid, method)(T, p), _coolprop(key, T, p, source))

    yield from rows(AIR, "Air", *_air_points(np.linspace))
    water = coolant("water")
    T = np.linspace(*water.temperature_range, 301)
    yield from rows(water, "Water", T, np.full_like(T, WATER_PRESSURE))
    for (name, basis), code in MIXTURES.items():
        for strength in np.linspace(*GLYCOL_STRENGTHS, 6).tolist():
            mixture = coolant(name, strength, basis)
            T = np.linspace(*mixture.temperature_range, 61)
            yield from rows(mixture, _mixture_name(code, strength), T, np.full_like(T, GLYCOL_PRESSURE))


def air_table() -> Table:
    """Air: cp, mu, k as a(t) + p b(t); the density over that of the ideal gas as 1 + p b(t)."""
    fits = {quantity: _air_fit(quantity, *degrees) for quantity, degrees in AIR_DEGREES.items()}
    return {
        **_provenance("Air"),
        "temperature_range": AIR_TEMPERATURES,
        "pressure_range": AIR_PRESSURES,
        "gas_constant": _air_constant(),
        "max_error": {quantity: error for quantity, (_, error) in fits.items()},
        "coefficients": {quantity: terms for quantity, (terms, _) in fits.items()},
    }


def _air_fit(quantity: str, degree: int, pressure_degree: int) -> tuple[dict[str, list[float]], float]:
    """Coefficients of one property, and its largest relative error."""

    def basis(T: Array, p: Array) -> Array:
        t = _unit(T, AIR_TEMPERATURES)
        return np.hstack([_powers(t, degree), 1e-5 * p[:, None] * _powers(t, pressure_degree)])

    nodes, grid = _air_points(_chebyshev), _air_points(np.linspace)
    values = _air_values(quantity, *nodes)
    relative = basis(*nodes) / values[:, None]
    if quantity == "density_ratio":  # 1 at zero pressure: ideal gas
        terms = np.concatenate([[1.0], _least_squares(relative[:, 1:], 1.0 - relative[:, 0])])
    else:
        terms = _least_squares(relative, np.ones_like(values))
    error = _error(basis(*grid) @ terms, _air_values(quantity, *grid))
    at_zero, per_pascal = _rounded(terms[: degree + 1]), _rounded(1e-5 * terms[degree + 1 :])
    return {"at_zero_pressure": at_zero, "per_pascal": per_pascal}, error


def _air_values(quantity: str, T: Array, p: Array) -> Array:
    if quantity != "density_ratio":
        return _coolprop(PROPERTIES[quantity], T, p, "Air")
    return _coolprop("D", T, p, "Air") * _air_constant() * T / p


def _air_points(spacing: Spacing) -> tuple[Array, Array]:
    T, p = np.meshgrid(spacing(*AIR_TEMPERATURES, 71), spacing(*AIR_PRESSURES, 13))
    return T.ravel(), p.ravel()


def _air_constant() -> float:
    from CoolProp.CoolProp import PropsSI

    return float(f"{PropsSI('gas_constant', 'Air') / PropsSI('molar_mass', 'Air'):.6f}")


def water_table() -> Table:
    """Liquid water at one pressure: rho, cp, k and ln(mu) as polynomials in t."""
    fits = {quantity: _water_fit(quantity, degree) for quantity, degree in WATER_DEGREES.items()}
    return {
        **_provenance("Water"),
        "temperature_range": WATER_TEMPERATURES,
        "pressure": WATER_PRESSURE,
        "freezing_point": WATER_FREEZING_POINT,
        "max_error": {quantity: error for quantity, (_, error) in fits.items()},
        "coefficients": {quantity: terms for quantity, (terms, _) in fits.items()},
    }


def _water_fit(quantity: str, degree: int) -> tuple[list[float], float]:
    nodes, grid = _chebyshev(*WATER_TEMPERATURES, 48), np.linspace(*WATER_TEMPERATURES, 301)
    values = _liquid_values(quantity, nodes, WATER_PRESSURE, "Water")
    # A relative error of mu is an absolute one of ln(mu).
    weights = np.ones_like(values) if quantity == "log_viscosity" else 1.0 / values
    basis = _powers(_unit(nodes, WATER_TEMPERATURES), degree)
    terms = _least_squares(basis * weights[:, None], values * weights)
    fitted = _powers(_unit(grid, WATER_TEMPERATURES), degree) @ terms
    error = _liquid_error(quantity, fitted, _liquid_values(quantity, grid, WATER_PRESSURE, "Water"))
    return _rounded(terms), error


def glycol_table() -> Table:
    """Both glycols, by volume and by mass: a table of (T power, strength power) for each property."""
    mixtures = [_mixture_entry(name, basis, code) for (name, basis), code in MIXTURES.items()]
    return {**_provenance("incompressible mixtures"), "mixtures": mixtures}


def _mixture_entry(name: str, basis: str, code: str) -> Table:
    fits = {quantity: _mixture_fit(quantity, code) for quantity in WATER_DEGREES}
    strengths = _chebyshev(*GLYCOL_STRENGTHS, 24)
    freezing = np.array([_freezing_point(code, x) for x in strengths])
    return {
        "coolant": name,
        "basis": basis,
        "fluid": _mixture_name(code, "x"),
        "temperature_range": GLYCOL_TEMPERATURES,
        "strength_range": GLYCOL_STRENGTHS,
        "freezing_point": _rounded(_least_squares(_strength_powers(strengths, FREEZING_DEGREE), freezing)),
        "freezing_margin": FREEZING_MARGIN,
        "max_error": {quantity: error for quantity, (_, error) in fits.items()},
        "coefficients": {quantity: terms for quantity, (terms, _) in fits.items()},
    }


def _mixture_fit(quantity: str, code: str) -> tuple[list[list[float]], float]:
    # From 273.15 K up no strength is frozen; an exact fit needs no nodes below.
    T, x = _chebyshev(273.15, GLYCOL_TEMPERATURES[1], 8), _chebyshev(*GLYCOL_STRENGTHS, 12)
    values = [_liquid_values(quantity, T, GLYCOL_PRESSURE, _mixture_name(code, s)) for s in x]
    in_T = _powers(_unit(T, GLYCOL_TEMPERATURES), GLYCOL_DEGREES[0])
    in_x = _strength_powers(x, GLYCOL_DEGREES[1])
    terms = _least_squares(in_x, _least_squares(in_T, np.array(values).T).T).T
    error = max(_mixture_error(quantity, code, terms, s) for s in np.linspace(*GLYCOL_STRENGTHS, 21))
    return [_rounded(row, float(np.abs(terms).max())) for row in terms], error


def _mixture_error(quantity: str, code: str, terms: Array, strength: float) -> float:
    coldest = max(GLYCOL_TEMPERATURES[0], _freezing_point(code, strength) + FREEZING_MARGIN)
    grid = np.linspace(coldest, GLYCOL_TEMPERATURES[1], 61)
    polynomial = terms @ _strength_powers(np.array([strength]), GLYCOL_DEGREES[1])[0]
    fitted = _powers(_unit(grid, GLYCOL_TEMPERATURES), GLYCOL_DEGREES[0]) @ polynomial
    values = _liquid_values(quantity, grid, GLYCOL_PRESSURE, _mixture_name(code, strength))
    return _liquid_error(quantity, fitted, values)


def _mixture_name(code: str, strength: float | str) -> str:
    return f"INCOMP::{code}[{strength}]"


def _freezing_point(code: str, strength: float) -> float:
    from CoolProp.CoolProp import PropsSI

    return float(PropsSI("T_freeze", "T", 300.0, "P", GLYCOL_PRESSURE, _mixture_name(code, strength)))


def _liquid_values(quantity: str, T: Array, p: float, source: str) -> Array:
    if quantity == "log_viscosity":
        return np.log(_coolprop("V", T, np.full_like(T, p), source))
    return _coolprop(PROPERTIES[quantity], T, np.full_like(T, p), source)


def _liquid_error(quantity: str, fitted: Array, values: Array) -> float:
    if quantity == "log_viscosity":
        return _error(np.exp(fitted), np.exp(values))
    return _error(fitted, values)


def _coolprop(key: str, T: Array, p: Array, source: str) -> Array:
    from CoolProp.CoolProp import PropsSI

    return np.asarray(PropsSI(key, "T", T, "P", p, source), dtype=np.float64)


def _provenance(fluid: str) -> Table:
    import CoolProp

    return {
        "made_by": "python -m physics.property_fits",
        "source": f"CoolProp {CoolProp.__version__}",
        "fluid": fluid,
        "units": "SI; coefficients in ascending powers of t = -1 .. 1 over the range",
    }


def _json_text(table: Table) -> str:
    """JSON with every list of numbers on one line."""
    text = json.dumps(table, indent=1)
    return re.sub(r"\[[^\[\]{}]*\]", lambda match: " ".join(match[0].split()), text) + "\n"


def _chebyshev(low: float, high: float, count: int) -> Array:
    angles = np.pi * (np.arange(count) + 0.5) / count
    return 0.5 * (low + high) - 0.5 * (high - low) * np.cos(angles)


def _unit(values: Array, limits: tuple[float, float]) -> Array:
    """Map the limits to -1 .. 1.

    >>> _unit(np.array([250.0, 425.0, 600.0]), (250.0, 600.0)).tolist()
    [-1.0, 0.0, 1.0]
    """
    low, high = limits
    return (values - 0.5 * (low + high)) * (2.0 / (high - low))


def _powers(t: Array, degree: int) -> Array:
    return np.vander(t, degree + 1, increasing=True)


def _strength_powers(strength: Array, degree: int) -> Array:
    return _powers(_unit(strength, GLYCOL_STRENGTHS), degree)


def _least_squares(basis: Array, values: Array) -> Array:
    return np.asarray(np.linalg.lstsq(basis, values, rcond=None)[0], dtype=np.float64)


def _error(fitted: Array, reference: Array) -> float:
    """Largest relative error, rounded up to 1e-7 so that the files do not follow the last bits."""
    return math.ceil(float(np.max(np.abs(fitted / reference - 1.0))) * 1e7) / 1e7


def _rounded(terms: Array, largest: float | None = None) -> list[float]:
    """Keep eleven decimals of the largest term: beyond any error of a fit, short of rounding noise."""
    size = float(np.abs(terms).max()) if largest is None else largest
    decimals = 11 - math.ceil(math.log10(size))
    return [round(float(term), decimals) + 0.0 for term in terms]


if __name__ == "__main__":
    sys.exit(main())
