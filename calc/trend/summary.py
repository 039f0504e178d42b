"""What is known of each installation after a fit, as columns to be stored."""

from dataclasses import dataclass

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend.episodes import ALL_STAGES, NEVER, OPEN, RETARDER_GROUND, STAGE, Episodes, no_episodes
from calc.trend.losses import LAST_READINGS, middle_of
from calc.trend.replay import History
from calc.trend.single_replay import mean_noise
from calc.trend.theil_sen import Slopes
from calc.trend.thresholds import stage_thresholds

NOTHING_OPEN = -1


@dataclass(frozen=True, slots=True)
class TrendBatch:
    """Arrays over stages and installations; NaN where a series is too short to say.

    Attributes
    ----------
    slope, slope_low, slope_high : ndarray, shape (stages, installations)
        Theil–Sen slope with its exact 90 % interval, over the last 20 readings of the last baseline. [%/year]
    decline_p : ndarray, shape (stages, installations)
        Exact one-sided Kendall p of a decline. [-]
    level_percent : ndarray, shape (stages, installations)
        Median of the last three visits. [%]
    noise_factor : ndarray, shape (installations,)
        Variance of the readings over what their uncertainties promise. [-]
    declining : ndarray of bool, shape (stages, installations)
        Whether a loss of the stage is watched or confirmed.
    attribution : ndarray of int, shape (installations,)
        Index in `ATTRIBUTIONS` of the gravest that is open, −1 for none.
    crosses_at_years : ndarray, shape (3, stages, installations)
        Times at which the chance of being below the lower limit reaches 5, 50 and 95 %, on the clock of the series.
        [year]
    next_check_at_years : ndarray, shape (installations,)
        Time of a 5 % chance of being below. [year]
    mirrored : ndarray of bool, shape (installations,)
        Whether z with its sign reversed ever passed the threshold of a watch: what chance alone does.
    judged_years : ndarray, shape (installations,)
        Time from the first decision to the last check. [year]
    episodes : Episodes
        Everything that was flagged.
    """

    slope: Floats
    slope_low: Floats
    slope_high: Floats
    decline_p: Floats
    level_percent: Floats
    noise_factor: Floats
    declining: Bools
    attribution: Ints
    crosses_at_years: Floats
    next_check_at_years: Floats
    mirrored: Bools
    judged_years: Floats
    episodes: Episodes

    def put_slopes(self, columns: Ints, slopes: Slopes) -> None:
        """Write Theil and Sen's slopes of some installations."""
        stages = slice(0, len(slopes.slope))
        self.slope[stages, columns], self.decline_p[stages, columns] = slopes.slope, slopes.decline_p
        self.slope_low[stages, columns], self.slope_high[stages, columns] = slopes.low, slopes.high

    def put_levels(self, columns: Ints, level_percent: Floats, noise_factor: Floats) -> None:
        """Write levels and noise of some installations."""
        self.level_percent[: len(level_percent), columns] = level_percent
        self.noise_factor[columns] = noise_factor

    def put_flags(self, columns: Ints, flags: "Flags") -> None:
        """Write what is open of some installations."""
        self.declining[: len(flags.declining), columns] = flags.declining
        self.attribution[columns] = flags.attribution

    def put_mirror(self, columns: Ints, mirrored: Bools, judged_years: Floats) -> None:
        """Write the self-check of some installations."""
        self.mirrored[columns], self.judged_years[columns] = mirrored, judged_years

    def put_outlook(self, columns: Ints, crosses_at_years: Floats, next_check_at_years: Floats) -> None:
        """Write the forecast of some installations."""
        self.crosses_at_years[:, : crosses_at_years.shape[1], columns] = crosses_at_years
        self.next_check_at_years[columns] = next_check_at_years


@dataclass(frozen=True, slots=True)
class Flags:
    """What is open: shapes (stages, installations) and (installations,)."""

    declining: Bools
    attribution: Ints


def empty_batch(stages: int, installations: int) -> TrendBatch:
    """Return a batch that says nothing yet."""
    shape = (stages, installations)
    unknown = np.full((5, *shape), np.nan)
    return TrendBatch(
        slope=unknown[0],
        slope_low=unknown[1],
        slope_high=unknown[2],
        decline_p=unknown[3],
        level_percent=unknown[4],
        noise_factor=np.ones(installations),
        declining=np.zeros(shape, bool),
        attribution=np.full(installations, NOTHING_OPEN),
        crosses_at_years=np.full((3, *shape), np.nan),
        next_check_at_years=np.full(installations, np.nan),
        mirrored=np.zeros(installations, bool),
        judged_years=np.zeros(installations),
        episodes=no_episodes(),
    )


def flags_of(episodes: Episodes, stages: int, installations: int) -> Flags:
    """Return what the open episodes say; of several the gravest: a fall, confirmed, and raised first."""
    declining = np.zeros((stages, installations), bool)
    open_now = episodes.where(episodes.ending == OPEN)
    falls = open_now.where(~open_now.rising)
    single = falls.where(falls.attribution == STAGE)
    declining[single.stage - 1, single.installation] = True
    every = np.isin(falls.attribution, (ALL_STAGES, RETARDER_GROUND))
    declining[:, falls.installation[every]] = True
    attribution = np.full(installations, NOTHING_OPEN)
    least_first = np.lexsort((-open_now.raised, open_now.confirmed != NEVER, ~open_now.rising))
    attribution[open_now.installation[least_first]] = open_now.attribution[least_first]
    return Flags(declining, attribution)


def levels_of(levels_percent: Floats, current: Bools) -> Floats:
    """Return each stage's level now: the median of its last three visits, shape (stages, installations).  [%]

    Parameters
    ----------
    levels_percent : ndarray, shape (visits, stages, installations)
        What was read. [%]
    current : ndarray of bool, shape (visits, installations)
        Visits of the last baseline.

    Notes
    -----
    The filter is slow to follow a large step, because it takes it for mistyped readings at first.

    Examples
    --------
    >>> levels = np.array([100.0, 99.0, 91.0, 40.0, 90.0])[:, None, None]
    >>> float(levels_of(levels, np.ones((5, 1), bool))[0, 0])
    90.0
    """
    visits = len(levels_percent)
    if not visits:
        return np.full(levels_percent.shape[1:], np.nan)
    last = visits - 1 - current[::-1].argmax(axis=0)
    lately = np.maximum(last - np.arange(min(LAST_READINGS, visits))[:, None], 0)
    readings = np.take_along_axis(levels_percent, lately[:, None], axis=0)
    belongs = np.take_along_axis(current, lately, axis=0) & (last >= np.arange(len(lately))[:, None])
    return middle_of(np.where(belongs[:, None], readings, np.nan))


def mirror_of(history: History) -> tuple[Bools, Floats]:
    """Return where z passed the threshold of a watch with its sign reversed, and how long each unit was judged."""
    z, years = history.filtered.z, history.years
    lowest = np.fmin.reduce(z, axis=0, initial=0.0)
    noise = mean_noise(history.channels.variances, ~np.isnan(history.filtered.cleaned))
    mirrored: Bools = np.any(-lowest >= stage_thresholds(history.stages, noise).fall_watch, axis=0)
    decided = ~np.isnan(z).all(axis=1)
    last = np.fmax.reduce(years, axis=0)
    judged = np.where(
        decided.any(axis=0), last - np.take_along_axis(years, decided.argmax(axis=0)[None], axis=0)[0], 0.0
    )
    return mirrored, np.nan_to_num(judged)
