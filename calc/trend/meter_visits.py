"""What the comparison of the meters needs of the visits of some units, and how much each of them counts for."""

from dataclasses import dataclass, fields, replace

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend.unit_lines import UnitLines

# Residuals beyond so many of their standard deviations count for no more, and a restless unit counts for less.
CLIPPED_Z, LARGEST_SQUARE, FLEET_VISITS, LARGEST_FACTOR = 2.5, 6.0, 10.0, 6.0
_ROUNDS = 2


@dataclass(frozen=True, slots=True)
class MeterVisits:
    """Visits of some units; arrays of shape (visits,) but for `units`.

    Attributes
    ----------
    unit, meter : ndarray of int
        Which baseline of which unit was read, 0 to units − 1, and by which meter.
    years : ndarray
        Time of the visit. [year]
    value_percent, variance : ndarray
        Mean of the stages less rated [%], and the variance of its noise. [%²]
    units : int
        How many baselines there are.
    """

    unit: Ints
    meter: Ints
    years: Floats
    value_percent: Floats
    variance: Floats
    units: int

    def where(self, chosen: Bools) -> "MeterVisits":
        """Return some of the visits."""
        arrays = {field.name: getattr(self, field.name)[chosen] for field in fields(self) if field.name != "units"}
        return replace(self, **arrays)


def robust_lines(visits: MeterVisits, value_percent: Floats) -> tuple[UnitLines, Floats]:
    """Return the line of each unit through values, and their residuals; gross errors and restless units count for less.

    Parameters
    ----------
    visits : MeterVisits
        The visits.
    value_percent : ndarray, shape (visits,)
        Their values, the effects of the meters taken out. [%]

    References
    ----------
    P. J. Huber, Annals of Mathematical Statistics 35 (1964) 73: weights that fall off beyond a bound (from memory).
    """
    lines = UnitLines.of(visits.unit, visits.years, 1 / visits.variance, visits.units)
    residual = lines.residual(value_percent)
    read = np.bincount(visits.unit, minlength=visits.units)
    for _ in range(_ROUNDS):
        square = residual**2 / visits.variance
        restless = np.bincount(visits.unit, np.minimum(square, LARGEST_SQUARE), minlength=visits.units)
        factor = np.clip((FLEET_VISITS + restless) / (FLEET_VISITS + read), 1.0, LARGEST_FACTOR)[visits.unit]
        beyond = np.sqrt(np.maximum(square / factor / CLIPPED_Z**2, 1.0))
        lines = lines.weighing(1 / (visits.variance * factor * beyond))
        residual = lines.residual(value_percent)
    return lines, residual
