"""The exact distribution of Kendall's S for series without ties, and the ranks of Theil and Sen's interval."""

from functools import cache
from math import factorial

import numpy as np
from scipy.special import ndtr

from calc.arrays import Floats


@cache
def kendall_tail(readings: int) -> Floats:
    """Return P(at least i of the pairs fall) for i = 0 … n(n − 1)/2, without a trend and without ties.

    Parameters
    ----------
    readings : int
        Length of the series, 1 to 170. [-]

    Notes
    -----
    The numbers of orderings with i falling pairs (Mahonian numbers) come from multiplying 1 + x + … + x^(k − 1) for
    k = 2 … n.  S = n(n − 1)/2 − 2i.

    References
    ----------
    M. G. Kendall, Rank Correlation Methods; R. O. Gilbert, Statistical Methods for Environmental Pollution Monitoring
    (1987), table A18.

    Examples
    --------
    >>> round(float(kendall_tail(4)[5]), 3), round(float(kendall_tail(4)[6]), 4)
    (0.167, 0.0417)
    """
    orderings = np.ones(1)
    for length in range(2, readings + 1):
        orderings = np.convolve(orderings, np.ones(length))
    tail: Floats = np.cumsum((orderings / factorial(readings))[::-1])[::-1]
    return tail


@cache
def interval_rank(readings: int, coverage: float) -> int:
    """Return r such that the r-th slope from each end bounds an exact interval; 0 where none is so narrow.

    Parameters
    ----------
    readings : int
        Length of the series. [-]
    coverage : float
        Least probability that the interval covers the slope, 0 to 1. [-]

    References
    ----------
    P. K. Sen, JASA 63 (1968) 1379.

    Examples
    --------
    >>> interval_rank(7, 0.93), interval_rank(3, 0.90)
    (5, 0)
    """
    below = 1 - kendall_tail(readings)
    rank = int(np.searchsorted(below, (1 - coverage) / 2 + 1e-12, side="right")) - 1
    return max(rank, 0)


def tied_tail(score: Floats, values: Floats) -> Floats:
    """Return the normal approximation of P(S ≤ score), with the variance that ties leave.

    Parameters
    ----------
    score : ndarray, shape (series,)
        Rising less falling pairs. [-]
    values : ndarray, shape (readings, series)
        The values of each series.

    References
    ----------
    Kendall (1970), chapter 5; continuity correction of one.
    """
    readings = len(values)
    # Each value of a group of t equal ones brings (t − 1)(2t + 5) of the group's t(t − 1)(2t + 5).
    alike = np.stack([np.sum(values == value, axis=0, dtype=np.int64) for value in values])
    untied = readings * (readings - 1) * (2 * readings + 5)
    variance = (untied - np.sum((alike - 1) * (2 * alike + 5), axis=0)) / 18
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(variance > 0, ndtr((score + 1) / np.sqrt(variance)), 1.0)
