"""Theil and Sen's slope with its exact interval and Kendall's exact p, for many series at once."""

from dataclasses import dataclass

import numpy as np

from calc.arrays import Bools, Floats, Ints
from calc.trend.kendall import interval_rank, kendall_tail, tied_tail

COVERAGE = 0.90
LEAST_READINGS = 3
# Blocks of this many pair slopes stay in the processor's cache while they are sorted.
_SLOPES_PER_BLOCK = 66 * 1024


@dataclass(frozen=True, slots=True)
class Slopes:
    """Per series; NaN with fewer than three readings, and the interval also where no exact one is so narrow.

    Attributes
    ----------
    slope, low, high : ndarray
        Median of the pair slopes and its exact interval. [unit of the values / unit of time]
    intercept : ndarray
        Median of the values less slope × median of the times. [unit of the values]
    score : ndarray
        Kendall's S: rising less falling pairs. [-]
    decline_p : ndarray
        One-sided probability of so low an S without a trend; exact without ties. [-]
    """

    slope: Floats
    intercept: Floats
    low: Floats
    high: Floats
    score: Floats
    decline_p: Floats


def theil_sen(times: Floats, values: Floats, coverage: float = COVERAGE) -> Slopes:
    """Return the robust slope of every series, readings that are NaN left out.

    Parameters
    ----------
    times : ndarray, shape (readings, groups)
        Times, rising within a group. [year]
    values : ndarray, shape (readings, series, groups)
        Series that share their group's times, NaN where not read. [%]
    coverage : float
        Coverage of the interval. [-]

    Returns
    -------
    Slopes
        Arrays of shape (series, groups).

    Notes
    -----
    Series are taken together by their number of readings.  Slopes between readings of one instant do not exist; series
    with such a pair are rare and are done one by one.

    References
    ----------
    H. Theil (1950); P. K. Sen, JASA 63 (1968) 1379.

    Examples
    --------
    >>> found = theil_sen(np.arange(1.0, 8)[:, None], np.array([1.0, 2, 3, 4, 5, 200, 7])[:, None, None])
    >>> float(found.slope[0, 0]), float(found.score[0, 0])
    (1.0, 19.0)
    """
    results = np.full((6, *values.shape[1:]), np.nan)
    read = ~np.isnan(values) & ~np.isnan(times)[:, None, :]
    counts = np.count_nonzero(read, axis=0)
    alike = (read == read[:, :1]).all(axis=(0, 1))
    for count in np.unique(counts[0, alike]):
        if count >= LEAST_READINGS:
            groups = np.flatnonzero(alike & (counts[0] == count))
            _alike_groups(results, times, values, read, groups, int(count), coverage)
    odd_series, odd_group = np.nonzero(~alike & (counts >= LEAST_READINGS))
    for count in np.unique(counts[odd_series, odd_group]):
        chosen = counts[odd_series, odd_group] == count
        places = odd_series[chosen], odd_group[chosen]
        order = _readings_first(read[:, *places])[: int(count)]
        shared = np.take_along_axis(times[:, places[1]], order, axis=0)
        own = np.take_along_axis(values[:, *places], order, axis=0)[:, None]
        results[:, *places] = _equal_lengths(shared, own, coverage)[:, 0]
    return Slopes(*results)


def _alike_groups(
    results: Floats, times: Floats, values: Floats, read: Bools, groups: Ints, count: int, coverage: float
) -> None:
    block = max(_SLOPES_PER_BLOCK // (values.shape[1] * count * (count - 1) // 2), 1)
    for start in range(0, len(groups), block):
        some = groups[start : start + block]
        shared, own = times[:, some], values[:, :, some]
        if not read[:count, 0, some].all():
            order = _readings_first(read[:, 0, some])
            shared = np.take_along_axis(shared, order, axis=0)
            own = np.take_along_axis(own, order[:, None], axis=0)
        results[:, :, some] = _equal_lengths(shared[:count], own[:count], coverage)


def _readings_first(read: Bools) -> Ints:
    order: Ints = np.argsort(~read, axis=0, kind="stable")
    return order


def _equal_lengths(times: Floats, values: Floats, coverage: float) -> Floats:
    """Return the six results, shape (6, series, groups), of complete series (readings, series, groups)."""
    count, shape = len(times), values.shape[1:]
    slopes = _pair_slopes(times, values)
    falling, level = _count_first(slopes < 0), _count_first(slopes == 0)
    pairs = len(slopes)
    ordered = np.ascontiguousarray(slopes.reshape(pairs, -1).T)
    ordered.sort(axis=1)
    # Series with two readings of one instant have infinite slopes here, and are mended below.
    with np.errstate(invalid="ignore"):
        slope = 0.5 * (ordered[:, (pairs - 1) // 2] + ordered[:, pairs // 2]).reshape(shape)
        intercept = _median(values) - slope * _median(times)
    rank = interval_rank(count, coverage)
    no_bound = np.full(len(ordered), np.nan)
    low, high = (ordered[:, rank - 1], ordered[:, pairs - rank]) if rank else (no_bound, no_bound)
    score = (pairs - level - 2 * falling).astype(np.float64)
    p = kendall_tail(count)[falling]
    results = np.stack([slope, intercept, low.reshape(shape), high.reshape(shape), score, p])
    _mend_ties(results, times, values, level, coverage)
    return results


def _count_first(true: Bools) -> Ints:
    # Much faster along the first axis than count_nonzero.
    counted: Ints = np.asarray(np.sum(true, axis=0, dtype=np.int32), dtype=np.int64)
    return counted


def _pair_slopes(times: Floats, values: Floats) -> Floats:
    count = len(times)
    slopes = np.empty((count * (count - 1) // 2, *values.shape[1:]))
    start = 0
    with np.errstate(divide="ignore", invalid="ignore"):
        for lag in range(1, count):
            end = start + count - lag
            rise = np.subtract(values[lag:], values[:-lag], out=slopes[start:end])
            rise /= (times[lag:] - times[:-lag])[:, None, :]
            start = end
    return slopes


def _median(values: Floats) -> Floats:
    count = len(values)
    ordered = np.sort(np.moveaxis(values, 0, -1), axis=-1)
    middle: Floats = 0.5 * (ordered[..., (count - 1) // 2] + ordered[..., count // 2])
    return middle


def _mend_ties(results: Floats, times: Floats, values: Floats, level: Ints, coverage: float) -> None:
    series, group = np.nonzero(level)
    if len(group):
        results[5, series, group] = tied_tail(results[4, series, group], values[:, series, group])
    for each in np.flatnonzero((np.diff(times, axis=0) == 0).any(axis=0)):
        for one in range(values.shape[1]):
            results[:, one, each] = _one_by_one(times[:, each], values[:, one, each], coverage)


def _one_by_one(times: Floats, values: Floats, coverage: float) -> tuple[float, ...]:
    if times[0] == times[-1]:
        return (np.nan,) * 6
    # Rarely needed, and slow to load for every command that knows of a trend.
    from scipy import stats

    found = stats.theilslopes(values, times, coverage)
    association = stats.kendalltau(times, values, alternative="less")
    earlier, later = np.triu_indices(len(times), 1)
    score = np.sum(np.sign(values[later] - values[earlier]) * np.sign(times[later] - times[earlier]))
    return found.slope, found.intercept, found.low_slope, found.high_slope, float(score), float(association.pvalue)
