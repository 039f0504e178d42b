"""Series written down check by check, for tests of the trend."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from calc.arrays import Floats
from calc.trend import ATTRIBUTIONS, Resistances, SeriesBatch, TrendBatch, fit, series_of_rows

SCATTER = np.array(
    [0.4, -0.7, 0.1, 0.9, -0.3, -0.8, 0.6, 0.2, -0.5, 0.3, -0.1, 0.7, -0.6, 0.0, 0.5, -0.4, 0.8, -0.9, 0.2, -0.2]
)
PER_YEAR = 4
FIRST = dt.datetime(2022, 1, 10, 8, tzinfo=dt.UTC)


def quarterly(checks: int) -> Floats:
    """Return the times of checks a quarter apart.  [year]"""
    return np.arange(checks) / PER_YEAR


def steady(stages: int, checks: int, level: float = 100.0) -> Floats:
    """Return levels that only scatter, shape (checks, stages); every stage in its own order."""
    own = np.stack([np.resize(np.roll(SCATTER, 3 * stage), checks) for stage in range(stages)], axis=1)
    return level + own


def losing(levels: Floats, stages: Sequence[int], per_year: float, from_check: int) -> Floats:
    """Return the levels with some stages (1…) losing current from a check on."""
    lost = levels.copy()
    since = np.maximum(np.arange(len(levels)) - from_check, 0) / PER_YEAR
    for stage in stages:
        lost[:, stage - 1] -= per_year * since
    return lost


def stepped(levels: Floats, stages: Sequence[int], percent: float, at_check: int) -> Floats:
    """Return the levels with some stages (1…) lower from a check on."""
    lost = levels.copy()
    for stage in stages:
        lost[at_check:, stage - 1] -= percent
    return lost


def checks_of(levels: Floats) -> tuple[list[dt.datetime], list[list[float]]]:
    """Return quarterly instants, and the levels as lists."""
    return [FIRST + dt.timedelta(days=91.3125 * check) for check in range(len(levels))], levels.tolist()


def one_unit(levels: Floats, *, own_u: float = 1.0, shared_u: float = 1.0, lower_limit: float = 85.0) -> SeriesBatch:
    """Return a single installation's checks."""
    checks, stages = levels.shape
    return series_of_rows(
        np.zeros(checks, np.int64),
        quarterly(checks),
        levels,
        np.full(levels.shape, own_u),
        np.full(checks, shared_u),
        stages=np.array([stages]),
        lower_limit_percent=np.full((1, stages), lower_limit),
    )


def marked(series: SeriesBatch, field: str, checks: Sequence[int], value: object = True) -> SeriesBatch:
    """Return the series with some checks marked: `repaired`, `moved`, `temperature_known`, `meters`."""
    column = getattr(series, field).copy()
    column[list(checks)] = value
    return replace(series, **{field: column})


def with_resistances(
    series: SeriesBatch, *, supply_mohm: Floats | None = None, ground_mohm: Floats | None = None
) -> SeriesBatch:
    """Return the series with resistances of a unit of 100 mΩ, read to 1 mΩ."""
    unread = np.full(series.visits, np.nan)
    supply, ground = (unread if each is None else each for each in (supply_mohm, ground_mohm))
    u = np.ones((series.visits, 1))
    return replace(series, resistances=Resistances(supply[:, None], u, ground[:, None], u, np.array([100.0])))


def told(found: TrendBatch) -> list[tuple[str, int, str]]:
    """Return attribution, stage and state of each episode."""
    episodes = found.episodes
    names = [ATTRIBUTIONS[code] for code in episodes.attribution.tolist()]
    return list(zip(names, episodes.stage.tolist(), episodes.state, strict=True))


def flagged(series: SeriesBatch) -> list[tuple[str, int, str]]:
    """Return what is flagged of a series."""
    return told(fit(series))
