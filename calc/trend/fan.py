"""The forecast as a fan: where the level of a stage may lie at each time to come, and how likely."""

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend.change_points import LEAST_READINGS, Posterior, posterior_of
from calc.trend.forecast import LONGEST_WINDOW
from calc.trend.outlook import FORECAST_LEVEL_SD_PERCENT, cleaned_readings
from calc.trend.series import SeriesBatch

# Edges of 90 % and of 50 %, and the middle.
FAN_CHANCES = (0.05, 0.25, 0.50, 0.75, 0.95)
# No level lies further from rated than this, and the edges are found to a hundredth of a percent.
_FURTHEST_PERCENT = 100.0
_HALVINGS = 15


def fan_of(series: SeriesBatch, current: Bools, declining: Bools, ahead_years: Floats) -> Floats:
    """Return where the level of each declining stage may lie, by the same posterior as its crossing.

    Parameters
    ----------
    series : SeriesBatch
        The checks, what the meters add taken out.
    current : ndarray of bool, shape (visits, installations)
        Visits of the last baseline.
    declining : ndarray of bool, shape (stages, installations)
        What to carry forward.
    ahead_years : ndarray, shape (points,)
        Times after the stage's last reading. [year]

    Returns
    -------
    ndarray, shape (chances, points, stages, installations)
        Levels that the true one is below with the chances of `FAN_CHANCES`, NaN where nothing declines or fewer than
        three readings tell. [%]
    """
    fan = np.full((len(FAN_CHANCES), len(ahead_years), *declining.shape), np.nan)
    stages, columns = np.nonzero(declining)
    for stage, column in zip(stages.tolist(), columns.tolist(), strict=True):
        one: tuple[Ints, Ints] = np.array([stage]), np.array([column])
        deviations, u_percent = (each[:, 0] for each in cleaned_readings(series, current, *one))
        read = np.flatnonzero(~np.isnan(deviations))[-LONGEST_WINDOW:]
        if len(read) >= LEAST_READINGS:
            readings = (each[read, None] for each in (series.years[:, column], deviations, u_percent))
            posterior = posterior_of(*readings, level_sd_percent=FORECAST_LEVEL_SD_PERCENT)
            fan[:, :, stage, column] = [100 + _level_at(posterior, ahead_years, chance) for chance in FAN_CHANCES]
    return fan


def _level_at(posterior: Posterior, ahead_years: Floats, chance: float) -> Floats:
    """Return the deviation that the level of the one series is below with this chance, by halving, shape (points,)."""
    low, high = (np.full((len(ahead_years), 1), end) for end in (-_FURTHEST_PERCENT, _FURTHEST_PERCENT))
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        reached = posterior.below(middle[:, None], ahead_years[:, None]) >= chance
        low, high = np.where(reached, low, middle), np.where(reached, middle, high)
    found: Floats = 0.5 * (low + high)[:, 0]
    return found
