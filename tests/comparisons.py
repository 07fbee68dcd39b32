"""Whole tables, charts and solved fields beside the product's values: ours / theirs - 1, or ours - theirs."""

from functools import cache
from typing import Any

import numpy as np
from cores import INCH, constant_core, fin, flow, one
from crossflow_field import means
from header_network import PASSAGES, network_flows
from published import columns, table

from physics.arrays import Array
from physics.columns import column
from physics.core import HEADERS
from physics.fins import OFFSET_STRIP, PLAIN, WAVY, Fin, FinFamily, plain
from physics.heat_transfer import core_effectiveness, crossflow_coolant_mixed, crossflow_unmixed
from physics.ports import header_spread
from physics.pressure_drop import entry_coefficient, exit_coefficient
from physics.properties import AIR, coolant

# --- surfaces -----------------------------------------------------------------------------------

# The double amplitude of 0.0775 in is from memory.
WAVE = {"wave_length": 9.525e-3, "wave_amplitude": 0.984e-3}


def kays_london_fin(row: Any) -> tuple[FinFamily, Fin]:
    """A row of the Kays & London tables as one of our fins."""
    cut = {
        "spacing": row.plate_spacing_mm * 1e-3,
        "pitch": INCH / row.fins_per_inch,
        "thickness": row.fin_thickness_mm * 1e-3,
    }
    if row.kind == "offset strip":
        strip = getattr(row, "strip_length_mm", None) or row.strip_or_louver_length_mm
        return OFFSET_STRIP, fin(**cut, strip_length=strip * 1e-3)
    if "wavy" in row.kind:
        return WAVY, fin(**cut, **WAVE)
    return PLAIN, fin(**cut)


def surface_named(name: str) -> Any:
    """A row of the Kays & London geometry table."""
    rows = table("kays_london_geometry.csv")
    return next(rows[rows.surface == name].itertuples())


def measured_over_computed(row: Any, factor: str) -> float:
    """Measured j or f over ours, less one: the way the bands of the families count."""
    family, cut = kays_london_fin(row)
    surface = family.surface(cut)
    # At the same mass velocity: the charts count Re on their own hydraulic diameter, up to 7 % from ours.
    Re = row.Re * surface.hydraulic_diameter * 1e3 / row.hydraulic_diameter_mm
    computed = getattr(family, factor)(cut, surface, flow(Re))[0]
    return float(getattr(row, factor) / computed - 1)


def laminar_errors() -> dict[str, Array]:
    """Laminar constants of rectangular ducts against finite elements, relative."""
    shape, fRe, Nu_T, Nu_H1 = columns("duct_laminar_constants.csv", "shape", "fRe", "Nu_T", "Nu_H1")
    return {
        "f Re": plain.laminar_friction(shape) / fRe - 1,
        "Nu_T": plain.laminar_nusselt(shape) / Nu_T - 1,
        "Nu_H1": plain.laminar_nusselt_flux(shape) / Nu_H1 - 1,
    }


def entry_nusselt_errors() -> tuple[Array, Array]:
    """(aspect ratios, relative errors (aspect, x*)) of the thermal entry of rectangular ducts."""
    name = "rect_thermal_entry_NuT.csv"
    (aspect,) = columns(name, "alpha")
    headings = [h for h in table(name).columns if h.startswith("Num_x*=")]
    exact = np.stack(columns(name, *headings), axis=-1)
    ours = [plain.developing_nusselt(aspect, column(float(h.split("=")[1]))) for h in headings]
    return aspect, np.stack(ours, axis=-1) / exact - 1


# --- exchangers ---------------------------------------------------------------------------------


def crossflow_differences() -> dict[str, Array]:
    """One pass against the exact columns: ours - theirs."""
    name = "crossflow_unmixed_exact.csv"
    NTU, C, unmixed, C_max, C_min = columns(
        name, "NTU", "Cstar", "eps_both_unmixed_exact", "eps_Cmax_mixed", "eps_Cmin_mixed"
    )
    return {
        "both unmixed": crossflow_unmixed(NTU, C) - unmixed,
        "C_max mixed": crossflow_coolant_mixed(NTU, C, np.full(NTU.shape, True)) - C_max,
        "C_min mixed": crossflow_coolant_mixed(NTU, C, np.full(NTU.shape, False)) - C_min,
    }


def multipass_effectiveness() -> Array:
    """Ours for every row of the multipass table."""
    NTU, C, n = columns("crossflow_multipass.csv", "NTU_total", "Cstar", "n_passes")
    return core_effectiveness(NTU, np.ones_like(C), 1 / C, n, np.zeros_like(n), mixed=False)


def multipass_excess() -> Array:
    """Ours (fluids mixed between passes) over air that keeps its profile, by finite differences, less one."""
    (air_unmixed,) = columns("crossflow_multipass.csv", "counter_air_unmixed_FD")
    return multipass_effectiveness() / air_unmixed - 1


FIELD_NTU = (0.5, 1.0, 2.0)
FIELD_C_RATIO = (0.05, 0.25, 0.5, 0.86, 1.0)


@cache
def field_differences(NTU: float, C_ratio: float, air_is_min: bool) -> tuple[float, float, float]:
    """Effectiveness, mean air and mean coolant temperature against the 2-D field, as shares of the inlet span."""
    r, NTU_air, NTU_coolant = constant_core(NTU, C_ratio, air_is_min)
    eps, hot, cold = means(NTU_air, NTU_coolant)
    ours = (
        (400 - one(r, "air_outlet_temperature")) / 100,
        (one(r, "air_mean_temperature") - 300) / 100,
        (one(r, "coolant_mean_temperature") - 300) / 100,
    )
    return ours[0] - eps, ours[1] - hot, ours[2] - cold


# --- losses and headers -------------------------------------------------------------------------

COEFFICIENTS = {"Kc": entry_coefficient, "Ke": exit_coefficient}
# The momentum coefficient of each chart's flow; the laminar one was drawn with 1.39.
CHART_FLOWS = {"Re=infinity": 1.0, "Re>=1e4 square ducts": 1.0, "laminar square ducts": 1.378}


def chart_differences(coefficient: str, case: str) -> Array:
    """Entry or exit coefficient against the digitised charts: ours - theirs."""
    rows = table("kc_ke_reference.csv")
    rows = rows[(rows.coef == coefficient) & (rows.case == case)]
    sigma, read = (np.asarray(rows[name], dtype=float) for name in ("sigma", "chart_value"))
    difference: Array = COEFFICIENTS[coefficient](sigma, CHART_FLOWS[case]) - read
    return difference


SPREAD_EXPONENTS = (1.25, 1.75, 2.0)
SPREAD_RATIOS = (0.01, 0.03, 0.1, 0.3, 0.5)


@cache
def spread_error(header: str, exponent: float, ratio: float) -> float:
    """Flow spread over a header against a network of passages, relative."""
    count = PASSAGES // 2 if header == "centre" else PASSAGES  # ports at the centre feed two halves
    m = network_flows(count, ratio, exponent, opposite=header == "opposite ends")
    # End passages sit half a passage from the mouth and the dead end
    spread = float(np.ptp(m)) * count / (count - 1)
    _, factor = HEADERS[header]
    return float(header_spread(column(ratio), column(exponent), column(factor))[0]) / spread - 1


# --- fluids -------------------------------------------------------------------------------------


def air_table_errors() -> dict[str, Array]:
    """Air against the textbook's table, relative; its densities hold at 100 kPa, not at the printed 1 atm."""
    T, rho, cp, mu, k = columns(
        "air_textbook_vs_coolprop.csv", "T_K", "book_rho", "book_cp", "book_mu", "book_k"
    )
    return {
        "density": AIR.density(T, 1.0e5) / rho - 1,
        "specific heat": AIR.specific_heat(T, 101325.0) / cp - 1,
        "viscosity": AIR.viscosity(T, 101325.0) / mu - 1,
        "conductivity": AIR.conductivity(T, 101325.0) / k - 1,
    }


def glycol_table_errors(fraction: float) -> dict[str, Array]:
    """Ethylene glycol by volume against the handbook-type table, relative."""
    name = "eg_water_properties.csv"
    share, T_C, rho, cp, k, mu = columns(name, "fraction", "T_C", "table_rho", "table_cp", "table_k", "table_mu")
    mixture, T, here = coolant("ethylene glycol", fraction, "volume"), T_C + 273.15, share == fraction
    errors = {
        "density": mixture.density(T, 2.0e5) / rho - 1,
        "specific heat": mixture.specific_heat(T, 2.0e5) / cp - 1,
        "viscosity": mixture.viscosity(T, 2.0e5) * 1e3 / mu - 1,
        "conductivity": mixture.conductivity(T, 2.0e5) / k - 1,
    }
    return {quantity: error[here] for quantity, error in errors.items()}
