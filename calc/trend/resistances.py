"""Supply and shared ground as channels of their own, in the share of current that they cost."""

from dataclasses import replace

import numpy as np

from calc.trend.episodes import RETARDER_GROUND, SUPPLY, no_episodes
from calc.trend.filtering import trend_filter
from calc.trend.series import SeriesBatch
from calc.trend.single_replay import SingleReplay, replay_single

# How far the resistance of a healthy joint is taken to lie from its own first readings, in percent of the unit's.
PRIOR_SD_PERCENT = 2.0


def resistance_replays(series: SeriesBatch) -> tuple[SingleReplay, SingleReplay]:
    """Return what was flagged of the shared ground, and of the supply."""
    resistances = series.resistances
    if resistances is None:
        return _nothing(series), _nothing(series)
    starts = series.repaired | series.moved
    starts[:1] = True
    # One behind the other, as if they were units: to filter both takes little longer than to filter one.
    mohm = np.concatenate([resistances.ground_mohm, resistances.supply_mohm], axis=1)
    u_mohm = np.concatenate([resistances.u_ground_mohm, resistances.u_supply_mohm], axis=1)
    years, starts = np.tile(series.years, 2), np.tile(starts, 2)
    percent_per_mohm = 100 / np.tile(resistances.unit_mohm, 2)
    # A resistance that rises counts as a current that falls.
    values = np.where(np.isnan(years), np.nan, -mohm * percent_per_mohm)[:, None]
    variances = ((u_mohm * percent_per_mohm) ** 2)[:, None]
    filtered = trend_filter(years, values, variances, np.array([PRIOR_SD_PERCENT]), starts)
    both = replay_single(filtered, values, variances, starts, SUPPLY)
    return _part(both, 0, series.installations, RETARDER_GROUND), _part(both, series.installations, None, SUPPLY)


def _part(both: SingleReplay, first: int, end: int | None, attribution: int) -> SingleReplay:
    places = np.arange(both.open.shape[1])[first:end]
    own = both.episodes.where(np.isin(both.episodes.installation, places))
    attributed = np.full(len(own), attribution)
    episodes = replace(own, installation=own.installation - first, attribution=attributed)
    return SingleReplay(episodes, both.open[:, first:end])


def _nothing(series: SeriesBatch) -> SingleReplay:
    return SingleReplay(no_episodes(), np.zeros(series.years.shape, bool))
