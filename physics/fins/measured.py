"""Measured surfaces: the user's own table of Re, j, f, interpolated monotonically in logarithms."""

from collections.abc import Sequence
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from physics.arrays import Array
from physics.fins import offset_strip, plain
from physics.fins.family import INTERRUPTED, Fin, FinFamily, Flow, Surface, Value, reynolds

if TYPE_CHECKING:
    from scipy.interpolate import PchipInterpolator


def surface(fin: Fin) -> Surface:
    """Stated Dh, area density and fin area ratio where given; the rest from the pitch, spacing and thickness."""
    drawn = plain.surface(fin) if np.all(np.isnan(fin.strip_length)) else offset_strip.surface(fin)
    return Surface(
        open_share=_stated(fin.hydraulic_diameter * fin.area_density / 4, drawn.open_share),
        area_density=_stated(fin.area_density, drawn.area_density),
        fin_area_ratio=_stated(fin.fin_area_ratio, drawn.fin_area_ratio),
        hydraulic_diameter=_stated(fin.hydraulic_diameter, drawn.hydraulic_diameter),
        metal_share=drawn.metal_share,
        edge_ratio=drawn.edge_ratio,
    )


def _stated(stated: Array, drawn: Array) -> Array:
    return np.where(np.isnan(stated), drawn, stated)


class _Curve:
    """ln y on ln Re, shape-preserving cubic; beyond the table straight on at the end slopes (and flagged)."""

    def __init__(self, Re: Sequence[float], y: Sequence[float]) -> None:
        self._x = np.log(np.asarray(Re, dtype=float))
        self._y = np.log(np.asarray(y, dtype=float))

    @cached_property
    def _curve(self) -> "PchipInterpolator":
        from scipy.interpolate import PchipInterpolator

        return PchipInterpolator(self._x, self._y)

    @cached_property
    def _slope(self) -> "PchipInterpolator":
        return self._curve.derivative()

    def __call__(self, fin: Fin, surface: Surface, flow: Flow) -> Array:
        inside = np.clip(flow.log_Re, self._x[0], self._x[-1])
        return np.exp(self._curve(inside) + self._slope(inside) * (flow.log_Re - inside))


def measured(
    name: str,
    Re: Sequence[float],
    j: Sequence[float],
    f: Sequence[float],
    band_j: tuple[float, float],
    band_f: tuple[float, float],
) -> FinFamily:
    """A family of one surface from its table; Re strictly rising, all positive. Fanning f on the stated Dh."""
    table = np.array([Re, j, f], dtype=float)
    if table.shape[1] < 2 or np.any(~(table > 0)) or np.any(np.diff(table[0]) <= 0):
        raise ValueError(f"{name}: a measured table needs positive values and Re strictly rising, two rows or more")
    curve_j: Value = _Curve(Re, j)
    curve_f: Value = _Curve(Re, f)
    return FinFamily(
        name=f"measured ({name})", source="the user's own table", surface=surface, j=curve_j, f=curve_f,
        box=(reynolds(float(Re[0]), float(Re[-1])),), band_j=band_j, band_f=band_f,
        transition=INTERRUPTED, turns=lambda fin, surface: [float(x) for x in Re],
    )
