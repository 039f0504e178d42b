"""What may be expected of the trend: how many healthy units it flags by chance, and what it cannot see."""

from dataclasses import dataclass, replace

import numpy as np

from calc.arrays import Floats
from calc.trend.channels import Channels, channels_of
from calc.trend.filtering import trend_filter
from calc.trend.settings import DETECTION
from calc.trend.thresholds import ALARM, RATES_PER_YEAR, WATCH, stage_thresholds

HEALTHY_YEARS, WATCHED_YEARS = 2.0, 3.0
_STEP_PERCENT_PER_YEAR = 0.05
_LARGEST_PERCENT_PER_YEAR = 40.0
_UNSHAKEN = replace(DETECTION, least_noise_factor=1.0, largest_noise_factor=1.0)


@dataclass(frozen=True, slots=True)
class SlowestLoss:
    """Slowest losses that half of the units would show within three years; ∞ where none would.  [%/year]"""

    one_stage: float
    all_stages: float


@dataclass(frozen=True, slots=True)
class ChanceFlags:
    """Healthy units that are watched by chance, by what they seem to do.  [1/year]"""

    falling: float
    rising: float


def flagged_by_chance_per_year(installations: int) -> ChanceFlags:
    """Return how many healthy units a year are watched by chance; a rise has to be as clear as a confirmed fall.

    Examples
    --------
    >>> found = flagged_by_chance_per_year(1000)
    >>> round(found.falling, 1), round(found.rising, 1)
    (10.0, 1.8)
    """
    return ChanceFlags(installations * RATES_PER_YEAR[WATCH], installations * RATES_PER_YEAR[ALARM])


def slowest_visible_loss(
    stages: int, *, own_u_percent: float, shared_u_percent: float, checks_per_year: float
) -> SlowestLoss:
    """Return the slowest losses that these meters and this plan can show.

    Parameters
    ----------
    stages : int
        Stages of the unit, 1 to 8. [-]
    own_u_percent, shared_u_percent : float
        Standard uncertainty of a level from what is its own, and from what a visit shares. [%]
    checks_per_year : float
        How often the unit is checked. [1/year]

    Notes
    -----
    The filter is run on losses without noise that begin after two healthy years: at its median z passes the threshold
    of a watch where that run does.

    Examples
    --------
    >>> found = slowest_visible_loss(4, own_u_percent=2.0, shared_u_percent=1.5, checks_per_year=4)
    >>> 1.5 < found.one_stage < 2.5, found.all_stages < found.one_stage
    (True, True)
    """
    checks = int((HEALTHY_YEARS + WATCHED_YEARS) * checks_per_year) + 1
    years = np.arange(checks) / checks_per_year
    speeds = np.arange(_STEP_PERCENT_PER_YEAR, _LARGEST_PERCENT_PER_YEAR, _STEP_PERCENT_PER_YEAR)
    lost = np.maximum(years - HEALTHY_YEARS, 0.0)[:, None] * speeds
    every = np.repeat((100.0 - lost)[:, None], stages, axis=1)
    first = np.full_like(every, 100.0)
    first[:, 0] -= lost
    noise = own_u_percent, shared_u_percent
    one_stage = _slowest(years, first, noise, speeds, channel=1 if stages > 1 else 0)
    return SlowestLoss(one_stage, _slowest(years, every, noise, speeds, channel=0))


def _slowest(years: Floats, levels: Floats, noise: tuple[float, float], speeds: Floats, *, channel: int) -> float:
    own_u, shared_u = noise
    each = np.ones((len(years), len(speeds)))
    channels: Channels = channels_of(levels, np.full_like(levels, own_u), shared_u * each, each > 0)
    times = years[:, None] * each
    z = trend_filter(times, channels.values, channels.variances, channels.prior_sd, settings=_UNSHAKEN).z
    threshold = stage_thresholds(levels.shape[1], channels.variances[0]).fall_watch[channel]
    seen = np.any(np.nan_to_num(z[:, channel], nan=-np.inf) >= threshold, axis=0)
    return float(speeds[np.argmax(seen)]) if seen.any() else float("inf")
