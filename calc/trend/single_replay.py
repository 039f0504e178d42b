"""The history of a channel that stands alone, supply or ground, replayed check by check."""

from dataclasses import dataclass

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend.book import NOTHING, Book
from calc.trend.channels import COMMON
from calc.trend.episodes import Episodes
from calc.trend.filtering import Filtered
from calc.trend.losses import Losses
from calc.trend.thresholds import LEAST_RESISTANCE_WATCH, Thresholds, resistance_thresholds


@dataclass(frozen=True, slots=True)
class SingleReplay:
    """Episodes of one channel, and whether one was open after each visit, shape (visits, installations)."""

    episodes: Episodes
    open: Bools


def replay_single(
    filtered: Filtered, values: Floats, variances: Floats, starts: Bools, attribution: int
) -> SingleReplay:
    """Return what was flagged of a channel whose values fall as its resistance rises.

    Parameters
    ----------
    filtered : Filtered
        One channel.
    values, variances : ndarray, shape (visits, 1, installations)
        Readings and the variance of their noise. [%], [%²]
    starts : ndarray of bool, shape (visits, installations)
        Visits that begin anew.
    attribution : int
        What the episodes are attributed to.

    Notes
    -----
    Only a loss is flagged: a resistance that falls is a joint that was cleaned.
    """
    visits, _, installations = filtered.z.shape
    book = Book(np.array([attribution]), np.array([0]), installations)
    losses, open_after = Losses(values, variances, filtered), np.zeros((visits, installations), bool)
    for visit in range(visits):
        book.repaired(visit, starts[visit])
        losses.follow(visit, starts[visit])
        _judge(book, filtered, variances, losses, visit)
        open_after[visit] = book.state[0] != NOTHING
    return SingleReplay(book.episodes(), open_after)


def mean_noise(variances: Floats, values_read: Bools) -> Floats:
    """Return the mean variance of the readings up to now, shape (channels, rows).

    Parameters
    ----------
    variances : ndarray, shape (visits, channels, rows)
        Variance of each reading's noise. [%²]
    values_read : ndarray of bool, shape (visits, channels, rows)
        Whether there was a reading.
    """
    total = np.where(values_read, variances, 0.0).sum(axis=0)
    noise: Floats = total / np.maximum(np.count_nonzero(values_read, axis=0), 1)
    return noise


def ratios(z: Floats, limits: Thresholds) -> tuple[Floats, Floats]:
    """Return z over what watches and over what confirms, shape (2, channels, rows): falling, then rising."""
    fall, rise = np.where(np.isnan(z), -np.inf, z), np.where(np.isnan(z), -np.inf, -z)
    watch = np.stack([fall / limits.fall_watch, rise / limits.rise_watch])
    return watch, np.stack([fall / limits.fall_alarm, rise / limits.rise_alarm])


def _judge(book: Book, filtered: Filtered, variances: Floats, losses: Losses, visit: int) -> None:
    z = filtered.z[visit]
    is_new, is_open = ~np.isnan(z[COMMON]), book.state[0] != NOTHING
    columns: Ints = np.flatnonzero(is_new & (is_open | (z[COMMON] >= LEAST_RESISTANCE_WATCH)))
    if not len(columns):
        return
    so_far = slice(0, visit + 1)
    noise = mean_noise(variances[so_far][:, :, columns], ~np.isnan(filtered.cleaned[so_far][:, :, columns]))
    watch, alarm = ratios(z[:, columns], resistance_thresholds(noise))
    book.raise_and_confirm(visit, columns, watch, alarm)
    book.let_go(visit, columns, watch, losses.in_sd(visit, columns))
