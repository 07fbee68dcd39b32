"""Water in the charge: saturation, humidity, dew point, what condenses on cold metal and the heat it brings.

An ideal mixture of dry air and vapour, without enhancement factor. Against CoolProp's humid air from 265 to 380 K, as
far as the vapour is at most half of the pressure, saturated humidity is 0.4 to 1.1 % low at 1 bar and 1.3 to 2.4 % at
4 bar, dew points 0.05 to 0.5 K high: what condenses is a little too much, and a little too early.
Ice below the triple point, liquid above: below it "dew point" is the frost point, relative humidity is that over ice.
"""

from functools import cache

import numpy as np

from physics.arrays import Array

MASS_RATIO = 0.621945  # molar mass of water over that of dry air, ASHRAE Handbook of Fundamentals, from memory
TRIPLE_POINT = 273.16
RANGE = (173.15, 473.15)  # [K] of the two saturation equations

# ASHRAE Handbook of Fundamentals (2009 on), chapter 1, eqs 5 and 6, from memory; Hyland & Wexler 1983.
# ln(p/Pa) = c[0]/T + c[1] + c[2] T + ... + log ln T
_ICE = (-5.6745359e3, 6.3925247, -9.6778430e-3, 6.2215701e-7, 2.0747825e-9, -9.4840240e-13)
_ICE_LOG = 4.1635019
_LIQUID = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8)
_LIQUID_LOG = 6.5459673

_POINTS = 4096  # of the inverse: straight lines between them keep 2e-3 K
_LEAST = 1e-6  # [Pa] vapour pressure below the range, for the logarithm of none
_DRY = 1e-6  # [Pa] least pressure of dry air a humidity ratio is taken on


def saturation_pressure(T: Array | float) -> Array:
    """Pressure of water vapour over ice or liquid water [Pa], in the shape of T [K]; T is held to `RANGE`.

    >>> [round(float(saturation_pressure(T)), -1) for T in (293.15, 373.15)]  # steam tables: 2339, 101420 Pa
    [2340.0, 101420.0]
    """
    T = np.clip(T, *RANGE)
    return np.exp(_log_saturation(np.asarray(T)))


def _log_saturation(T: Array) -> Array:
    """ln p; the equation of the phase there is, meeting at the triple point within 1e-6."""
    log_T = np.log(T)
    liquid = _series(_LIQUID, _LIQUID_LOG, T, log_T)
    cold = T < TRIPLE_POINT
    if not np.any(cold):
        return liquid
    return np.where(cold, _series(_ICE, _ICE_LOG, T, log_T), liquid)


def _series(c: tuple[float, ...], log: float, T: Array, log_T: Array) -> Array:
    total = np.full_like(T, c[-1])
    for term in c[-2:0:-1]:
        total *= T
        total += term
    total += c[0] / T
    total += log * log_T
    return total


def dew_point(vapour_pressure: Array | float) -> Array:
    """Temperature at which a vapour pressure >= 0 [Pa] is saturation [K]; held to `RANGE`, dry air to its cold end.

    Also the boiling point of water at that pressure.

    >>> round(float(dew_point(101325.0)), 1)
    373.1
    """
    first, step, T, rise = _inverse()
    place = np.clip((np.log(np.maximum(vapour_pressure, _LEAST)) - first) / step, 0.0, _POINTS - 1.0)
    index = np.nan_to_num(place).astype(np.int64)
    return np.asarray(np.take(T, index, mode="clip") + (place - index) * np.take(rise, index, mode="clip"))


@cache
def _inverse() -> tuple[float, float, Array, Array]:
    """First ln p, its step, temperature at each point and its rise to the next one; made by Newton's method."""
    low, high = (float(_log_saturation(np.array(T))) for T in RANGE)
    log_p = np.linspace(low, high, _POINTS)
    T = 1 / np.linspace(1 / RANGE[0], 1 / RANGE[1], _POINTS)  # ln p is nearly straight in 1/T
    for _ in range(6):
        slope = (_log_saturation(T + 0.01) - _log_saturation(T - 0.01)) / 0.02
        T = np.clip(T - (_log_saturation(T) - log_p) / slope, *RANGE)
    return low, (high - low) / (_POINTS - 1), T, np.diff(T, append=T[-1])


def vapour_pressure(W: Array | float, p: Array | float) -> Array:
    """Partial pressure of the vapour [Pa] at a humidity ratio W [kg/kg dry air] and a pressure [Pa]."""
    return np.asarray(p * W / (MASS_RATIO + W))


def humidity_ratio(vapour_pressure: Array | float, p: Array | float) -> Array:
    """Humidity ratio W [kg/kg dry air]; beyond all bounds, but finite, where the vapour pressure reaches p.

    >>> round(float(humidity_ratio(vapour_pressure(0.01, 1e5), 1e5)), 9)
    0.01
    """
    return np.asarray(MASS_RATIO * vapour_pressure / np.maximum(p - vapour_pressure, _DRY))


def humidity_of(T: Array | float, p: Array | float, relative_humidity: Array | float) -> Array:
    """Humidity ratio W [kg/kg dry air] of air at T [K], p [Pa] and a relative humidity 0 .. 1."""
    return humidity_ratio(relative_humidity * saturation_pressure(T), p)


def condensate(W: Array | float, T_cold: Array | float, p: Array | float, dry_air_flow: Array | float) -> Array:
    """Water or ice [kg/s] that air of humidity W leaves on metal at T_cold [K] if all of it is cooled to that; >= 0.

    >>> round(float(condensate(0.0109, 278.15, 101325.0, 1 / 1.0109)), 4)  # Moran & Shapiro, Example 12.7: 0.0055
    0.0054
    """
    return np.asarray(dry_air_flow * np.maximum(W - humidity_ratio(saturation_pressure(T_cold), p), 0.0))


def latent_heat(T: Array | float) -> Array:
    """Heat set free by vapour on metal at T [K], [J/kg]: condensation above the triple point, sublimation below.

    2501 - 2.326 t kJ/kg (ASHRAE Handbook of Fundamentals, chapter 1; 0.6 % high at 100 degC); over ice
    2834.1 - 0.29 t - 0.004 t^2 kJ/kg (Rogers & Yau, A Short Course in Cloud Physics, -40 to 0 degC); both from memory.

    >>> float(latent_heat(273.15 + 20.0))
    2454480.0
    """
    t = np.asarray(T) - 273.15
    return np.where(np.asarray(T) < TRIPLE_POINT, 2834.1e3 - (290 + 4 * t) * t, 2501e3 - 2326 * t)
