"""A fit's figures of the stages as plain numbers, one block a unit, to be kept and read back whole."""

import datetime as dt
from dataclasses import dataclass

import numpy as np

from calc.arrays import Floats
from calc.trend.summary import TrendBatch

DAYS_PER_YEAR = 365.25
EPOCH_DATE = dt.date(2000, 1, 1)
# Slope with its ends, p, level, declining, and the three crossings in days since 2000.
FIGURES = 9
_STORED = np.dtype("<f8")


@dataclass(frozen=True, slots=True)
class StageTrend:
    """Slope, level and forecast of one stage; None where too little is known, or nothing falls.

    Dates are None where the crossing is not within the horizon; `not_within_horizon` tells that from not looked at.
    """

    stage: int
    slope_percent_per_year: float | None
    slope_low: float | None
    slope_high: float | None
    decline_probability: float | None
    level_percent: float | None
    declining: bool
    crosses_lower_limit_on: dt.date | None
    crosses_earliest_on: dt.date | None
    crosses_latest_on: dt.date | None
    not_within_horizon: bool


def packed_stages(found: TrendBatch) -> Floats:
    """Return every unit's figures, shape (installations, stages, 9), NaN where unknown and ∞ where never.

    Notes
    -----
    The clock of the fit is years since 2000, and crossings are whole days of it.
    """
    crossings = np.floor(found.crosses_at_years * DAYS_PER_YEAR)
    rows = [found.slope, found.slope_low, found.slope_high, found.decline_p, found.level_percent, found.declining]
    packed = np.stack([*rows, *crossings]).transpose(2, 1, 0)
    return np.ascontiguousarray(packed, dtype=_STORED)


def unpacked_stages(packed: bytes) -> tuple[StageTrend, ...]:
    """Return the stages that a unit's block of figures stands for.

    Examples
    --------
    >>> (stage,) = unpacked_stages(np.array([-1.5, -2, -1, 0.01, 97.5, 1, 9497, np.inf, np.inf]).tobytes())
    >>> stage.slope_percent_per_year, stage.declining, stage.crosses_earliest_on, stage.not_within_horizon
    (-1.5, True, datetime.date(2026, 1, 1), True)
    """
    rows = np.frombuffer(packed, _STORED).reshape(-1, FIGURES)
    return tuple(_stage_trend(number, *row) for number, row in enumerate(rows.tolist(), start=1))


def _stage_trend(
    stage: int,
    slope: float,
    low: float,
    high: float,
    p: float,
    level: float,
    declining: float,
    earliest: float,
    median: float,
    latest: float,
) -> StageTrend:
    return StageTrend(
        stage=stage,
        slope_percent_per_year=_known(slope),
        slope_low=_known(low),
        slope_high=_known(high),
        decline_probability=_known(p),
        level_percent=_known(level),
        declining=bool(declining),
        crosses_lower_limit_on=_date(median),
        crosses_earliest_on=_date(earliest),
        crosses_latest_on=_date(latest),
        not_within_horizon=bool(np.isinf(median)),
    )


def _known(value: float) -> float | None:
    return value if np.isfinite(value) else None


def _date(days: float) -> dt.date | None:
    return EPOCH_DATE + dt.timedelta(days=int(days)) if np.isfinite(days) else None
