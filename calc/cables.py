"""Copper cable: resistance per metre at 20 °C from the size printed on it."""

import re
from math import pi

COPPER_RESISTIVITY_OHM_MM2_PER_KM = 17.241
MM_PER_INCH = 25.4

# IEC 60228:2004 table 3, class 5, plain copper, largest resistance at 20 °C.  [Ω/km]
# The rows 2.5, 4, 16, 35 and 95 are from memory; the others were compared with public copies of the table.
CLASS_5_OHM_PER_KM = {
    1.5: 13.3,
    2.5: 7.98,
    4.0: 4.95,
    6.0: 3.30,
    10.0: 1.91,
    16.0: 1.21,
    25.0: 0.780,
    35.0: 0.554,
    50.0: 0.386,
    70.0: 0.272,
    95.0: 0.206,
}

AWG_SIZES = tuple(range(-3, 21))

_METRIC = re.compile(r"(\d+(?:\.\d+)?)\s*mm(?:2|²)")
_AWG = re.compile(r"(?:([1-4])/0|(0|[1-9]\d?))\s*AWG", re.IGNORECASE)


class UnknownCableSize(ValueError):
    """A cable size that is no size this module knows, with the sizes that it does know."""

    def __init__(self, size: str) -> None:
        metric = ", ".join(f"{area_mm2:g}" for area_mm2 in CLASS_5_OHM_PER_KM)
        super().__init__(f"unknown cable size {size!r}: use '70 mm2' ({metric}) or '2/0 AWG' (4/0 to 20)")
        self.size = size


def resistance_ohm_per_m(size: str) -> float:
    """Return the resistance of a copper cable at 20 °C.

    Parameters
    ----------
    size : str
        "70 mm2" for a metric cable, taken at the largest resistance of class 5; "2/0 AWG" for a wire gauge, taken from
        its geometry.

    Returns
    -------
    float
        Resistance at 20 °C. [Ω/m]

    Raises
    ------
    UnknownCableSize
        Names the size given and those known.

    References
    ----------
    IEC 60228:2004, table 3 (class 5); ASTM B258 for the diameters and IEC 60028:1925 for the resistivity of copper.

    Examples
    --------
    >>> resistance_ohm_per_m("70 mm2"), round(resistance_ohm_per_m("2/0 AWG"), 7)
    (0.000272, 0.0002557)
    """
    if metric := _METRIC.fullmatch(size.strip()):
        ohm_per_km = CLASS_5_OHM_PER_KM.get(float(metric[1]))
    elif gauge := _AWG.fullmatch(size.strip()):
        ohm_per_km = _awg_ohm_per_km(1 - int(gauge[1]) if gauge[1] else int(gauge[2]))
    else:
        ohm_per_km = None
    if ohm_per_km is None:
        raise UnknownCableSize(size)
    return ohm_per_km / 1000.0


def cable_resistance_ohm(size: str, length_m: float) -> float:
    """Return the resistance of a length of copper cable at 20 °C.

    Parameters
    ----------
    size : str
        As for `resistance_ohm_per_m`.
    length_m : float
        Length of the one conductor, 0 or more. [m]

    Examples
    --------
    >>> round(cable_resistance_ohm("70 mm2", 4.0), 6)
    0.001088
    """
    if not 0 <= length_m < float("inf"):
        raise ValueError(f"length_m = {length_m:g} is outside the permitted range 0 to less than infinity")
    return resistance_ohm_per_m(size) * length_m


def awg_diameter_mm(gauge: int) -> float:
    """Return the diameter of a solid wire of an American wire gauge; 1/0 is 0, 4/0 is −3.

    References
    ----------
    ASTM B258: 0.005 inch at gauge 36, 0.46 inch at 4/0, and 38 equal ratios between.

    Examples
    --------
    >>> round(awg_diameter_mm(-1) / 25.4, 4)
    0.3648
    """
    return float(0.005 * 92.0 ** ((36 - gauge) / 39) * MM_PER_INCH)


def awg_area_mm2(gauge: int) -> float:
    """Return the cross-section of a solid wire of an American wire gauge.

    Examples
    --------
    >>> round(awg_area_mm2(6), 2)
    13.3
    """
    return pi / 4 * awg_diameter_mm(gauge) ** 2


def _awg_ohm_per_km(gauge: int) -> float | None:
    return COPPER_RESISTIVITY_OHM_MM2_PER_KM / awg_area_mm2(gauge) if gauge in AWG_SIZES else None
