"""Whether what looks like a loss of all stages came with another clamp."""

import numpy as np

from calc.arrays import Bools, Ints
from calc.trend.series import UNKNOWN_METER

LAST_READINGS = 3
# Of the last three readings so many by one clamp, and of the earlier ones at most this share, point to the clamp.
LEAST_OF_LAST = 2
LARGEST_EARLIER_SHARE = 1 / 3


def meter_suspected(meters: Ints, counts: Bools) -> Bools:
    """Return whether the last readings come mostly from a clamp that earlier ones did not come from.

    Parameters
    ----------
    meters : ndarray of int, shape (visits, rows)
        Which clamp read each visit up to now, the last one now.
    counts : ndarray of bool, shape (visits, rows)
        Whether the visit belongs to the baseline and says something of all stages.

    Examples
    --------
    >>> seen = np.ones((5, 1), bool)
    >>> meter_suspected(np.array([[1], [1], [1], [2], [2]]), seen).tolist()
    [True]
    >>> meter_suspected(np.array([[1], [1], [2], [2], [1]]), seen).tolist()
    [False]
    """
    from_last = np.cumsum(counts[::-1], axis=0)[::-1]
    last = counts & (from_last <= LAST_READINGS)
    earlier = counts & ~last
    same = meters == meters[-1]
    of_last = np.count_nonzero(last & same, axis=0)
    of_earlier, all_earlier = np.count_nonzero(earlier & same, axis=0), np.count_nonzero(earlier, axis=0)
    foreign = (all_earlier > 0) & (of_earlier <= LARGEST_EARLIER_SHARE * all_earlier)
    suspected: Bools = (meters[-1] != UNKNOWN_METER) & (of_last >= LEAST_OF_LAST) & foreign
    return suspected
