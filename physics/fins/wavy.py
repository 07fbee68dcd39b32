"""Wavy (herringbone) fins: the asymptotic form of Awad & Muzychka, J. Electronic Packaging 133 (2011)."""

import numpy as np

from physics.arrays import Array
from physics.fins import plain
from physics.fins.family import INTERRUPTED, Bound, Fin, FinFamily, Flow, Surface, reynolds


def arc_ratio(fin: Fin) -> Array:
    """Arc length of one sine wave over its wavelength; wave_amplitude is half of peak to peak.

    >>> flat = Fin(spacing=np.array([1.0]), wave_length=np.array([1.0]), wave_amplitude=np.array([1e-9]))
    >>> round(float(arc_ratio(flat)[0]), 6)
    1.0
    """
    from scipy.special import ellipe

    steep = (2 * np.pi * fin.wave_amplitude / fin.wave_length) ** 2
    return (2 / np.pi) * np.sqrt(1 + steep) * np.asarray(ellipe(steep / (1 + steep)))


def surface(fin: Fin) -> Surface:
    """Plain channels, their fin walls longer by the arc; plates and feet are not."""
    straight = plain.surface(fin)
    s, h, arc = fin.gap, fin.height, arc_ratio(fin)
    cell = fin.pitch * fin.spacing
    return Surface(
        open_share=straight.open_share,
        area_density=2 * (s + h * arc) / cell,
        fin_area_ratio=h * arc / (s + h * arc),
        hydraulic_diameter=straight.hydraulic_diameter,
        metal_share=fin.thickness * (h * arc + fin.pitch) / cell,
        edge_ratio=straight.edge_ratio,
    )


def f(fin: Fin, surface: Surface, flow: Flow) -> Array:
    """Fanning factor: developed flow along the arc and a boundary layer renewed each wave, added as squares [-]."""
    arc = arc_ratio(fin)
    wave = arc * fin.wave_length / surface.hydraulic_diameter
    developed = plain.laminar_friction(plain.aspect_ratio(fin)) * arc
    renewed_squared = 3.44**2 * flow.Re / wave
    return np.sqrt(developed**2 + renewed_squared) / flow.Re


def j(fin: Fin, surface: Surface, flow: Flow) -> Array:
    """Colburn factor: developed flow and a boundary layer renewed each half wave, fifth-power blend [-]."""
    half_wave = 0.5 * arc_ratio(fin) * fin.wave_length / surface.hydraulic_diameter
    developed = plain.laminar_nusselt(plain.aspect_ratio(fin)) / (flow.Re * np.cbrt(flow.Pr))
    renewed = 0.664 / np.sqrt(flow.Re * half_wave)
    return (developed**5 + renewed**5) ** 0.2


WAVY = FinFamily(
    name="wavy",
    source="Awad & Muzychka 2011; band from one measured surface (j +1 %, f -25 %)",
    surface=surface,
    j=j,
    f=f,
    box=(
        reynolds(50, 2000),
        Bound(
            "wave height over wavelength", 0.05, 0.5,
            lambda fin, surface, flow: 2 * fin.wave_amplitude / fin.wave_length,
        ),
    ),
    transition=INTERRUPTED,
    band_j=(-0.20, 0.20),
    band_f=(-0.20, 0.35),
    note="one text and one measured point stand behind it: measure before buying tools",
)
