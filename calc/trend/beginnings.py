"""Where a baseline begins: where the unit's own first readings lie."""

import numpy as np

from calc.arrays import Bools, Floats

FIRST_READINGS = 3


def first_levels(values: Floats, variances: Floats, prior_sd: Floats, starts: Bools) -> tuple[Floats, Floats]:
    """Return mean and variance of the level that each baseline starts from, at the visits that begin one.

    Parameters
    ----------
    values, variances : ndarray, shape (visits, channels, installations)
        Readings, NaN where there are none, and the variance of their noise. [%], [%²]
    prior_sd : ndarray, shape (channels,)
        Spread of healthy units about 0, from which a baseline of fewer than three readings starts. [%]
    starts : ndarray of bool, shape (visits, installations)
        Visits that begin a baseline.

    Notes
    -----
    A unit that has always stood 5 % below rated is unusual, not losing current: it starts from the median of its first
    three readings, which one mistyped reading does not move.  The variance of one reading is added to the spread,
    because the filter takes those readings in again.  No decision is taken before the fourth reading, so none looks at
    a reading that came after it.

    Examples
    --------
    >>> readings = np.array([-9.0, 4.0, -8.0])[:, None, None]
    >>> started = np.array([[True], [False], [False]])
    >>> centre, variance = first_levels(readings, np.ones((3, 1, 1)), np.array([2.0]), started)
    >>> float(centre[0, 0, 0]), float(variance[0, 0, 0])
    (-8.0, 5.0)
    """
    centre, spread = np.zeros_like(values), np.zeros_like(values)
    for visit in np.flatnonzero(starts.any(axis=1)):
        rows = np.flatnonzero(starts[visit])
        median, variance = _median_of_first(values[visit:, :, rows], variances[visit:, :, rows], starts[visit:, rows])
        few = np.isnan(median)
        centre[visit][:, rows] = np.where(few, 0.0, median)
        spread[visit][:, rows] = prior_sd[:, None] ** 2 + np.where(few, 0.0, variance)
    return centre, spread


def _median_of_first(values: Floats, variances: Floats, starts: Bools) -> tuple[Floats, Floats]:
    """Return the median of the first three readings of a baseline and one reading's variance, NaN with fewer."""
    first = [values[k] if k < len(values) else np.full(values.shape[1:], np.nan) for k in range(FIRST_READINGS)]
    median = _median_of_three(*first)
    scattered = np.isnan(median) | starts[1:FIRST_READINGS].any(axis=0)
    variance = variances[0].copy()
    channel, column = np.nonzero(scattered)
    for some in np.array_split(np.arange(len(channel)), max(len(channel) // 4096, 1)):
        places = channel[some], column[some]
        median[places], variance[places] = _scattered(values[:, *places], variances[:, *places], starts[:, places[1]])
    return median, variance


def _scattered(values: Floats, variances: Floats, starts: Bools) -> tuple[Floats, Floats]:
    own = ~np.isnan(values) & (np.cumsum(starts, axis=0) == 1)
    order = np.argsort(~own, axis=0, kind="stable")[:FIRST_READINGS]
    enough = np.count_nonzero(own, axis=0) >= FIRST_READINGS
    picked = np.take_along_axis(values, order, axis=0)
    if len(picked) < FIRST_READINGS:
        return np.full(values.shape[1], np.nan), np.full(values.shape[1], np.nan)
    variance = np.take_along_axis(variances, order, axis=0)[0]
    return np.where(enough, _median_of_three(*picked), np.nan), variance


def _median_of_three(a: Floats, b: Floats, c: Floats) -> Floats:
    # NaN passes through minimum and maximum, so that three readings are needed.
    median: Floats = np.maximum(np.minimum(a, b), np.minimum(np.maximum(a, b), c))
    return median
