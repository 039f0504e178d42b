"""How large a z raises an alarm: set by how many healthy units a year may raise one by chance.

The tables hold the z that so many healthy units a year reach, by simulation of 600,000 installation-years a cell: two
to six checks a year over six years, noise that differs between installations by a lognormal factor of 0.25, one reading
in 200 wrong by 8 to 15 %, healthy drift of 0.15 %/year, counted from the fourth reading.  The tables are printed by
`inspections/bench/calibration.py`.  They hold for a fleet like that one, and no field data stands behind them.
"""

from dataclasses import dataclass

import numpy as np

from calc.arrays import Floats

# Of the budget, so much is the common channel's; the contrasts share the rest.
COMMON_SHARE = 0.4
# Healthy units a year whose z goes so far: what watches, what confirms, and what confirms a rise, which is rarer.
# Fleets of other seeds were confirmed a tenth more often than aimed at, so that 0.18 % stands for 0.2 %.
RATES_PER_YEAR = (0.01, 0.0018, 0.00036)
RESISTANCE_RATES_PER_YEAR = (0.001, 0.0002)
WATCH, ALARM, RARE = range(3)
# Noise of a stage that the columns were simulated for, and what the stages share beside it.
STAGE_NOISE_PERCENT = (0.5, 1.0, 2.0, 3.0, 4.5)
SHARED_PER_STAGE_NOISE = 0.75

# One block a number of stages, 1 to 8; in it a row a rate, a column a noise.
_COMMON = np.array(
    [
        [[1.62, 1.58, 1.49, 1.4, 1.25], [2.06, 2.03, 1.94, 1.86, 1.67], [2.59, 2.41, 2.33, 2.23, 2.0]],
        [[1.81, 1.79, 1.73, 1.67, 1.54], [2.28, 2.19, 2.12, 2.07, 1.92], [2.69, 2.54, 2.46, 2.42, 2.25]],
        [[1.83, 1.77, 1.71, 1.66, 1.56], [2.28, 2.14, 2.08, 2.05, 1.95], [2.67, 2.45, 2.4, 2.36, 2.3]],
        [[1.84, 1.75, 1.7, 1.66, 1.58], [2.28, 2.11, 2.06, 2.03, 1.96], [2.69, 2.48, 2.39, 2.35, 2.25]],
        [[1.85, 1.73, 1.68, 1.65, 1.57], [2.26, 2.09, 2.06, 2.03, 1.95], [2.62, 2.39, 2.43, 2.36, 2.28]],
        [[1.85, 1.72, 1.68, 1.65, 1.58], [2.25, 2.08, 2.03, 2.02, 1.96], [2.56, 2.37, 2.33, 2.35, 2.26]],
        [[1.83, 1.7, 1.67, 1.65, 1.58], [2.19, 2.04, 2.02, 2.02, 1.95], [2.52, 2.35, 2.34, 2.34, 2.26]],
        [[1.79, 1.68, 1.66, 1.64, 1.58], [2.16, 2.03, 2.02, 2.01, 1.94], [2.45, 2.36, 2.35, 2.33, 2.24]],
    ]
)
_CONTRAST = np.array(
    [
        [
            [np.inf, np.inf, np.inf, np.inf, np.inf],
            [np.inf, np.inf, np.inf, np.inf, np.inf],
            [np.inf, np.inf, np.inf, np.inf, np.inf],
        ],
        [[2.16, 1.98, 1.82, 1.69, 1.48], [3.04, 2.39, 2.2, 2.06, 1.83], [3.68, 2.77, 2.52, 2.36, 2.11]],
        [[2.26, 2.06, 1.92, 1.82, 1.65], [3.16, 2.45, 2.3, 2.19, 1.98], [3.7, 2.79, 2.61, 2.5, 2.27]],
        [[2.31, 2.09, 1.99, 1.89, 1.73], [3.06, 2.48, 2.35, 2.24, 2.07], [3.62, 2.86, 2.66, 2.53, 2.34]],
        [[2.34, 2.12, 2.02, 1.94, 1.79], [3.04, 2.5, 2.38, 2.29, 2.13], [3.77, 2.85, 2.69, 2.58, 2.4]],
        [[2.36, 2.16, 2.05, 1.98, 1.83], [3.19, 2.55, 2.41, 2.31, 2.16], [4.01, 2.95, 2.74, 2.63, 2.46]],
        [[2.39, 2.18, 2.09, 2.01, 1.86], [3.34, 2.56, 2.43, 2.35, 2.19], [4.09, 2.93, 2.75, 2.65, 2.47]],
        [[2.4, 2.2, 2.11, 2.03, 1.89], [3.41, 2.58, 2.45, 2.37, 2.21], [4.19, 2.98, 2.75, 2.64, 2.48]],
    ]
)
_RESISTANCE = np.array([[2.24, 2.17, 2.12, 2.08, 1.93], [3.19, 2.58, 2.49, 2.45, 2.28]])
# The lowest z that any noise makes worth a look.
LEAST_RESISTANCE_WATCH = float(_RESISTANCE.min())


@dataclass(frozen=True, slots=True)
class Thresholds:
    """Thresholds of z, shape (channels, rows) each: what watches and what confirms a fall, and a rise."""

    fall_watch: Floats
    fall_alarm: Floats
    rise_watch: Floats
    rise_alarm: Floats


def stage_thresholds(stages: int, noise_variance: Floats) -> Thresholds:
    """Return the thresholds of a unit's channels; a rise, being rarer, is flagged by what confirms a fall.

    Parameters
    ----------
    stages : int
        Stages of the unit, 1 to 8. [-]
    noise_variance : ndarray, shape (channels, rows)
        Mean variance of the readings' noise so far, common channel first. [%²]

    Examples
    --------
    >>> limits = stage_thresholds(4, np.full((5, 1), 2.0**2 * 4 / 3))
    >>> bool(limits.fall_watch[1, 0] == _CONTRAST[3, WATCH, 2]), bool((limits.fall_watch < limits.rise_watch).all())
    (True, True)
    """
    noise, tables = _noise_and_tables(stages, noise_variance)
    watch, alarm, rare = (_interpolated(noise, tables[:, rate]) for rate in (WATCH, ALARM, RARE))
    return Thresholds(watch, alarm, alarm, rare)


def resistance_thresholds(noise_variance: Floats) -> Thresholds:
    """Return the thresholds of a supply or ground channel, which only a loss can pass.

    Parameters
    ----------
    noise_variance : ndarray, shape (1, rows)
        Mean variance of the readings' noise so far. [%²]

    Examples
    --------
    >>> float(resistance_thresholds(np.full((1, 1), 1.0)).rise_watch[0, 0])
    inf
    """
    noise = np.sqrt(noise_variance)
    watch, alarm = (_interpolated(noise, row[None]) for row in _RESISTANCE)
    never = np.full_like(watch, np.inf)
    return Thresholds(watch, alarm, never, never)


def least_thresholds(stages: int, largest_variance: Floats) -> tuple[Floats, Floats]:
    """Return the lowest z at which a fall, and a rise, is watched with any noise up to this.

    Parameters
    ----------
    stages : int
        Stages of the unit, 1 to 8. [-]
    largest_variance : ndarray, shape (channels, rows)
        Largest variance of a reading's noise. [%²]

    Examples
    --------
    >>> falls, rises = least_thresholds(4, np.full((5, 1), 2.0**2 * 4 / 3))
    >>> quieter = stage_thresholds(4, np.full((5, 1), 1.0))
    >>> bool((falls <= quieter.fall_watch).all()), bool((rises <= quieter.rise_watch).all())
    (True, True)
    """
    noise, tables = _noise_and_tables(stages, largest_variance)
    lowest = np.minimum.accumulate(tables, axis=2)
    return _interpolated(noise, lowest[:, WATCH]), _interpolated(noise, lowest[:, ALARM])


def _noise_and_tables(stages: int, noise_variance: Floats) -> tuple[Floats, Floats]:
    """Return each channel's noise as that of a stage [%], and its table."""
    common = np.sqrt(noise_variance[0] / (1 / stages + SHARED_PER_STAGE_NOISE**2))
    contrast = np.sqrt(noise_variance[1:] * (stages - 1) / stages)
    noise = np.concatenate([common[None], contrast])
    return noise, np.stack([_COMMON[stages - 1], *[_CONTRAST[stages - 1]] * (len(noise) - 1)])


def _interpolated(noise: Floats, tables: Floats) -> Floats:
    places = np.log(np.clip(noise, STAGE_NOISE_PERCENT[0], STAGE_NOISE_PERCENT[-1]))
    grid = np.log(STAGE_NOISE_PERCENT)
    return np.stack([np.interp(row, grid, table) for row, table in zip(places, tables, strict=True)])
