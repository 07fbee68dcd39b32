"""Louver fins: j by Chang & Wang, IJHMT 40 (1997) 533-544, eq 9; f by Chang et al., IJHMT 43 (2000) 2237-2243.

Both were correlated on tube-and-centre cores; in a bar-and-plate core the opposite passage with its plates stands
for the tube.
"""

import numpy as np

from physics.arrays import Array
from physics.fins.family import INTERRUPTED, Bound, Fin, FinFamily, Flow, Surface
from physics.fins.plain import surface

RE_CLAMP = 30.0  # ln(0.3 Re) runs to zero below: f would blow up
RE_LOW, RE_HIGH = 120.0, 200.0  # the two branches of f, published to change at 150, may differ by half: blended


def louver_reynolds(fin: Fin, surface: Surface, flow: Flow) -> Array:
    """Re on louver pitch and the velocity in the minimum free-flow area."""
    return flow.Re * fin.louver_pitch / surface.hydraulic_diameter


def j(fin: Fin, surface: Surface, flow: Flow) -> Array:
    """Colburn factor, Chang & Wang eq 9 [-]."""
    Lp = fin.louver_pitch
    geometry = (
        0.27 * np.log(fin.louver_angle / 90) - 0.14 * np.log(fin.pitch / Lp) - 0.29 * np.log(fin.spacing / Lp)
        - 0.23 * np.log(flow.length / Lp) + 0.68 * np.log(fin.louver_length / Lp)
        - 0.28 * np.log(flow.stack_pitch / Lp) - 0.05 * np.log(fin.thickness / Lp)
    )
    return np.exp(geometry - 0.49 * (flow.log_Re + np.log(Lp / surface.hydraulic_diameter)))


def f_low(fin: Fin, Dh: Array, flow: Flow, Re: Array) -> Array:
    """Fanning factor for Re_Lp < 150, Chang et al. 2000 [-]."""
    Fp, Fl, Lp, Ll, Ft = fin.pitch, fin.spacing, fin.louver_pitch, fin.louver_length, fin.thickness
    f1 = 14.39 * Re ** (-0.805 * Fp / Fl) * np.log(1 + Fp / Lp) ** 3.04
    f2 = np.log((Ft / Fp) ** 0.48 + 0.9) ** -1.435 * (Dh / Lp) ** -3.01 * np.log(0.5 * Re) ** -3.01
    f3 = (Fp / Ll) ** -0.308 * (flow.length / Ll) ** -0.308 * np.exp(-0.1167 * flow.stack_pitch / flow.obstruction)
    return f1 * f2 * f3 * fin.louver_angle**0.35


def f_high(fin: Fin, Dh: Array, flow: Flow, Re: Array) -> Array:
    """Fanning factor for 150 < Re_Lp < 5000, Chang et al. 2000 [-]."""
    Fp, Lp, Ll, Ft, theta = fin.pitch, fin.louver_pitch, fin.louver_length, fin.thickness, fin.louver_angle
    Tp, Th = flow.stack_pitch, flow.stack_pitch - flow.obstruction
    f1 = 4.97 * Re ** (0.6049 - 1.064 / theta**0.2) * np.log((Ft / Fp) ** 0.5 + 0.9) ** -0.527
    f2 = (Dh / Lp * np.log(0.3 * Re)) ** -2.966 * (Fp / Ll) ** (-0.7931 * Tp / Th)
    f3 = (Tp / flow.obstruction) ** -0.0446 * np.log(1.2 + (Lp / Fp) ** 1.4) ** -3.553 * theta**-0.477
    return f1 * f2 * f3


def f(fin: Fin, surface: Surface, flow: Flow) -> Array:
    """Fanning factor, the two branches blended about Re_Lp = 150 [-]."""
    Re = np.maximum(louver_reynolds(fin, surface, flow), RE_CLAMP)
    share = np.clip((Re - RE_LOW) / (RE_HIGH - RE_LOW), 0.0, 1.0)
    high = f_high(fin, surface.hydraulic_diameter, flow, Re)
    if np.all(share == 1.0):
        return high
    return (1 - share) * f_low(fin, surface.hydraulic_diameter, flow, Re) + share * high


LOUVER = FinFamily(
    name="louver",
    source="Chang & Wang 1997, eq 9 (j); Chang, Hsu, Lin & Wang 2000 (f); +-15 % from memory, widened to +-20 %",
    surface=surface,
    j=j,
    f=f,
    box=(
        Bound("Re on louver pitch", 100, 3000, louver_reynolds),
        Bound("louver angle", 8.4, 35.0, lambda fin, surface, flow: fin.louver_angle),
        Bound("flow depth [m]", 0.0156, 0.0574, lambda fin, surface, flow: flow.length),
        Bound("fin thickness over fin pitch", 0.02, 0.2, lambda fin, surface, flow: fin.thickness / fin.pitch),
        Bound("fin pitch over louver pitch", 0.3, 2.0, lambda fin, surface, flow: fin.pitch / fin.louver_pitch),
        Bound("louver length over fin height", 0.5, 1.0, lambda fin, surface, flow: fin.louver_length / fin.spacing),
    ),
    transition=INTERRUPTED,
    turns=lambda fin, surface: [Re * surface.hydraulic_diameter / fin.louver_pitch for Re in (RE_LOW, RE_HIGH)],
    band_j=(-0.20, 0.20),
    band_f=(-0.20, 0.20),
    note="correlated on tube-and-centre cores, carried over to bar and plate",
)
