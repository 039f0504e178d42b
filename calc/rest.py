"""The reading with everything off: a meter's zero to subtract, or a current that has no business flowing."""

from collections.abc import Sequence
from math import nan
from typing import NamedTuple

import numpy as np

from calc.arrays import Bools, Floats, Ints, anywhere
from calc.columns import Conditions, Readings
from calc.errors import RELATIVE_SLACK

HIGHEST_ZERO_SHARE_OF_RATED = 0.15
NOT_READ, WITHIN_COUNTS, SUBTRACTED, FLOWING, NEGATIVE = range(5)


class Rest(NamedTuple):
    """Per inspection: what the rest reading means, and the amps subtracted from every stage reading. [A]

    `measured_a` is the part that was read, the remainder is what the box's auxiliary loads are declared to draw, known
    within `declared_bound_a`.
    """

    meaning: Ints
    subtracted_a: Floats
    measured_a: Floats
    declared_bound_a: Floats


def settle_rest(conditions: Conditions, readings: Readings) -> Rest:
    """Return which part of the rest current is the meter's zero.

    Within the ammeter's counts it always is.  Beyond them it is only where it is at most 15 % of the smallest rated
    stage current and the box voltage does not sag; anything larger would hide a welded contact if it were subtracted.
    A unit whose type is not identified has its own middle stage in place of the smallest rated one.
    """
    rest_a = conditions.rest_current_a
    # Loads that the box feeds at all times flow at rest too, and are no leak.
    excess_a = rest_a - conditions.auxiliary_always_a
    size_a, zero_a = np.abs(excess_a), _zero_a(conditions)
    as_zero = within_counts = size_a <= zero_a
    if anywhere(size_a > zero_a):
        as_zero = within_counts | (_is_small(conditions, readings, excess_a) & ~_sags(conditions, readings))
    meaning = np.zeros(rest_a.shape, dtype=np.int64)
    meaning[excess_a > 0] = FLOWING
    meaning[excess_a < 0] = NEGATIVE
    meaning[as_zero] = SUBTRACTED
    meaning[within_counts] = WITHIN_COUNTS
    unread = meaning == NOT_READ
    measured_a = np.where(as_zero, rest_a, 0.0)
    declared_a = np.where(unread, conditions.auxiliary_always_a, 0.0) + conditions.auxiliary_on_a
    bound_a = np.where(unread, conditions.auxiliary_always_bound_a, 0.0) + conditions.auxiliary_on_bound_a
    return Rest(meaning, measured_a + declared_a, measured_a, bound_a)


def _zero_a(conditions: Conditions) -> Floats:
    visits = np.arange(conditions.stages.size)
    counts_a = conditions.ammeter.at(visits, conditions.rest_current_a).counts_half_width
    return (counts_a + conditions.auxiliary_always_bound_a) * (1 + RELATIVE_SLACK)


def _is_small(conditions: Conditions, readings: Readings, excess_a: Floats) -> Bools:
    stage_a = np.fmin.reduce(conditions.rated_currents_a, axis=1)
    for visit in np.flatnonzero(np.isnan(stage_a)).tolist():
        first, end = np.searchsorted(readings.inspection, [visit, visit + 1])
        alone = np.bitwise_count(readings.energised[first:end]) == 1
        currents_a = readings.current_a[first:end][alone].tolist()
        stage_a[visit] = own_stage_a(currents_a, float(conditions.rest_current_a[visit]))
    limit_a = HIGHEST_ZERO_SHARE_OF_RATED * stage_a * (1 + RELATIVE_SLACK)
    small: Bools = np.abs(excess_a) <= limit_a
    return small


def own_stage_a(currents_alone_a: Sequence[float], rest_current_a: float) -> float:
    """Return the middle of the stages' own amps, rest current taken off; NaN where no stage was read alone.

    The middle, for an open stage draws nothing and a welded one flows in every other stage's reading: neither may
    move what counts as small.

    Examples
    --------
    >>> own_stage_a([40.5, 0.5, 40.7], 0.5)
    40.0
    """
    ascending = sorted(currents_alone_a)
    return ascending[(len(ascending) - 1) // 2] - rest_current_a if ascending else nan


def _sags(conditions: Conditions, readings: Readings) -> Bools:
    visits = np.arange(conditions.stages.size)
    counts_v = conditions.voltmeter.at(visits, conditions.rest_voltage_v).counts_half_width
    highest_v = np.zeros(conditions.rest_voltage_v.shape)
    np.maximum.at(highest_v, readings.inspection, readings.supply_voltage_v)
    # Less than the voltmeter's own counts is no sag that it could show.
    sags: Bools = conditions.rest_voltage_v < highest_v - counts_v * (1 + RELATIVE_SLACK)
    return sags
