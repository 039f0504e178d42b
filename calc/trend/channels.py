"""Stage levels as a common channel and one contrast a stage, with the noise that each channel has."""

from dataclasses import dataclass

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend.settings import METER_EFFECT_SD_PERCENT, STAGE_LEVEL_SD_PERCENT

COMMON = 0


@dataclass(frozen=True, slots=True)
class Channels:
    """Channel 0 is the mean of the stages, channel k stage k less the mean of the others; one stage has no contrast.

    Attributes
    ----------
    values : ndarray, shape (visits, channels, installations)
        Deviation from rated, NaN where the visit says nothing. [%]
    variances : ndarray, shape (visits, channels, installations)
        Variance of the noise. [%²]
    prior_sd : ndarray, shape (channels,)
        Spread of healthy installations about 0. [%]
    """

    values: Floats
    variances: Floats
    prior_sd: Floats


def channels_of(levels_percent: Floats, u_own_percent: Floats, u_shared_percent: Floats, speaks: Bools) -> Channels:
    """Return the channels of units that all have the same number of stages.

    Parameters
    ----------
    levels_percent, u_own_percent : ndarray, shape (visits, stages, installations)
        Levels and the standard uncertainties that are their own, NaN where not read. [%]
    u_shared_percent : ndarray, shape (visits, installations)
        Standard uncertainty that the stages of a visit share. [%]
    speaks : ndarray of bool, shape (visits, installations)
        Whether the visit says something about all stages together.

    Notes
    -----
    With every stage read the common variance is Σσ²/n² + σ_T² and that of contrast k is σ_k² + Σ_{j≠k}σ_j²/(n − 1)².
    Where m of n stages are read, their mean differs from the mean of all by the spread of healthy stages: s²(1/m − 1/n)
    is added, the variance of a sample's mean from a finite population.

    Examples
    --------
    >>> level = np.array([101.0, 99.0, 100.0, 96.0])[None, :, None]
    >>> found = channels_of(level, np.full_like(level, 2.0), np.full((1, 1), 1.5), np.ones((1, 1), bool))
    >>> found.values[0, :, 0].round(3).tolist(), np.sqrt(found.variances[0, :2, 0]).round(4).tolist()
    ([-1.0, 2.667, 0.0, 1.333, -4.0], [1.8028, 2.3094])
    """
    stages = levels_percent.shape[1]
    read = ~np.isnan(levels_percent)
    deviation = np.where(read, levels_percent - 100.0, 0.0)
    variance = np.where(read, u_own_percent * u_own_percent, 0.0)
    count = np.count_nonzero(read, axis=1).astype(np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        common = _common(deviation, variance, count, stages, u_shared_percent)
        contrast = _contrasts(deviation, variance, count, stages) if stages > 1 else (deviation[:, :0], variance[:, :0])
    values = np.concatenate([common[0][:, None], contrast[0]], axis=1)
    variances = np.concatenate([common[1][:, None], contrast[1]], axis=1)
    values[:, COMMON][~speaks | (count == 0)] = np.nan
    if stages > 1:
        values[:, 1:][~read | (count < 2)[:, None]] = np.nan
    return Channels(values, variances, prior_sds(stages))


def prior_sds(stages: int) -> Floats:
    """Return the spread of healthy installations in each channel, shape (channels,).  [%]"""
    spread = STAGE_LEVEL_SD_PERCENT
    contrasts = [spread * np.sqrt(stages / (stages - 1))] * stages if stages > 1 else []
    return np.array([spread / np.sqrt(stages), *contrasts])


def shared_u_percent(u_shared_percent: Floats, meters: Ints) -> Floats:
    """Return what the stages of a visit share, another clamp than the first one's unknown effect included.

    Parameters
    ----------
    u_shared_percent : ndarray, shape (visits, installations)
        Without the clamp. [%]
    meters : ndarray of int, shape (visits, installations)
        Which clamp read the visit.

    Notes
    -----
    The clamp of the first visit is part of every later level, so its effect cancels as long as it is used.  How well an
    effect is known by now does not enter: it changes from night to night, and a trend must not.

    Examples
    --------
    >>> shared_u_percent(np.full((2, 1), 1.5), np.array([[4], [7]])).round(3).tolist()
    [[1.5], [1.797]]
    """
    other = meters != meters[:1]
    if not other.any():
        return u_shared_percent
    added = np.where(other, 2 * METER_EFFECT_SD_PERCENT**2, 0.0)
    total: Floats = np.sqrt(u_shared_percent**2 + added)
    return total


def _common(
    deviation: Floats, variance: Floats, count: Floats, stages: int, u_shared_percent: Floats
) -> tuple[Floats, Floats]:
    unread = STAGE_LEVEL_SD_PERCENT**2 * (1 / count - 1 / stages)
    return deviation.sum(axis=1) / count, variance.sum(axis=1) / count**2 + u_shared_percent**2 + unread


def _contrasts(deviation: Floats, variance: Floats, count: Floats, stages: int) -> tuple[Floats, Floats]:
    others = (count - 1)[:, None]
    others_mean = (deviation.sum(axis=1, keepdims=True) - deviation) / others
    others_variance = (variance.sum(axis=1, keepdims=True) - variance) / others**2
    unread = STAGE_LEVEL_SD_PERCENT**2 * (1 / others - 1 / (stages - 1))
    return deviation - others_mean, variance + others_variance + unread
