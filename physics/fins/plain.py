"""Plain rectangular passages and, as their flat limit, the open passage: laminar, developing, turbulent."""

from dataclasses import replace

import numpy as np

from physics.arrays import Array
from physics.fins.family import Fin, FinFamily, Flow, Surface, reynolds

RE_LAMINAR = 2300.0
RE_TURBULENT = 1.0e4
# Shah 1978, f_app Re: increments K and C against the aspect ratio (from memory)
_ASPECT = np.array([0.0, 0.2, 0.5, 1.0])
_K = np.array([0.674, 0.931, 1.28, 1.43])
_C = np.array([2.9e-5, 7.6e-5, 2.1e-4, 2.9e-4])


def _polynomial(coefficients: list[float], x: Array) -> Array:
    result = np.full_like(x, coefficients[-1])
    for c in coefficients[-2::-1]:
        result = result * x + c
    return result


def laminar_friction(aspect: Array) -> Array:
    """Developed laminar f Re of a rectangular duct; Shah & London 1978, aspect = short/long side.

    >>> round(float(laminar_friction(np.array([1.0]))[0]), 3)
    14.23
    """
    return 24 * _polynomial([1, -1.3553, 1.9467, -1.7012, 0.9564, -0.2537], aspect)


def laminar_nusselt(aspect: Array) -> Array:
    """Developed laminar Nu at uniform wall temperature (T); Shah & London 1978."""
    return 7.541 * _polynomial([1, -2.610, 4.970, -5.119, 2.702, -0.548], aspect)


def laminar_nusselt_flux(aspect: Array) -> Array:
    """Developed laminar Nu at uniform flux along, uniform temperature around the wall (H1); Shah & London 1978."""
    return 8.235 * _polynomial([1, -2.0421, 3.0853, -2.4765, 1.0578, -0.1861], aspect)


def developing_friction(aspect: Array, x_plus: Array) -> Array:
    """Apparent f Re over x+ = L/(Dh Re) from a sharp entry, momentum change included; Shah 1978."""
    K, C = np.interp(aspect, _ASPECT, _K), np.interp(aspect, _ASPECT, _C)
    entry = 3.44 / np.sqrt(x_plus)
    developed = K / (4 * x_plus) + laminar_friction(aspect)
    return np.asarray(entry + (developed - entry) / (1 + C / (x_plus * x_plus)))


def developing_nusselt(aspect: Array, x_star: Array) -> Array:
    """Length-mean Nu over x* = L/(Dh Re Pr), developed velocity; fourth-power blend of the two limits.

    -4 to +5 % of the exact value for aspect <= 0.25, up to +12 % for the square.
    """
    entry = 0.641 * np.cbrt(laminar_friction(aspect) / x_star)
    return np.sqrt(np.sqrt(laminar_nusselt(aspect) ** 4 + entry**4))


def turbulent_friction(log_Re: Array) -> Array:
    """Fanning f of a smooth duct; Petukhov 1970 (printed as Darcy, a quarter of it here)."""
    return 0.25 / (0.79 * log_Re - 1.64) ** 2


def turbulent_nusselt(Re: Array, Pr: Array, f: Array, diameter_over_length: Array) -> Array:
    """Gnielinski with the entry factor of the VDI Heat Atlas; f Fanning."""
    root = np.sqrt(f / 2)
    core = (f / 2) * (Re - 1000) * Pr / (1 + 12.7 * root * (np.cbrt(Pr) ** 2 - 1))
    return np.asarray(core * (1 + np.cbrt(diameter_over_length) ** 2))


def turbulent_share(Re: Array) -> Array:
    """0 below Re 2300, 1 above 1e4, linear between (VDI Heat Atlas)."""
    return np.clip((Re - RE_LAMINAR) / (RE_TURBULENT - RE_LAMINAR), 0.0, 1.0)


def duct_nusselt(aspect: Array, Dh: Array, flow: Flow) -> Array:
    """Mean Nu at any Re: developing laminar, transition blended between its ends, turbulent."""
    slenderness = Dh / flow.length
    laminar_Re = np.minimum(flow.Re, RE_LAMINAR)
    laminar = developing_nusselt(aspect, 1 / (slenderness * laminar_Re * flow.Pr))
    share = turbulent_share(flow.Re)
    if not np.any(share):
        return laminar
    Re = np.maximum(flow.Re, RE_TURBULENT)
    turbulent = turbulent_nusselt(Re, flow.Pr, turbulent_friction(np.log(Re)), slenderness)
    return (1 - share) * laminar + share * turbulent


def duct_friction(aspect: Array, Dh: Array, flow: Flow) -> Array:
    """Apparent Fanning f at any Re, a power law from Re 2300 to 1e4 so that the loss rises with flow throughout."""
    laminar_Re = np.minimum(flow.Re, RE_LAMINAR)
    laminar = developing_friction(aspect, flow.length / (Dh * laminar_Re)) / laminar_Re
    share = turbulent_share(flow.Re)
    if not np.any(share):
        return laminar
    turbulent = turbulent_friction(np.log(np.maximum(flow.Re, RE_TURBULENT)))
    rise = np.clip(np.log(flow.Re / RE_LAMINAR) / np.log(RE_TURBULENT / RE_LAMINAR), 0.0, 1.0)
    blend = np.exp((1 - rise) * np.log(laminar) + rise * np.log(turbulent))
    return np.where(share > 0, blend, laminar)  # the same bits whatever else is in the batch


def surface(fin: Fin) -> Surface:
    """Straight rectangular channels, gap s by height h."""
    s, h = fin.gap, fin.height
    cell = fin.pitch * fin.spacing
    return Surface(
        open_share=s * h / cell,
        area_density=2 * (s + h) / cell,
        fin_area_ratio=h / (s + h),
        hydraulic_diameter=2 * s * h / (s + h),
        metal_share=1 - s * h / cell,
        edge_ratio=np.zeros_like(s),
    )


def aspect_ratio(fin: Fin) -> Array:
    """Short over long side of the channel."""
    return np.minimum(fin.gap, fin.height) / np.maximum(fin.gap, fin.height)


def _colburn(Nu: Array, flow: Flow) -> Array:
    return Nu / (flow.Re * np.cbrt(flow.Pr))


def j(fin: Fin, surface: Surface, flow: Flow) -> Array:
    """Colburn factor of plain fins [-]."""
    return _colburn(duct_nusselt(aspect_ratio(fin), surface.hydraulic_diameter, flow), flow)


def f(fin: Fin, surface: Surface, flow: Flow) -> Array:
    """Apparent Fanning factor of plain fins [-]."""
    return duct_friction(aspect_ratio(fin), surface.hydraulic_diameter, flow)


def open_surface(fin: Fin) -> Surface:
    """A passage with no fin: two plates `spacing` apart."""
    one = np.ones_like(fin.spacing)
    return Surface(one, 2 / fin.spacing, 0 * one, 2 * fin.spacing, 0 * one, 0 * one)


def _open_aspect(fin: Fin, flow: Flow) -> Array:
    ratio = fin.spacing / flow.width
    return np.minimum(ratio, 1 / ratio)


def open_j(fin: Fin, surface: Surface, flow: Flow) -> Array:
    """Colburn factor of an open passage [-]."""
    return _colburn(duct_nusselt(_open_aspect(fin, flow), surface.hydraulic_diameter, flow), flow)


def open_f(fin: Fin, surface: Surface, flow: Flow) -> Array:
    """Apparent Fanning factor of an open passage [-]."""
    return duct_friction(_open_aspect(fin, flow), surface.hydraulic_diameter, flow)


PLAIN = FinFamily(
    name="plain",
    source="Shah & London 1978 (laminar), Shah 1978 (entry), Petukhov 1970, Gnielinski 2013 (VDI Heat Atlas)",
    surface=surface,
    j=j,
    f=f,
    box=(reynolds(10, 1e5),),
    band_j=(-0.15, 0.15),
    band_f=(-0.10, 0.10),
    turns=lambda fin, surface: (RE_LAMINAR, RE_TURBULENT),
    note="between Re 2300 and 1e4 the flow may settle either way: the blend is the mean of what is seen",
)

OPEN = replace(
    PLAIN, name="open", surface=open_surface, j=open_j, f=open_f, mixed=True,
    note="no fin: the coolant is taken as mixed across the passage",
)
