"""Supply and shared ground as channels of their own, in the share of current that they cost."""

import numpy as np

from calc.arrays import Bools, Floats
from calc.trend.episodes import RETARDER_GROUND, SUPPLY, no_episodes
from calc.trend.filtering import trend_filter
from calc.trend.series import Resistances, SeriesBatch
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
    ground = _replayed(series, starts, resistances, resistances.ground_mohm, resistances.u_ground_mohm, RETARDER_GROUND)
    return ground, _replayed(series, starts, resistances, resistances.supply_mohm, resistances.u_supply_mohm, SUPPLY)


def _replayed(
    series: SeriesBatch, starts: Bools, resistances: Resistances, mohm: Floats, u_mohm: Floats, attribution: int
) -> SingleReplay:
    if np.isnan(mohm).all():
        return _nothing(series)
    percent_per_mohm = 100 / resistances.unit_mohm
    # A resistance that rises counts as a current that falls.
    values = np.where(np.isnan(series.years), np.nan, -mohm * percent_per_mohm)[:, None]
    variances = ((u_mohm * percent_per_mohm) ** 2)[:, None]
    filtered = trend_filter(series.years, values, variances, np.array([PRIOR_SD_PERCENT]), starts)
    return replay_single(filtered, values, variances, starts, attribution)


def _nothing(series: SeriesBatch) -> SingleReplay:
    return SingleReplay(no_episodes(), np.zeros(series.years.shape, bool))
