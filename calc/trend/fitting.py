"""The door: many series in, what is known of each out."""

from dataclasses import replace

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend.channels import Channels, channels_of, shared_u_percent
from calc.trend.corrections import Corrections, corrected, explained_by_meters
from calc.trend.episodes import Episodes, all_of, no_episodes
from calc.trend.fan import fan_of
from calc.trend.filtering import trend_filter
from calc.trend.forecast import LONGEST_WINDOW
from calc.trend.outlook import outlook_of
from calc.trend.replay import History, replay
from calc.trend.resistances import resistance_replays
from calc.trend.series import SeriesBatch
from calc.trend.summary import TrendBatch, empty_batch, flags_of, levels_of, mirror_of
from calc.trend.theil_sen import theil_sen

# Installations whose arrays together stay in the processor's cache.
_BLOCK = 2500


def fit(series: SeriesBatch, corrections: Corrections | None = None, *, forecast: bool = True) -> TrendBatch:
    """Return trend, flags and forecast of every installation: a pure function of the whole series.

    Parameters
    ----------
    series : SeriesBatch
        The checks of many installations.
    corrections : Corrections, optional
        Effects of the meters in `series.meters`; only flagged ones are taken out of the levels.
    forecast : bool
        Whether to carry forward what is losing current.

    Raises
    ------
    OutOfRange
        Names the quantity, its value and the permitted range.

    Examples
    --------
    >>> from calc.trend.series import series_of_rows
    >>> years = np.arange(12) / 4
    >>> levels = np.array([[100.0 - max(0.0, 5 * (year - 1)), 100.5, 99.0, 100.0] for year in years])
    >>> series = series_of_rows(
    ...     np.zeros(12, np.int64), years, levels, np.full((12, 4), 1.0), np.full(12, 1.0),
    ...     stages=np.array([4]), lower_limit_percent=np.full((1, 4), 90.0))
    >>> found = fit(series)
    >>> found.declining[:, 0].tolist(), found.episodes.state
    ([True, False, False, False], ['confirmed'])
    """
    series.require_plausible()
    if corrections is None:
        return _fit(series, forecast=forecast)
    found = _fit(corrected(series, corrections), forecast=forecast)
    touched = np.flatnonzero(corrections.touches(series))
    if not len(touched):
        return found
    as_read = _fit(series.of(touched), forecast=False).episodes.of_columns(touched)
    explained = explained_by_meters(as_read, found.episodes, series)
    return replace(found, episodes=all_of([found.episodes, explained]))


def forecast_fan(series: SeriesBatch, ahead_years: Floats, corrections: Corrections | None = None) -> Floats:
    """Return where the levels of what is losing current may lie at times after the last reading, as `fan_of` does.

    Parameters
    ----------
    series, corrections
        As in `fit`.
    ahead_years : ndarray, shape (points,)
        Times after each stage's last reading. [year]
    """
    found = fit(series, corrections, forecast=False)
    taken_out = series if corrections is None else corrected(series, corrections)
    return fan_of(taken_out, _current(series.years, _starts(series)), found.declining, ahead_years)


def _fit(series: SeriesBatch, *, forecast: bool) -> TrendBatch:
    found = empty_batch(series.levels_percent.shape[1], series.installations)
    episodes: list[Episodes] = []
    for stages in np.unique(series.stages):
        alike = np.flatnonzero(series.stages == stages)
        for start in range(0, len(alike), _BLOCK):
            columns = alike[start : start + _BLOCK]
            episodes.append(_fit_block(found, columns, series.of(_as_slice(columns))))
    if forecast:
        _carry_forward(found, series)
    return replace(found, episodes=all_of(episodes))


def _carry_forward(found: TrendBatch, series: SeriesBatch) -> None:
    """Forecast what is losing current: few of many, and all of them together."""
    columns = np.flatnonzero(found.declining.any(axis=0))
    for start in range(0, len(columns), _BLOCK):
        some = columns[start : start + _BLOCK]
        losing = series.of(some)
        declining = found.declining[: losing.levels_percent.shape[1], some]
        found.put_outlook(some, *outlook_of(losing, _current(losing.years, _starts(losing)), declining))


def _as_slice(columns: Ints) -> Ints | slice:
    # A slice is read in place, a list of columns is copied.
    first, last = int(columns[0]), int(columns[-1])
    return slice(first, last + 1) if last - first + 1 == len(columns) else columns


def _fit_block(found: TrendBatch, columns: Ints, series: SeriesBatch) -> Episodes:
    if not series.visits:
        return no_episodes()
    starts = _starts(series)
    channels = _channels(series)
    filtered = trend_filter(series.years, channels.values, channels.variances, channels.prior_sd, starts)
    ground, supply = resistance_replays(series)
    history = History(series.years, channels, filtered, starts, series.meters, ground.open)
    episodes = all_of([replay(history), ground.episodes, supply.episodes])
    current = _current(series.years, starts)
    window = current & (np.cumsum(current[::-1], axis=0)[::-1] <= LONGEST_WINDOW)
    levels = np.where(window[:, None], series.levels_percent, np.nan)
    flags = flags_of(episodes, *levels.shape[1:])
    found.put_slopes(columns, theil_sen(series.years, levels))
    found.put_levels(columns, levels_of(series.levels_percent, current), filtered.noise_factor[-1])
    found.put_flags(columns, flags)
    found.put_mirror(columns, *mirror_of(history))
    return episodes.of_columns(columns)


def _channels(series: SeriesBatch) -> Channels:
    shared = shared_u_percent(series.u_shared_percent, series.meters)
    return channels_of(series.levels_percent, series.u_own_percent, shared, series.temperature_known)


def _starts(series: SeriesBatch) -> Bools:
    """Return which visits begin a baseline."""
    starts = series.repaired.copy()
    starts[:1] = True
    return starts


def _current(years: Floats, starts: Bools) -> Bools:
    """Return which visits belong to the last baseline."""
    baseline = np.cumsum(starts, axis=0)
    current: Bools = (baseline == baseline[-1:]) & ~np.isnan(years)
    return current
