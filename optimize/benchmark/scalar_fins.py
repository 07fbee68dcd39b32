"""The fins of the scalar baselines, one number at a time: cells, j, f, efficiencies, the crossflow series, passes.

The same correlations as `physics.fins.offset_strip`, `physics.fins.plain` and `physics.heat_transfer`; sources there.
"""

import math
from types import SimpleNamespace as Record

_ASPECT, _K, _C = (0.0, 0.2, 0.5, 1.0), (0.674, 0.931, 1.28, 1.43), (2.9e-5, 7.6e-5, 2.1e-4, 2.9e-4)
_FRICTION = (1, -1.3553, 1.9467, -1.7012, 0.9564, -0.2537)
_NUSSELT = (1, -2.610, 4.970, -5.119, 2.702, -0.548)
STRIP, PLAIN = "offset strip", "plain"
TRANSITION = {STRIP: (1000.0, 2000.0), PLAIN: (2300.0, 1e4)}


def surface(family: str, fin: Record) -> Record:
    """Shares and densities of one finned passage."""
    s, h, t, cell = fin.pitch - fin.thickness, fin.spacing - fin.thickness, fin.thickness, fin.pitch * fin.spacing
    if family == PLAIN:
        return Record(
            open=s * h / cell, density=2 * (s + h) / cell, ratio=h / (s + h), Dh=2 * s * h / (s + h),
            metal=1 - s * h / cell, edge=0.0,
        )
    strip = fin.strip_length
    area = 2 * (s * strip + h * strip + t * h) + t * s
    return Record(
        open=s * h / cell, density=area / (cell * strip), ratio=(2 * h * strip + 2 * t * h + t * s) / area,
        Dh=4 * s * h * strip / area, metal=1 - s * h / cell, edge=t / strip,
    )


def colburn(side: Record, Re: float, Pr: float) -> float:
    """j of the correlation alone."""
    if side.family == STRIP:
        alpha, delta, gamma = _shape(side.fin)
        rise = 5.269e-5 * Re**1.340 * alpha**0.504 * delta**0.456 * gamma**-1.055
        return float(0.6522 * Re**-0.5403 * alpha**-0.1541 * delta**0.1499 * gamma**-0.0678 * (1 + rise) ** 0.1)
    return _duct_nusselt(_aspect(side.fin), side.surface.Dh, side.flow_length, Re, Pr) / (Re * math.cbrt(Pr))


def fanning(side: Record, Re: float) -> float:
    """f of the correlation alone."""
    if side.family == STRIP:
        alpha, delta, gamma = _shape(side.fin)
        rise = 7.669e-8 * Re**4.429 * alpha**0.920 * delta**3.767 * gamma**0.236
        return float(9.6243 * Re**-0.7422 * alpha**-0.1856 * delta**0.3053 * gamma**-0.2659 * (1 + rise) ** 0.1)
    return _duct_friction(_aspect(side.fin), side.surface.Dh, side.flow_length, Re)


def _shape(fin: Record) -> tuple[float, float, float]:
    s, t = fin.pitch - fin.thickness, fin.thickness
    return s / (fin.spacing - t), t / fin.strip_length, t / s


def _aspect(fin: Record) -> float:
    s, h = fin.pitch - fin.thickness, fin.spacing - fin.thickness
    return float(min(s, h) / max(s, h))


def _polynomial(terms: tuple[float, ...], x: float) -> float:
    return sum(term * x**power for power, term in enumerate(terms))


def _between(x: float, values: tuple[float, ...]) -> float:
    i = max(k for k in range(len(_ASPECT) - 1) if _ASPECT[k] <= x)
    return values[i] + (values[i + 1] - values[i]) * (x - _ASPECT[i]) / (_ASPECT[i + 1] - _ASPECT[i])


def _duct_nusselt(aspect: float, Dh: float, length: float, Re: float, Pr: float) -> float:
    x = length / (Dh * min(Re, 2300.0) * Pr)
    developed, entry = 7.541 * _polynomial(_NUSSELT, aspect), 0.641 * math.cbrt(24 * _polynomial(_FRICTION, aspect) / x)
    laminar = float((developed**4 + entry**4) ** 0.25)
    share = min(max((Re - 2300.0) / 7700.0, 0.0), 1.0)
    if share == 0:
        return laminar
    Re = max(Re, 1e4)
    half = _petukhov(Re) / 2
    turbulent = half * (Re - 1000) * Pr / (1 + 12.7 * math.sqrt(half) * (Pr ** (2 / 3) - 1))
    return float((1 - share) * laminar + share * turbulent * (1 + (Dh / length) ** (2 / 3)))


def _duct_friction(aspect: float, Dh: float, length: float, Re: float) -> float:
    low = min(Re, 2300.0)
    x = length / (Dh * low)
    entry, developed = 3.44 / math.sqrt(x), _between(aspect, _K) / (4 * x) + 24 * _polynomial(_FRICTION, aspect)
    laminar = (entry + (developed - entry) / (1 + _between(aspect, _C) / (x * x))) / low
    if Re <= 2300.0:
        return laminar
    rise = min(math.log(Re / 2300.0) / math.log(1e4 / 2300.0), 1.0)
    return math.exp((1 - rise) * math.log(laminar) + rise * math.log(_petukhov(max(Re, 1e4))))


def _petukhov(Re: float) -> float:
    return 0.25 / (0.79 * math.log(Re) - 1.64) ** 2


def surface_efficiency(side: Record, h: float, k: float) -> float:
    """eta_o over inner and outermost passages."""
    fin, r, edge = side.fin, side.surface.ratio, side.surface.edge
    m = math.sqrt(2 * h / (k * fin.thickness) * (1 + edge))
    inner = _eta(m * (fin.spacing / 2 - fin.thickness))
    outer = _eta(m * (fin.spacing - fin.thickness) * (1 + r) / (2 * r))
    share = side.outer_share
    return float((1 - share) * (1 - r * (1 - inner)) + share * (1 - (1 + r) / 2 * (1 - outer)))


def _eta(ml: float) -> float:
    return math.tanh(ml) / ml


def core_effectiveness(UA: float, C_air: float, C_coolant: float, passes: float, banks: float) -> float:
    """Of the whole core: exact unmixed crossflow a pass, passes in counter-crossflow or banks side by side."""
    C_air_unit = C_air / passes if banks > 0 else C_air
    low, high = min(C_air_unit, C_coolant), max(C_air_unit, C_coolant)
    eps, C = _crossflow(UA / passes / low, low / high), low / high
    if passes == 1:
        return eps
    if banks > 0:
        P = eps * low / C_coolant
        return float((1 - (1 - P) ** passes) * C_coolant / min(C_air, C_coolant))
    if abs(1 - C) < 1e-6:
        return passes * eps / (1 + (passes - 1) * eps)
    z = float(((1 - eps * C) / (1 - eps)) ** passes)
    return (z - 1) / (z - C)


def _crossflow(NTU: float, C: float) -> float:
    x, y = NTU, NTU * C
    term_x, term_y = math.exp(-x), math.exp(-y)
    p_x, p_y = 1 - term_x, 1 - term_y
    total = p_x * p_y
    for n in range(1, 200):
        term_x *= x / n
        term_y *= y / n
        p_x -= term_x
        p_y -= term_y
        total += p_x * p_y
        if p_x * p_y <= 5e-17 * total:
            break
    return total / y
