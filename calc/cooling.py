"""Coil temperatures worked out: from a cold resistance of the same winding, or from cooling after driving."""

from itertools import product
from math import exp, hypot
from typing import NamedTuple

from calc.copper import COPPER_TEMPERATURE_COEFFICIENT_PER_K, require_temperature
from calc.errors import require_range

# 234.5 °C: IEC 60028:1925, annealed copper.
ZERO_RESISTANCE_C = 1 / COPPER_TEMPERATURE_COEFFICIENT_PER_K - 20.0
LOWEST_RESISTANCE_OHM, HIGHEST_RESISTANCE_OHM = 1e-6, 1e6
LONGEST_COOLING_MINUTES = 1e5
# Judgement, not data: no source gives a cooling time of retarder coils; it may be half or twice as long.
USUAL_TIME_CONSTANT_MINUTES = 45.0
TIME_CONSTANT_FACTOR = 2.0
AIR_BOUND_C = 5.0


class Estimate(NamedTuple):
    """A temperature worked out, and the half-width of a rectangle of the same standard uncertainty. [°C]"""

    temperature_c: float
    bound_c: float | None


def temperature_from_cold_resistance(
    resistance_now_ohm: float,
    resistance_cold_ohm: float,
    cold_temperature_c: float,
    *,
    resistance_now_bound_ohm: float = 0.0,
    resistance_cold_bound_ohm: float = 0.0,
    cold_temperature_bound_c: float = 0.0,
) -> Estimate:
    """Return the temperature of a copper winding from its resistance now and its resistance when cold.

    Parameters
    ----------
    resistance_now_ohm, resistance_cold_ohm : float
        Four-wire resistance of the same winding, lead off, 1e-6 to 1e6. [Ω]
    cold_temperature_c : float
        Winding temperature at the cold reading, −60 to 400. [°C]
    resistance_now_bound_ohm, resistance_cold_bound_ohm, cold_temperature_bound_c : float
        Half-widths of their rectangular bounds. [Ω], [Ω], [°C]

    Returns
    -------
    Estimate
        Temperature, and the half-width of a rectangle of the combined standard uncertainty. [°C]

    References
    ----------
    The resistance method: (t2 + k)/(t1 + k) = R2/R1, k = 234.5 for copper (IEC 60028:1925); GUM 5.1.2.

    Examples
    --------
    >>> round(temperature_from_cold_resistance(58.0, 50.0, 20.0).temperature_c, 1)
    60.7
    """
    require_range("resistance_now_ohm", resistance_now_ohm, LOWEST_RESISTANCE_OHM, HIGHEST_RESISTANCE_OHM)
    require_range("resistance_cold_ohm", resistance_cold_ohm, LOWEST_RESISTANCE_OHM, HIGHEST_RESISTANCE_OHM)
    require_temperature("cold_temperature_c", cold_temperature_c)
    ratio = resistance_now_ohm / resistance_cold_ohm
    cold_k = ZERO_RESISTANCE_C + cold_temperature_c
    hot_k = ratio * cold_k
    bound_c = hypot(
        hot_k * resistance_now_bound_ohm / resistance_now_ohm,
        hot_k * resistance_cold_bound_ohm / resistance_cold_ohm,
        ratio * cold_temperature_bound_c,
    )
    return Estimate(hot_k - ZERO_RESISTANCE_C, bound_c)


def temperature_from_cooling(
    start_temperature_c: float,
    air_temperature_c: float,
    minutes_since_stop: float,
    *,
    start_bound_c: float,
    time_constant_minutes: float | None = None,
) -> Estimate:
    """Return the temperature of a coil that has cooled in still air since driving.

    Parameters
    ----------
    start_temperature_c, air_temperature_c : float
        Coil temperature when the vehicle stopped, and the air's, −60 to 400. [°C]
    minutes_since_stop : float
        Time since, 0 to 1e5. [min]
    start_bound_c : float
        Half-width of the start temperature's bound. [°C]
    time_constant_minutes : float, optional
        Time constant of the cooling, 45 where not known. [min]

    Returns
    -------
    Estimate
        Temperature, and half the span between the slowest and the fastest cooling from the hottest and the coldest
        start: a wide bound, for an exponential knows nothing of wind, sun and a hot rotor beside the coils. [°C]

    Notes
    -----
    Newton's law of cooling, one time constant, taken as known within a factor of two; the air within 5 °C.

    Examples
    --------
    >>> cooled = temperature_from_cooling(120.0, 20.0, 90.0, start_bound_c=20.0)
    >>> round(cooled.temperature_c, 1), round(cooled.bound_c, 1)
    (33.5, 33.8)
    """
    require_temperature("start_temperature_c", start_temperature_c)
    require_temperature("air_temperature_c", air_temperature_c)
    require_range("minutes_since_stop", minutes_since_stop, 0.0, LONGEST_COOLING_MINUTES)
    constant = USUAL_TIME_CONSTANT_MINUTES if time_constant_minutes is None else time_constant_minutes
    centre_c = _cooled(start_temperature_c, air_temperature_c, minutes_since_stop / constant)
    corners_c = [
        _cooled(
            start_temperature_c + side * start_bound_c, air_temperature_c + air, minutes_since_stop / (constant * f)
        )
        for side, air, f in product(
            (-1, 1), (-AIR_BOUND_C, AIR_BOUND_C), (1 / TIME_CONSTANT_FACTOR, TIME_CONSTANT_FACTOR)
        )
    ]
    return Estimate(centre_c, max(max(corners_c) - centre_c, centre_c - min(corners_c)))


def _cooled(start_c: float, air_c: float, time_constants: float) -> float:
    return air_c + (start_c - air_c) * exp(-time_constants)
