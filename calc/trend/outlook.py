"""Carrying forward what is losing current: the crossing of the lower limit, and when to look again."""

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend.filtering import trend_filter
from calc.trend.forecast import NEXT_CHECK_FAULT_PROBABILITY, NEXT_CHECK_QUANTILE, crossing_years
from calc.trend.series import SeriesBatch
from calc.trend.settings import CLEANING, STAGE_LEVEL_SD_PERCENT

# Wider than the fleet's spread: a unit that has always stood low must not look as if it had fallen there.
FORECAST_LEVEL_SD_PERCENT = 5.0


def outlook_of(series: SeriesBatch, current: Bools, declining: Bools) -> tuple[Floats, Floats]:
    """Return when the declining stages cross their lower limit, and when the next check is worth it.

    Parameters
    ----------
    series : SeriesBatch
        The checks.
    current : ndarray of bool, shape (visits, installations)
        Visits of the last baseline.
    declining : ndarray of bool, shape (stages, installations)
        What to carry forward.

    Returns
    -------
    crosses_at_years : ndarray, shape (3, stages, installations)
        Times, on the clock of `series.years`, at which the chance of being below reaches 5, 50 and 95 %: the last
        reading where it is below already, ∞ where not within the horizon, NaN where nothing declines or there is no
        limit. [year]
    next_check_at_years : ndarray, shape (installations,)
        Time of a 5 % chance of being below, the soonest of the stages; otherwise as above. [year]
    """
    crosses = np.full((3, *declining.shape), np.nan)
    next_check = np.full(declining.shape, np.inf)
    stage, column = np.nonzero(declining & ~np.isnan(series.lower_limit_percent))
    if len(stage):
        years, limit = series.years[:, column], series.lower_limit_percent[stage, column] - 100.0
        deviations, u = cleaned_readings(series, current, stage, column)
        last = np.where(np.isnan(deviations), -np.inf, years).max(axis=0)
        readings = years, deviations, u, limit
        crosses[:, stage, column] = last + crossing_years(*readings, level_sd_percent=FORECAST_LEVEL_SD_PERCENT)
        next_check[stage, column] = last + _next_check(*readings)
    return crosses, np.where(declining.any(axis=0), next_check.min(axis=0, initial=np.inf), np.nan)


def cleaned_readings(series: SeriesBatch, current: Bools, stage: Ints, column: Ints) -> tuple[Floats, Floats]:
    """Return the readings of some stages without gross errors, and their standard uncertainties.

    Parameters
    ----------
    series, current
        As above.
    stage, column : ndarray of int, shape (series,)
        Which stage of which installation.

    Returns
    -------
    deviations, u_percent : ndarray, shape (visits, series)
        Levels less rated, NaN before the last baseline, and what they scatter by, as the series itself shows. [%]
    """
    years = series.years[:, column]
    deviations = np.where(current[:, column], series.levels_percent[:, stage, column] - 100.0, np.nan)
    variances = series.u_own_percent[:, stage, column] ** 2 + series.u_shared_percent[:, column] ** 2
    prior_sd = np.array([STAGE_LEVEL_SD_PERCENT])
    filtered = trend_filter(years, deviations[:, None], variances[:, None], prior_sd, settings=CLEANING)
    return filtered.cleaned[:, 0], np.sqrt(variances * filtered.noise_factor[-1])


def _next_check(years: Floats, deviations: Floats, u_percent: Floats, limit: Floats) -> Floats:
    found = crossing_years(
        years,
        deviations,
        u_percent,
        limit,
        fault_probability=NEXT_CHECK_FAULT_PROBABILITY,
        level_sd_percent=FORECAST_LEVEL_SD_PERCENT,
        quantiles=(NEXT_CHECK_QUANTILE,),
    )
    return np.where(np.isnan(found[0]), np.inf, found[0])
