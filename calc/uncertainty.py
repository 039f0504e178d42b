"""Standard uncertainties and how they combine: the arithmetic of the GUM, on arrays."""

from math import erf, exp, lgamma, sqrt

import numpy as np
from scipy.special import stdtrit

from calc.arrays import Amount, Floats, anywhere

SQRT_3 = sqrt(3.0)
SQRT_12 = sqrt(12.0)
COVERAGE_PROBABILITY = erf(2 / sqrt(2))
NORMAL_COVERAGE_FACTOR = 2.0


def meter_half_width(reading: Amount, accuracy_percent: Amount, counts_half_width: Amount) -> Amount:
    """Return the half-width of a meter's accuracy: its two terms add linearly, as one rectangle.

    Parameters
    ----------
    reading : float or ndarray
        What the meter shows. [unit of the meter]
    accuracy_percent : float or ndarray
        Share of the reading. [%]
    counts_half_width : float or ndarray
        Counts × resolution. [unit of the meter]

    References
    ----------
    GUM (JCGM 100:2008) 4.3.7 Example 2.

    Examples
    --------
    >>> round(meter_half_width(30.0, 2.0, 0.5), 3)
    1.1
    """
    return abs(reading) * accuracy_percent / 100 + counts_half_width


def rectangular_u(half_width: Amount) -> Amount:
    """Return the standard uncertainty of a bound within which every value is equally likely.

    References
    ----------
    GUM (JCGM 100:2008) 4.3.7.

    Examples
    --------
    >>> round(rectangular_u(4.0), 1)
    2.3
    """
    return half_width / SQRT_3


def resolution_u(resolution: Amount) -> Amount:
    """Return the standard uncertainty of a digital reading.

    References
    ----------
    GUM (JCGM 100:2008) F.2.2.1: 0.29 of the resolution.

    Examples
    --------
    >>> round(resolution_u(1.0), 2)
    0.29
    """
    return resolution / SQRT_12


def combined_u(contributions: Floats) -> Floats:
    """Return the root sum of squares over the first axis; contributions are in the unit of the result.

    References
    ----------
    GUM (JCGM 100:2008) 5.1.2, Eq. (10), with the sensitivities already applied.

    Examples
    --------
    >>> float(combined_u(np.array([[3.0], [4.0]]))[0])
    5.0
    """
    # Added one by one: a library's own sum changes its order, and so the last digit, with the number of results.
    total: Floats = np.add.accumulate(contributions * contributions)[-1]
    return np.sqrt(total)


def unreliability_of_scatter_percent(readings: int) -> float:
    """Return how far the scatter of a few readings is itself uncertain, in percent of it.

    Parameters
    ----------
    readings : int
        Independent readings of one quantity, two or more. [-]

    Returns
    -------
    float
        Standard deviation of the experimental standard deviation of the mean, relative to it. [%]

    References
    ----------
    GUM (JCGM 100:2008) E.4.3 and Table E.1, for normally distributed readings.

    Examples
    --------
    >>> [round(unreliability_of_scatter_percent(readings)) for readings in (2, 3, 10)]
    [76, 52, 24]
    """
    c4 = sqrt(2 / (readings - 1)) * exp(lgamma(readings / 2) - lgamma((readings - 1) / 2))
    return 100 * sqrt(1 - c4 * c4) / c4


def effective_degrees_of_freedom(u_type_a: Floats, degrees_of_freedom: Floats, u_combined: Floats) -> Floats:
    """Return the Welch–Satterthwaite degrees of freedom; infinite where all is Type B.

    Parameters
    ----------
    u_type_a, degrees_of_freedom : ndarray, shape (components, results)
        Type A contributions and their degrees of freedom; all other contributions have infinitely many. [A], [-]
    u_combined : ndarray, shape (results,)
        Combined standard uncertainty. [A]

    References
    ----------
    GUM (JCGM 100:2008) G.4.1, Eq. (G.2b).

    Examples
    --------
    >>> nu = effective_degrees_of_freedom(np.array([[1.0]]), np.array([[4.0]]), np.array([2.0 ** 0.5]))
    >>> round(float(nu[0]), 6)
    16.0
    """
    if not anywhere(u_type_a):
        return np.full(u_combined.shape, np.inf)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.nan_to_num((u_type_a / u_combined) ** 2)
        nu: Floats = 1.0 / (share * share / degrees_of_freedom).sum(axis=0)
    return nu


def coverage_factor(degrees_of_freedom: Floats) -> Floats:
    """Return t at 95.45 %, which is 2 for infinitely many degrees of freedom.

    References
    ----------
    GUM (JCGM 100:2008) G.3 and Table G.2.

    Examples
    --------
    >>> [round(float(k), 2) for k in coverage_factor(np.array([2.0, 10.0, np.inf]))]
    [4.53, 2.28, 2.0]
    """
    factor = np.full(degrees_of_freedom.shape, NORMAL_COVERAGE_FACTOR)
    finite = np.isfinite(degrees_of_freedom)
    if anywhere(finite):
        factor[finite] = stdtrit(degrees_of_freedom[finite], (1 + COVERAGE_PROBABILITY) / 2)
    return factor
