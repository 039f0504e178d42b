"""What a vehicle's counters say: readings made continuous over replacements, usage on a date, usage per day."""

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import combinations, pairwise
from math import ceil
from statistics import median
from typing import NamedTuple

RATE_WINDOW_DAYS = 365
SHORTEST_RATE_SPAN_DAYS = 14
LATEST_FIRST_READING_DAYS = 31
MOST_READINGS_FOR_RATE = 60


class CounterReading(NamedTuple):
    """A counter's value on a local date, in the order of dates.  [km] or [h]"""

    read_on: date
    value: float


@dataclass(frozen=True, slots=True)
class CounterHistory:
    """One physical counter: what it showed, and what to add so that it continues the counters before it."""

    readings: Sequence[CounterReading]
    offset: float = 0.0


def continuous(counters: Iterable[CounterHistory]) -> tuple[CounterReading, ...]:
    """Return the readings of a vehicle's successive counters as one series, without the anomalies of each.

    Examples
    --------
    >>> first = CounterHistory([CounterReading(date(2025, 1, 1), 90_000.0)])
    >>> second = CounterHistory([CounterReading(date(2025, 2, 1), 12.0)], offset=94_000.0)
    >>> [reading.value for reading in continuous([first, second])]
    [90000.0, 94012.0]
    """
    return tuple(sorted(reading for counter in counters for reading in _continued(counter)))


def _continued(counter: CounterHistory) -> Sequence[CounterReading]:
    kept = readings_without_drops(counter.readings)
    if not counter.offset:
        return kept
    return [CounterReading(read_on, value + counter.offset) for read_on, value in kept]


def readings_without_drops(readings: Iterable[CounterReading]) -> tuple[CounterReading, ...]:
    """Return the readings in date order, less the fewest that have to go so that the counter never runs backwards.

    One mistyped high value is dropped once two later readings contradict it; where two readings contradict each
    other and nothing else decides, the earlier one stands.

    Examples
    --------
    >>> typed = [100_000.0, 99_000.0]
    >>> kept = readings_without_drops(CounterReading(date(2025, 1, day), value) for day, value in enumerate(typed, 1))
    >>> [reading.value for reading in kept]
    [100000.0]
    """
    ordered = sorted(readings)
    if all(earlier.value <= later.value for earlier, later in pairwise(ordered)):
        return tuple(ordered)
    # The longest run that never falls, found from the end: `heads[n]` is the largest value a run of n + 1 can start
    # with, held negated so that it ascends.
    heads: list[float] = []
    head_index: list[int] = []
    following: list[int | None] = [None] * len(ordered)
    for index in range(len(ordered) - 1, -1, -1):
        length = bisect_right(heads, -ordered[index].value)
        following[index] = head_index[length - 1] if length else None
        heads[length : length + 1] = [-ordered[index].value]
        head_index[length : length + 1] = [index]
    kept: list[CounterReading] = []
    at = head_index[-1] if head_index else None
    while at is not None:
        kept.append(ordered[at])
        at = following[at]
    return tuple(kept)


def counter_anomalies(readings: Iterable[CounterReading]) -> tuple[CounterReading, ...]:
    """Return the readings that contradict the rest of one counter, in date order."""
    ordered = sorted(readings)
    kept = {id(reading) for reading in readings_without_drops(ordered)}
    return tuple(reading for reading in ordered if id(reading) not in kept)


def usage_at(known: Sequence[CounterReading], on: date) -> float | None:
    """Return the counter value on a date, from readings in date order that never fall; None where it cannot be told.

    Between two readings it is interpolated; after the last, the last stands; before the first, the first stands if it
    was taken within 31 days.

    Examples
    --------
    >>> usage_at([CounterReading(date(2025, 1, 1), 0.0), CounterReading(date(2025, 1, 11), 500.0)], date(2025, 1, 3))
    100.0
    """
    after = bisect_right(known, on, key=lambda reading: reading.read_on)
    if after == 0:
        soon_enough = known and known[0].read_on - on <= timedelta(days=LATEST_FIRST_READING_DAYS)
        return known[0].value if soon_enough else None
    before = known[after - 1]
    if after == len(known) or before.read_on == on:
        return before.value
    share = (on - before.read_on) / (known[after].read_on - before.read_on)
    return before.value + share * (known[after].value - before.value)


def usage_per_day(known: Sequence[CounterReading], as_of_on: date) -> float | None:
    """Return the median slope over pairs at least 14 days apart within the last year; None without such a pair.

    Parameters
    ----------
    known : sequence of CounterReading
        In date order.  [km] or [h]
    as_of_on : date
        The end of the year looked at.

    Returns
    -------
    float or None
        Usage per day.  [km/day] or [h/day]

    References
    ----------
    P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau", JASA 63 (1968) 1379-1389.

    Examples
    --------
    >>> readings = [CounterReading(date(2025, 1, 1), 0.0), CounterReading(date(2025, 1, 31), 6_000.0)]
    >>> usage_per_day(readings, date(2025, 2, 1))
    200.0
    """
    begins_on = as_of_on - timedelta(days=RATE_WINDOW_DAYS)
    recent = [each for each in known if each.read_on >= begins_on]
    stride = max(1, ceil(len(recent) / MOST_READINGS_FOR_RATE))
    thinned = [(each.read_on.toordinal(), each.value) for each in recent[::-1][::stride][::-1]]
    slopes = [
        (later_value - earlier_value) / days
        for (earlier_day, earlier_value), (later_day, later_value) in combinations(thinned, 2)
        if (days := later_day - earlier_day) >= SHORTEST_RATE_SPAN_DAYS
    ]
    return median(slopes) if slopes else None
