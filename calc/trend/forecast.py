"""When a stage will be below its lower limit: a date with its range, or none within the horizon."""

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend.change_points import LEAST_READINGS, LEVEL_SD_PERCENT, Posterior, posterior_of

HORIZON_YEARS = 15.0
GRID_YEARS = 0.02
QUANTILES = (0.05, 0.50, 0.95)
LONGEST_WINDOW = 20
# Before any reading so likely, and at such a chance of being below, a check is worth bringing forward.
NEXT_CHECK_FAULT_PROBABILITY = 0.02
NEXT_CHECK_QUANTILE = 0.05
_COARSE = 25
_SERIES_PER_BLOCK = 512


def crossing_years(
    years: Floats,
    deviations: Floats,
    u_percent: Floats,
    limit_percent: Floats,
    *,
    fault_probability: float = 1.0,
    level_sd_percent: float = LEVEL_SD_PERCENT,
    quantiles: tuple[float, ...] = QUANTILES,
) -> Floats:
    """Return the years from the last reading to where the chance of being below the limit reaches each quantile.

    Parameters
    ----------
    years, deviations, u_percent : ndarray, shape (readings, series)
        Times, levels less rated and their standard uncertainties, NaN where not read. [year], [%], [%]
    limit_percent : ndarray, shape (series,)
        Lower limit as a deviation from rated, negative. [%]
    fault_probability, level_sd_percent
        As in `posterior_of`.
    quantiles : tuple of float
        Chances of being below. [-]

    Returns
    -------
    ndarray, shape (quantiles, series)
        On a grid of 0.02 years; 0 is below already, ∞ not within 15 years, NaN with fewer than three readings. [year]

    Examples
    --------
    >>> years = np.arange(8.0)[:, None] / 2
    >>> found = crossing_years(years, -2 * years, np.full((8, 1), 0.5), np.array([-15.0]))
    >>> [round(float(each), 1) for each in found[:, 0]]
    [3.3, 3.9, 4.8]
    """
    found = np.full((len(quantiles), years.shape[1]), np.nan)
    read = ~np.isnan(deviations)
    counts = np.minimum(np.count_nonzero(read, axis=0), LONGEST_WINDOW)
    for count in np.unique(counts[counts >= LEAST_READINGS]):
        columns = np.flatnonzero(counts == count)
        for start in range(0, len(columns), _SERIES_PER_BLOCK):
            some = columns[start : start + _SERIES_PER_BLOCK]
            last = np.argsort(read[:, some], axis=0, kind="stable")[-int(count) :]
            series = (np.take_along_axis(each[:, some], last, axis=0) for each in (years, deviations, u_percent))
            posterior = posterior_of(*series, fault_probability=fault_probability, level_sd_percent=level_sd_percent)
            found[:, some] = _first_at(posterior, limit_percent[some], quantiles)
    return found


def _first_at(posterior: Posterior, limit: Floats, quantiles: tuple[float, ...]) -> list[Floats]:
    """Return the first grid points at which the chance reaches the quantiles: coarsely, then finely."""
    points = round(HORIZON_YEARS / GRID_YEARS)
    coarse: Ints = np.broadcast_to(np.arange(0, points + 1, _COARSE)[:, None], (points // _COARSE + 1, len(limit)))
    chance = posterior.below(limit, _in_years(coarse))
    return [_finely(posterior, limit, quantile, chance >= quantile) for quantile in quantiles]


def _finely(posterior: Posterior, limit: Floats, quantile: float, reached: Bools) -> Floats:
    ever, after = reached.any(axis=0), reached.argmax(axis=0) * _COARSE
    fine: Ints = np.maximum(after - np.arange(_COARSE)[::-1, None], 0)
    within = posterior.below(limit, _in_years(fine)) >= quantile
    first = np.take_along_axis(fine, within.argmax(axis=0)[None], axis=0)[0]
    return np.where(ever, _in_years(first), np.inf)


def _in_years(points: Ints) -> Floats:
    years: Floats = points.astype(np.float64) * GRID_YEARS
    return years
