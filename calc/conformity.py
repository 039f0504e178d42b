"""Limits, guard bands, verdict classes and the probability of conformity (JCGM 106:2012, ILAC-G8:09/2019)."""

from math import pi, sqrt

import numpy as np
from scipy.special import ndtr, ndtri

from calc.arrays import Floats, Ints, anywhere, everywhere
from calc.columns import MAX_FALSE_ACCEPT, SIMPLE
from calc.uncertainty import SQRT_3

VERDICTS = ("pass", "conditional_pass", "undetermined", "conditional_fail", "fail")
PASS, CONDITIONAL_PASS, UNDETERMINED, CONDITIONAL_FAIL, FAIL = range(5)
_NEARLY_NORMAL = 1e-3
_FAR = 40.0
_ROUNDING = 1e-9
SQRT_2_PI = sqrt(2 * pi)


def conformance_probability(
    value: Floats, u_normal: Floats, half_width: Floats, lower_limit: Floats, upper_limit: Floats
) -> Floats:
    """Return the chance that the true value lies within limits, for a rectangle convolved with a normal.

    Parameters
    ----------
    value : ndarray, shape (...)
        Measured value. [A]
    u_normal : ndarray
        Standard uncertainty of everything but the rectangle, taken as normal. [A]
    half_width : ndarray
        Half-width of the largest rectangular contribution. [A]
    lower_limit, upper_limit : ndarray
        Tolerance limits; ∓infinity where there is none. [A]

    References
    ----------
    JCGM 106:2012 7.4 for the normal case; GUM (JCGM 100:2008) G.2.2 on convolving.

    Examples
    --------
    >>> one, none = np.ones(1), np.zeros(1)
    >>> round(float(conformance_probability(13.6 * one, 1.8 * one, none, 12.5 * one, 16.3 * one)[0]), 6)
    0.66263
    """
    distances = np.array([upper_limit - value, lower_limit - value])
    below_upper, below_lower = rectangle_with_normal_cdf(distances, u_normal, half_width)
    # A limit that the value meets exactly belongs to acceptance, also where nothing is uncertain.
    probability: Floats = np.minimum(np.maximum(below_upper - below_lower, 0.0), 1.0)
    if anywhere(certain := (u_normal == 0) & (half_width == 0)):
        within = (value >= lower_limit) & (value <= upper_limit)
        probability = np.where(certain, within, probability)
    return probability


def rectangle_with_normal_cdf(distance: Floats, u_normal: Floats, half_width: Floats) -> Floats:
    """Return P(R + N <= distance) for R uniform on ±half_width and N normal about zero.

    Parameters
    ----------
    distance : ndarray, shape (...) or (distances, ...)
        Distance from the centre. [any one unit]
    u_normal, half_width : ndarray, shape (...)
        Standard deviation of N, half-width of R. [the same unit]

    Notes
    -----
    The closed form divides a difference by the half-width; a half-width under a thousandth of `u_normal` is told from
    a normal of the same variance by less than 1e-13, so the normal stands in for it.

    Examples
    --------
    >>> round(float(rectangle_with_normal_cdf(np.array([0.5]), np.array([0.0]), np.array([1.0]))[0]), 2)
    0.75
    """
    narrow = half_width < _NEARLY_NORMAL * u_normal
    width = np.where(narrow | (half_width == 0), 1.0, half_width)
    reach = half_width + _FAR * u_normal
    near = np.minimum(np.maximum(distance, -reach), reach)
    to_upper_edge, to_lower_edge = _integrated_cdf(np.array([near + width, near - width]), u_normal)
    area = to_upper_edge - to_lower_edge
    cdf: Floats = area / (2 * width)
    if anywhere(narrow):
        spread = np.sqrt(u_normal * u_normal + half_width * half_width / 3)
        cdf = np.where(narrow, ndtr(near / np.where(spread > 0, spread, 1.0)), cdf)
    return cdf


def _integrated_cdf(upper: Floats, u_normal: Floats) -> Floats:
    spreads = u_normal > 0
    everything_spreads = everywhere(spreads)
    z = upper / (u_normal if everything_spreads else np.where(spreads, u_normal, 1.0))
    integral: Floats = upper * ndtr(z) + u_normal * (np.exp(-0.5 * z * z) / SQRT_2_PI)
    return integral if everything_spreads else np.where(spreads, integral, np.maximum(upper, 0.0))


def guard_band(rule: Ints, expanded_u: Floats, u_combined: Floats, max_false_accept_probability: Floats) -> Floats:
    """Return the guard band of each decision rule: 0 simple, U guarded, z(1 − p)·u for a largest false acceptance.

    References
    ----------
    ILAC-G8:09/2019 4.2; JCGM 106:2012 7.3.3 and 8.3.2.

    Examples
    --------
    >>> w = guard_band(np.array([2]), np.array([2.0]), np.array([1.0]), np.array([0.05]))
    >>> round(float(w[0]), 3)
    1.645
    """
    width = np.where(rule == SIMPLE, 0.0, expanded_u)
    asked = rule == MAX_FALSE_ACCEPT
    if anywhere(asked):
        width[asked] = -ndtri(max_false_accept_probability[asked]) * u_combined[asked]
    return width


def classify(value: Floats, lower_limit: Floats, upper_limit: Floats, guard: Floats, slack: Floats) -> Ints:
    """Return exactly one verdict class for every value; limits belong to acceptance.

    Parameters
    ----------
    value, lower_limit, upper_limit, guard : ndarray, shape (...)
        Measured value, tolerance limits (∓infinity where there is none) and guard band. [A]
    slack : ndarray
        Distance by which binary rounding may miss a limit. [A]

    References
    ----------
    ILAC-G8:09/2019 4.2.1 to 4.2.3; JCGM 106:2012 3.3.9 Note 1.

    Examples
    --------
    >>> values, same = np.array([35.0, 32.0, 31.0, 29.0]), np.ones(4)
    >>> [VERDICTS[code] for code in classify(values, 31.5 * same, 38.5 * same, 1.5 * same, 0 * same)]
    ['pass', 'conditional_pass', 'conditional_fail', 'fail']
    """
    margin = np.minimum(value - lower_limit, upper_limit - value) + slack
    verdict = np.full(value.shape, FAIL)
    verdict[margin >= -guard] = CONDITIONAL_FAIL
    verdict[margin >= 0] = CONDITIONAL_PASS
    verdict[margin >= guard] = PASS
    return verdict


def agree_with_probability(verdict: Ints, probability: Floats, max_false_accept_probability: Floats) -> Ints:
    """Return the classes under a largest false acceptance, held against the conformance probability itself.

    Parameters
    ----------
    verdict : ndarray of int, shape (...)
        Classes by a guard band of z(1 − p)·u, which takes the errors as normal and the limit as the only one.
    probability : ndarray
        Conformance probability of the convolved errors, both limits counted.
    max_false_accept_probability : ndarray
        Largest false acceptance, above 0 to 0.5; NaN under another rule, whose classes stay as they are.

    References
    ----------
    JCGM 106:2012 8.3.2: an accepted value conforms with at least 1 − p.

    Examples
    --------
    >>> doubtful = agree_with_probability(np.array([PASS]), np.array([0.94]), np.array([0.05]))
    >>> VERDICTS[int(doubtful[0])]
    'conditional_pass'
    """
    accepted_wrongly = (verdict == PASS) & (1 - probability > max_false_accept_probability + _ROUNDING)
    rejected_wrongly = (verdict == FAIL) & (probability > max_false_accept_probability + _ROUNDING)
    checked = np.where(accepted_wrongly, CONDITIONAL_PASS, verdict)
    return np.where(rejected_wrongly, CONDITIONAL_FAIL, checked)


def capability(lower_limit: Floats, upper_limit: Floats, expanded_u: Floats) -> Floats:
    """Return tolerance width over 2U; infinite for one-sided limits or no uncertainty.

    References
    ----------
    JCGM 106:2012 7.6.2.

    Examples
    --------
    >>> float(capability(np.array([31.5]), np.array([38.5]), np.array([1.75]))[0])
    2.0
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio: Floats = (upper_limit - lower_limit) / (2 * expanded_u)
    return ratio


def largest_rectangle(rectangles: Floats, u_combined: Floats) -> tuple[Floats, Floats]:
    """Return the half-width of the largest rectangular contribution, and the standard uncertainty of the rest.

    Examples
    --------
    >>> half_width, rest = largest_rectangle(np.array([[3.0], [1.0]]), np.array([5.0]))
    >>> round(float(half_width[0]), 3), float(rest[0])
    (5.196, 4.0)
    """
    largest = rectangles.max(axis=0)
    rest = np.sqrt(np.maximum(u_combined * u_combined - largest * largest, 0.0))
    return largest * SQRT_3, rest
