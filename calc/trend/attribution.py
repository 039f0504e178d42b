"""Which of the stages, or all of them, a change of slope belongs to."""

from dataclasses import dataclass
from math import log

import numpy as np

from calc.arrays import Floats
from calc.trend.settings import DETECTION

FALL, RISE = 0, 1
DIRECTIONS = (-1.0, 1.0)
# Assumed before any reading: how fast faults go, how likely all stages fail together, and how much rarer rises are.
FAULT_SLOPE_PERCENT_PER_YEAR = 3.0
FAULT_SLOPE_SD = 3.0
ALL_STAGES_PROBABILITY = 0.6
RISE_PROBABILITY = 0.1


@dataclass(frozen=True, slots=True)
class Evidence:
    """Hypothesis 0 is all stages, hypothesis k stage k; the first axis is fall, rise.

    Attributes
    ----------
    log_posterior : ndarray, shape (2, hypotheses, rows)
        Natural logarithm of the posterior, up to a constant per row. [-]
    slope : ndarray, shape (2, hypotheses, rows)
        Slope of what the hypothesis says is failing. [%/year]
    """

    log_posterior: Floats
    slope: Floats


def evidence_of(slopes: Floats, slope_variances: Floats, elapsed_years: Floats) -> Evidence:
    """Return the posterior over all stages and each single stage, falling and rising.

    Parameters
    ----------
    slopes, slope_variances : ndarray, shape (channels, rows)
        Filtered slopes of the common channel and the contrasts. [%/year], [%²/year²]
    elapsed_years : ndarray, shape (rows,)
        Time since the baseline began. [year]

    Notes
    -----
    If stage k of n goes by β, the common channel goes by β/n, contrast k by β and the others by −β/(n − 1); the
    contrasts sum to zero and are equally correlated, so that of the contrasts only the k-th enters.  The filter shrinks
    a slope of prior variance Q to posterior variance P: its estimate B then has the likelihood of a reading B/g with
    variance P/g, g = 1 − P/Q.  β is integrated over a normal prior.

    Examples
    --------
    >>> found = evidence_of(np.array([[-0.7], [-2.0], [1.0], [1.0]]), np.full((4, 1), 0.4), np.array([4.0]))
    >>> int(found.log_posterior[FALL, :, 0].argmax())
    1
    """
    prior_variance = DETECTION.first_slope_sd**2 + DETECTION.slope_walk**2 * elapsed_years
    information = np.maximum(1 / slope_variances - 1 / prior_variance, 0.0)
    weighted = slopes / slope_variances
    stages = max(len(slopes) - 1, 1)
    matched, precision = weighted.copy(), information.copy()
    matched[1:] += weighted[:1] / stages
    precision[1:] += information[:1] / stages**2
    mean = np.array(DIRECTIONS)[:, None, None] * FAULT_SLOPE_PERCENT_PER_YEAR
    return _integrated(matched, precision, mean, _log_prior(stages, len(slopes)))


def unexplained(slopes: Floats, slope: Floats, hypothesis: int) -> Floats:
    """Return what is left of the slopes once a hypothesis has its share.

    Parameters
    ----------
    slopes : ndarray, shape (channels, rows)
        Filtered slopes. [%/year]
    slope : ndarray, shape (rows,)
        Slope of what is failing. [%/year]
    hypothesis : int
        0 for all stages, k for stage k.

    Examples
    --------
    >>> unexplained(np.array([[-1.0], [-3.0], [3.0]]), np.array([-2.0]), 1).ravel().tolist()
    [0.0, -1.0, 1.0]
    """
    stages = len(slopes) - 1
    share = np.zeros(len(slopes))
    share[0] = 1.0
    if hypothesis:
        share[:] = -1 / (stages - 1)
        share[0], share[hypothesis] = 1 / stages, 1.0
    left: Floats = slopes - share[:, None] * slope
    return left


def _log_prior(stages: int, hypotheses: int) -> Floats:
    falls = np.full(hypotheses, log((1 - ALL_STAGES_PROBABILITY) / stages))
    falls[0] = log(ALL_STAGES_PROBABILITY)
    prior: Floats = np.stack([falls, falls + log(RISE_PROBABILITY)])[:, :, None]
    return prior


def _integrated(matched: Floats, precision: Floats, mean: Floats, log_prior: Floats) -> Evidence:
    variance = FAULT_SLOPE_SD**2
    total = precision + 1 / variance
    slope = (matched + mean / variance) / total
    fit = 0.5 * (slope * slope * total - mean * mean / variance) - 0.5 * np.log(variance * total)
    return Evidence(fit + log_prior, slope)
