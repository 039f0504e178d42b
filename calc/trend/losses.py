"""How much each channel has lost since its first decision, in standard deviations."""

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend.filtering import Filtered

# The level now is the median of so many readings: the filter is slow to follow a large step.
LAST_READINGS = 3


class Losses:
    """Follows a replay and keeps where each channel stood when it was first judged."""

    def __init__(self, values: Floats, variances: Floats, filtered: Filtered) -> None:
        self._values, self._variances, self._filtered = values, variances, filtered
        self._level = np.full(filtered.z.shape[1:], np.nan)
        self._variance = np.full(filtered.z.shape[1:], np.nan)

    def follow(self, visit: int, starts: Bools) -> None:
        """Take a visit in: a new baseline forgets, a first decision is kept."""
        if starts.any():
            self._level[:, starts] = np.nan
        first = np.isnan(self._level) & ~np.isnan(self._filtered.z[visit])
        if first.any():
            self._level[first] = self._filtered.level[visit][first]
            self._variance[first] = self._filtered.level_variance[visit][first]

    def in_sd(self, visit: int, columns: Ints) -> Floats:
        """Return each channel's loss over its standard deviation, shape (channels, rows); a gain is negative."""
        last = slice(max(visit + 1 - LAST_READINGS, 0), visit + 1)
        values = self._values[last][:, :, columns]
        read = ~np.isnan(values)
        lost = self._level[:, columns] - middle_of(values)
        # A single reading's noise, so that two that agree by chance do not end anything.
        noise = np.where(read, self._variances[last][:, :, columns], 0.0).max(axis=0)
        variance = self._variance[:, columns] + noise * self._filtered.noise_factor[visit, columns]
        return np.where(read.any(axis=0), lost / np.sqrt(variance), np.inf)


def middle_of(values: Floats) -> Floats:
    """Return the median along the first axis, NaN left out and NaN where there is nothing else.

    Examples
    --------
    >>> middle_of(np.array([[3.0, np.nan], [np.nan, np.nan], [1.0, np.nan]])).tolist()
    [2.0, nan]
    """
    ordered = np.sort(values, axis=0)
    count = np.count_nonzero(~np.isnan(values), axis=0)[None]
    lower = np.take_along_axis(ordered, np.maximum(count - 1, 0) // 2, axis=0)
    upper = np.take_along_axis(ordered, np.minimum(count // 2, len(values) - 1), axis=0)
    middle: Floats = (0.5 * (lower + upper))[0]
    return middle
