"""The straight line of every unit, offset and slope, and what is left of its visits once that is taken out."""

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from calc.arrays import Floats, Ints

# Wide, so that a depot whose units are all rated alike a little wrong does not look like a depot of bad meters.
OFFSET_SD_PERCENT = 5.0
SLOPE_SD_PERCENT_PER_YEAR = 1.0


@dataclass(frozen=True, slots=True)
class UnitLines:
    """Offset and slope of each unit, shrunk to zero by their spread in the fleet.

    Attributes
    ----------
    unit : ndarray of int, shape (visits,)
        Which unit was read.
    years, weight : ndarray, shape (visits,)
        Time since the middle of the unit's visits [year], and one over the variance. [%⁻²]
    inverse : tuple of ndarray, shape (units,)
        Inverse of each unit's two equations: offset, both, slope.
    """

    unit: Ints
    years: Floats
    weight: Floats
    inverse: tuple[Floats, Floats, Floats]

    @classmethod
    def of(cls, unit: Ints, years: Floats, weight: Floats, units: int) -> "UnitLines":
        """Return the lines of some visits."""
        count = np.maximum(np.bincount(unit, minlength=units), 1)
        middle = np.bincount(unit, years, minlength=units) / count
        return cls._about(unit, years - middle[unit], weight, units)

    @classmethod
    def _about(cls, unit: Ints, years: Floats, weight: Floats, units: int) -> "UnitLines":
        cross = np.bincount(unit, weight * years, minlength=units).astype(np.float64)
        offset = np.bincount(unit, weight, minlength=units) + 1 / OFFSET_SD_PERCENT**2
        slope = np.bincount(unit, weight * years**2, minlength=units) + 1 / SLOPE_SD_PERCENT_PER_YEAR**2
        determinant = offset * slope - cross**2
        return cls(unit, years, weight, (slope / determinant, -cross / determinant, offset / determinant))

    def weighing(self, weight: Floats) -> "UnitLines":
        """Return the lines of the same visits, weighed otherwise."""
        return self._about(self.unit, self.years, weight, len(self.inverse[0]))

    def sums(self, value: Floats) -> tuple[Floats, Floats]:
        """Return the right-hand sides of each unit's two equations."""
        units, weighed = len(self.inverse[0]), self.weight * value
        level = np.bincount(self.unit, weighed, minlength=units).astype(np.float64)
        trend = np.bincount(self.unit, weighed * self.years, minlength=units).astype(np.float64)
        return level, trend

    def residual(self, value: Floats) -> Floats:
        """Return what is left of the values.  [%]"""
        level, trend = self.sums(value)
        offset = self.inverse[0] * level + self.inverse[1] * trend
        slope = self.inverse[1] * level + self.inverse[2] * trend
        left: Floats = value - offset[self.unit] - slope[self.unit] * self.years
        return left


def eliminated(
    weight: Floats,
    years: Floats,
    places: tuple[Ints, Ints],
    inverse: tuple[Floats, Floats, Floats],
    shape: tuple[int, int],
) -> sparse.csr_array:
    """Return what eliminating offset and slope of each row takes from the equations of the columns.

    Parameters
    ----------
    weight, years : ndarray, shape (visits,)
        As in `UnitLines`.
    places : tuple of ndarray of int, shape (visits,)
        Row and column of each visit.
    inverse : tuple of ndarray, shape (rows,)
        Of the two equations of each row, as in `UnitLines`.
    shape : tuple of int
        Rows and columns.
    """
    level = sparse.csr_array((weight, places), shape=shape)
    trend = sparse.csr_array((weight * years, places), shape=shape)
    without_level = _scaled(inverse[0], level) + _scaled(inverse[1], trend)
    without_trend = _scaled(inverse[1], level) + _scaled(inverse[2], trend)
    return sparse.csr_array(level.T @ without_level + trend.T @ without_trend)


def _scaled(rows: Floats, matrix: sparse.csr_array) -> sparse.csr_array:
    return sparse.csr_array(sparse.diags_array(rows) @ matrix)
