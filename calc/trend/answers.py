"""One installation's trend, as a page or an API answers it."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calc.arrays import Floats
from calc.trend.episodes import ATTRIBUTIONS, OPEN
from calc.trend.fitting import fit
from calc.trend.method import METHOD, METHOD_VERSION
from calc.trend.packed import DAYS_PER_YEAR, StageTrend, packed_stages, unpacked_stages
from calc.trend.series import series_of_rows
from calc.trend.settings import SHARED_U_PERCENT
from calc.trend.summary import NOTHING_OPEN, TrendBatch
from calc.uncertainty import NORMAL_COVERAGE_FACTOR

EPOCH = dt.datetime(2000, 1, 1, tzinfo=dt.UTC)
_SECONDS_PER_YEAR = DAYS_PER_YEAR * 86_400


@dataclass(frozen=True, slots=True)
class Trend:
    """What is known of one installation."""

    stages: tuple[StageTrend, ...]
    attribution: str | None
    confirmed: bool
    next_check_on: dt.date | None
    method: str = METHOD
    method_version: str = METHOD_VERSION


def preview(
    performed_at: Sequence[dt.datetime],
    levels_percent: Sequence[Sequence[float | None]],
    expanded_uncertainties_percent: Sequence[Sequence[float | None]],
    *,
    lower_limits_percent: Sequence[float | None],
    shared_expanded_uncertainty_percent: float | None = None,
) -> Trend:
    """Return the trend of one series that is not stored.

    Parameters
    ----------
    performed_at : sequence of datetime
        Instants of the checks, in any order.
    levels_percent, expanded_uncertainties_percent : sequence of sequence of float or None
        Per check and stage: level and expanded uncertainty (k = 2) from what is the stage's own. [%]
    lower_limits_percent : sequence of float or None
        Per stage. [%]
    shared_expanded_uncertainty_percent : float, optional
        Expanded uncertainty (k = 2) of what the stages of a visit share; absent: 3 %. [%]

    Raises
    ------
    OutOfRange
        Names the quantity, its value and the permitted range.

    Examples
    --------
    >>> checks = [dt.datetime(2024 + month // 12, month % 12 + 1, 1, tzinfo=dt.UTC) for month in range(0, 24, 3)]
    >>> levels = [[100.0 - 2 * max(k - 2, 0), 100.0, 100.5, 99.5] for k in range(8)]
    >>> found = preview(checks, levels, [[2.0] * 4] * 8, lower_limits_percent=[90.0] * 4)
    >>> found.attribution, [stage.declining for stage in found.stages]
    ('stage', [True, False, False, False])
    """
    stages = len(lower_limits_percent)
    years = years_since_epoch(performed_at)
    order = np.argsort(years, kind="stable")
    shared_u = (
        SHARED_U_PERCENT
        if shared_expanded_uncertainty_percent is None
        else shared_expanded_uncertainty_percent / NORMAL_COVERAGE_FACTOR
    )
    series = series_of_rows(
        np.zeros(len(years), np.int64),
        years[order],
        _table(levels_percent, stages)[order],
        _table(expanded_uncertainties_percent, stages)[order] / NORMAL_COVERAGE_FACTOR,
        np.full(len(years), shared_u),
        stages=np.array([stages]),
        lower_limit_percent=_table([lower_limits_percent], stages),
    )
    return trend_of(fit(series), 0, stages)


def trend_of(found: TrendBatch, installation: int, stages: int) -> Trend:
    """Return one installation's column of a fit whose clock is `years_since_epoch`."""
    attribution = int(found.attribution[installation])
    own = found.episodes.where(found.episodes.installation == installation)
    return Trend(
        stages=unpacked_stages(packed_stages(found)[installation, :stages].tobytes()),
        attribution=None if attribution == NOTHING_OPEN else ATTRIBUTIONS[attribution],
        confirmed=bool(np.any((own.ending == OPEN) & (own.confirmed >= 0))),
        next_check_on=date_of(found.next_check_at_years[installation]),
    )


def years_since_epoch(instants: Sequence[dt.datetime]) -> Floats:
    """Return instants as years since 2000, the clock of a series.

    Examples
    --------
    >>> years_since_epoch([dt.datetime(2004, 1, 1, tzinfo=dt.UTC)]).tolist()
    [4.0]
    """
    return np.array([(each - EPOCH).total_seconds() / _SECONDS_PER_YEAR for each in instants], dtype=np.float64)


def date_of(years: float) -> dt.date | None:
    """Return the date of a time on the clock of a series, in UTC; none for NaN and for ever.

    Examples
    --------
    >>> date_of(4.0), date_of(float("inf"))
    (datetime.date(2004, 1, 1), None)
    """
    if not np.isfinite(years):
        return None
    return (EPOCH + dt.timedelta(days=float(years) * DAYS_PER_YEAR)).date()


def _table(rows: Sequence[Sequence[float | None]], stages: int) -> Floats:
    return np.array(rows, dtype=np.float64).reshape(-1, stages)
