"""Offset strip fins: Manglik & Bergles, Exp. Thermal Fluid Sci. 10 (1995) 171-180, eqs 34 and 35."""

import numpy as np

from physics.arrays import Array
from physics.fins.family import INTERRUPTED, Bound, Fin, FinFamily, Flow, Surface, reynolds


def surface(fin: Fin) -> Surface:
    """Cell geometry of Manglik & Bergles: one strip of length l, gap s, height h, thickness t.

    >>> fin = Fin(*(np.array([x]) for x in (2.54e-3, 1.279e-3, 0.102e-3, 3.175e-3)))
    >>> round(float(surface(fin).hydraulic_diameter[0]) * 1e3, 4)
    1.546
    """
    s, h, t, strip = fin.gap, fin.height, fin.thickness, fin.strip_length
    area = 2 * (s * strip + h * strip + t * h) + t * s
    return Surface(
        open_share=s * h / (fin.pitch * fin.spacing),
        area_density=area / (fin.pitch * fin.spacing * strip),
        fin_area_ratio=(2 * h * strip + 2 * t * h + t * s) / area,
        hydraulic_diameter=4 * s * h * strip / area,
        metal_share=1 - s * h / (fin.pitch * fin.spacing),
        edge_ratio=t / strip,
        laws=_laws(np.log(s / h), np.log(t / strip), np.log(t / s)),
    )


def _laws(alpha: Array, delta: Array, gamma: Array) -> tuple[Array, Array, Array, Array]:
    """Logarithms of the geometry's factors in eqs 34 and 35: base and bracket of j, base and bracket of f.

    From ln alpha, ln delta, ln gamma: alpha = s/h, delta = t/l, gamma = t/s.
    """
    return (
        np.log(0.6522) - 0.1541 * alpha + 0.1499 * delta - 0.0678 * gamma,
        np.log(5.269e-5) + 0.504 * alpha + 0.456 * delta - 1.055 * gamma,
        np.log(9.6243) - 0.1856 * alpha + 0.3053 * delta - 0.2659 * gamma,
        np.log(7.669e-8) + 0.920 * alpha + 3.767 * delta + 0.236 * gamma,
    )


def j(fin: Fin, surface: Surface, flow: Flow) -> Array:
    """Colburn factor, eq 34 [-]."""
    base, rise, _, _ = surface.laws
    bracket = np.log(1 + np.exp(rise + 1.340 * flow.log_Re))
    return np.asarray(np.exp(base - 0.5403 * flow.log_Re + 0.1 * bracket))


def f(fin: Fin, surface: Surface, flow: Flow) -> Array:
    """Fanning factor, eq 35 [-]."""
    _, _, base, rise = surface.laws
    bracket = np.log(1 + np.exp(rise + 4.429 * flow.log_Re))
    return np.asarray(np.exp(base - 0.7422 * flow.log_Re + 0.1 * bracket))


OFFSET_STRIP = FinFamily(
    name="offset strip",
    source="Manglik & Bergles 1995, eqs 34-35; ranges and +-20 % from memory",
    surface=surface,
    j=j,
    f=f,
    box=(
        reynolds(120, 1e4),
        Bound("Pr", 0.5, 15, lambda fin, surface, flow: flow.Pr),
        Bound("alpha, gap over height", 0.13, 1.0, lambda fin, surface, flow: fin.gap / fin.height),
        Bound("delta, thickness over strip", 0.012, 0.048, lambda fin, surface, flow: fin.thickness / fin.strip_length),
        Bound("gamma, thickness over gap", 0.038, 0.122, lambda fin, surface, flow: fin.thickness / fin.gap),
    ),
    transition=INTERRUPTED,
    band_j=(-0.20, 0.20),
    band_f=(-0.20, 0.20),
    note="low, closely spaced fins (alpha > 0.6) may lose a quarter less than computed",
)
