"""Fins, effectiveness and passes: from film coefficients to the share of the possible cooling."""

import numpy as np

from physics.arrays import Array, BoolArray, stacked

_TERMS = 200  # of the crossflow series; reached only far beyond any core (NTU of order 100)
_LOOKED = frozenset(range(9, _TERMS, 3))  # terms after which it is looked whether more are needed
_SMALL = 5e-17  # below half a unit in the last place: what is left out changes no bit, whatever the batch


def fin_efficiency(h: Array, conductivity: Array, thickness: Array, length: Array, edge_ratio: Array) -> Array:
    """tanh(ml)/(ml), m^2 = (2 h / k t)(1 + t/l_s); Kays & London 1984, Shah & Sekulic 2003 eq 4.146.

    h [W/m2K], k [W/mK], thickness and length [m]; edge_ratio t/l_s, 0 for continuous fins.

    >>> args = [np.array([x]) for x in (150.0, 180.0, 1e-4, 2.4e-3, 0.0)]
    >>> round(float(fin_efficiency(*args)[0]), 4)
    0.9692
    """
    ml = length * np.sqrt(2 / (conductivity * thickness) * (1 + edge_ratio)) * np.sqrt(h)  # sqrt of the fin's alone
    return np.tanh(ml) / ml


def surface_efficiency(fin_area_ratio: Array, eta_fin: Array) -> Array:
    """eta_o = 1 - (A_f/A)(1 - eta_f)."""
    return 1 - fin_area_ratio * (1 - eta_fin)


def crossflow_unmixed(NTU: Array, C_ratio: Array) -> Array:
    """Exact effectiveness of one crossflow pass, both fluids unmixed [-].

    eps = (1/(NTU C*)) sum over n of P(n+1, NTU) P(n+1, C* NTU), with P(n+1, x) = 1 - exp(-x) sum_{m<=n} x^m/m!
    (Mason 1955; equal to the Bessel-function form of Baclic 1978). C* = 0 gives 1 - exp(-NTU).

    >>> round(float(crossflow_unmixed(np.array([5.0]), np.array([0.7]))[0]), 6)
    0.844482
    """
    x = np.maximum(NTU, 1e-9)
    y = np.maximum(x * C_ratio, 1e-9)
    xy = stacked(x, y)  # as one, and in place: half the calls, no fresh memory
    power = np.exp(-xy)  # exp(-x) x^n/n!, n = 0
    P = 1 - power
    total = P[0] * P[1]
    step, term = np.empty_like(xy), np.empty_like(total)
    for n in range(1, _TERMS):
        power *= np.multiply(xy, 1 / n, out=step)
        P -= power
        total += np.multiply(P[0], P[1], out=term)
        if n in _LOOKED and not np.any(term > _SMALL * total):
            break
    return np.where(y > 1e-6, total / y, 1 - np.exp(-x))


def crossflow_coolant_mixed(NTU: Array, C_ratio: Array, coolant_is_max: BoolArray) -> Array:
    """Effectiveness of one crossflow pass with the coolant mixed across, air unmixed [-]; Kays & London 1984.

    >>> values = crossflow_coolant_mixed(np.array([5.0, 5.0]), np.array([0.7, 0.7]), np.array([True, False]))
    >>> [round(float(v), 6) for v in values]
    [0.71581, 0.749784]
    """
    C = np.maximum(C_ratio, 1e-9)
    max_mixed = -np.expm1(C * np.expm1(-NTU)) / C
    min_mixed = -np.expm1(np.expm1(-C * NTU) / C)
    return np.where(coolant_is_max, max_mixed, min_mixed)


def counter_cross(eps_pass: Array, C_ratio: Array, passes: Array) -> Array:
    """N identical passes in counter-crossflow, fluids mixed between passes [-]; Kays & London 1984.

    The air really stays unmixed between the passes: the formula is up to 1.1 % high for two passes at C* = 1,
    0.12 % at C* = 0.25 and NTU = 3.
    """
    balanced = np.abs(1 - C_ratio) < 1e-6
    C = np.where(balanced, 0.5, C_ratio)
    eps = np.minimum(eps_pass, 1 - 1e-12)
    z = np.exp(passes * np.log((1 - eps * C) / (1 - eps)))
    equal = passes * eps / (1 + (passes - 1) * eps)
    return np.where(passes == 1, eps_pass, np.where(balanced, equal, (z - 1) / (z - C)))


def core_effectiveness(
    UA: Array, C_air: Array, C_coolant: Array, passes: Array, side_by_side: Array, mixed: bool
) -> Array:
    """Effectiveness of the whole core, Q / (C_min (T_air,in - T_coolant,in)) [-].

    `passes` N; `side_by_side` 1 where the stack is divided into N banks in series on the coolant side, each
    with fresh air: Q = C_c [1 - (1 - P)^N] dT, P the coolant-side effectiveness of one bank (C_air/N, UA/N).
    """
    in_banks = side_by_side > 0
    C_air_unit = np.where(in_banks, C_air / passes, C_air)
    C_min_unit, C_max_unit = np.minimum(C_air_unit, C_coolant), np.maximum(C_air_unit, C_coolant)
    NTU, C_ratio = UA / passes / C_min_unit, C_min_unit / C_max_unit
    coolant_is_max = C_coolant >= C_air_unit
    eps = crossflow_coolant_mixed(NTU, C_ratio, coolant_is_max) if mixed else crossflow_unmixed(NTU, C_ratio)
    if np.all(passes == 1):
        return eps
    if not np.any(in_banks):
        return np.where(passes == 1, eps, counter_cross(eps, C_ratio, passes))
    P = eps * C_min_unit / C_coolant
    banks = -np.expm1(passes * np.log1p(-np.minimum(P, 1 - 1e-12))) * C_coolant / np.minimum(C_air, C_coolant)
    through = banks if np.all(in_banks) else counter_cross(eps, C_ratio, passes)
    return np.where(passes == 1, eps, np.where(in_banks, banks, through))


def pass_effectiveness(eps: Array, C_air: Array, C_coolant: Array, passes: Array, side_by_side: Array) -> Array:
    """Coolant-side effectiveness of one pass, or bank, of a core of effectiveness `eps`: `core_effectiveness` undone.

    >>> core = [np.array([x]) for x in (900.0, 250.0, 1400.0, 3.0, 0.0)]  # UA/3 over C_min: NTU = 1.2
    >>> P = pass_effectiveness(core_effectiveness(*core, False), *core[1:])
    >>> bool(np.isclose(P * 1400 / 250, crossflow_unmixed(np.array([1.2]), np.array([250 / 1400])), rtol=1e-9))
    True
    """
    C_min, C_max = np.minimum(C_air, C_coolant), np.maximum(C_air, C_coolant)
    P = eps * C_min / C_coolant
    if np.all(passes == 1):
        return P
    banks = -np.expm1(np.log1p(-P) / passes)
    through = counter_cross(eps, C_min / C_max, 1 / passes) * C_min / C_coolant
    return np.where(passes == 1, P, np.where(side_by_side > 0, banks, through))
