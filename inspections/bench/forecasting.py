"""How far the forecast of the crossing can be trusted, at the moment a loss is confirmed and some checks later."""

from dataclasses import dataclass, replace

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend.fitting import fit
from calc.trend.outlook import outlook_of
from calc.trend.series import SeriesBatch
from inspections.bench.detection import first_confirmed, fleets, right_kind
from inspections.bench.worlds import LOWER_LIMIT_PERCENT, Fault, Simulated, World


@dataclass(frozen=True, slots=True)
class Coverage:
    """Shares in percent, medians in years after the check at which the forecast was made.

    `already_below` counts stages that are truly below, of which `said_today` says how many were told so.
    """

    covered_percent: float
    earliest_safe_percent: float
    open_end_percent: float
    true_years: float
    median_years: float
    earliest_years: float
    already_below: int
    said_today_percent: float
    forecasts: int


def coverage(world: World, seed: int, stages: int, installations: int, fault: Fault, checks_later: int = 0) -> Coverage:
    """Return how forecasts of the failing stage turn out."""
    truth, found = [], []
    for simulated in fleets(world, seed, stages, installations, fault, history_years=8.0):
        confirmed = right_kind(first_confirmed(simulated, fit(simulated.series, forecast=False).episodes), fault)
        visits = np.count_nonzero(~np.isnan(simulated.series.years), axis=0)[confirmed.installation]
        in_time = confirmed.where(confirmed.confirmed + checks_later < visits)
        left, points = _forecasts(simulated, in_time.installation, in_time.confirmed + checks_later)
        truth.append(left)
        found.append(points)
    return _summary(np.concatenate(truth), np.concatenate(found, axis=1))


def _forecasts(simulated: Simulated, installation: Ints, visit: Ints) -> tuple[Floats, Floats]:
    """Return the true time left and the three points, both counted from the check in question.  [year]"""
    series = known_by_then(simulated.series.of(installation), visit)
    declining: Bools = np.zeros(series.levels_percent.shape[1:], bool)
    declining[0] = True
    crosses, _ = outlook_of(series, ~np.isnan(series.years), declining)
    now = simulated.series.years[visit, installation]
    return simulated.crossing_years(LOWER_LIMIT_PERCENT)[installation] - now, crosses[:, 0] - now


def known_by_then(series: SeriesBatch, visit: Ints) -> SeriesBatch:
    """Return the series up to a visit of each installation."""
    later = np.arange(series.visits)[:, None] > visit
    return replace(
        series,
        years=np.where(later, np.nan, series.years),
        levels_percent=np.where(later[:, None], np.nan, series.levels_percent),
    )


def _summary(left: Floats, points: Floats) -> Coverage:
    earliest, median, latest = points
    below = left <= 0
    covered = np.where(below, earliest <= 0, (earliest <= left) & (left <= latest))
    ahead = ~below
    return Coverage(
        covered_percent=float(100 * covered.mean()),
        earliest_safe_percent=float(100 * np.mean(earliest <= np.maximum(left, 0.0))),
        open_end_percent=float(100 * np.mean(np.isinf(latest))),
        true_years=float(np.median(left[ahead])),
        median_years=float(np.median(median[ahead])),
        earliest_years=float(np.median(earliest[ahead])),
        already_below=int(below.sum()),
        said_today_percent=float(100 * np.mean(earliest[below] <= 0)) if below.any() else 100.0,
        forecasts=len(left),
    )
