"""Clamps numbered by calibration: one clamp between two calibrations is one meter, for it may read otherwise after."""

import datetime as dt

import numpy as np

from calc.arrays import Ints
from inspections.models import Calibration

EPOCH = dt.date(2000, 1, 1)
NEVER_CALIBRATED = -1
# Of a key the clamp's own, times this, plus the day of the calibration and one.
_DAYS = 1 << 17


def clamp_periods(clamps: Ints, days: Ints) -> Ints:
    """Return the key of the clamp period that each reading belongs to.

    Parameters
    ----------
    clamps : ndarray of int, shape (readings,)
        Primary keys of the clamps.
    days : ndarray of int, shape (readings,)
        Local days of the readings, counted from 2000-01-01.
    """
    calibrations = Calibration.objects.filter(meter__in=np.unique(clamps).tolist())
    begun = [period_key(meter, day_of(on)) for meter, on in calibrations.values_list("meter", "performed_on")]
    starts: Ints = np.sort(np.array([period_key(NEVER_CALIBRATED, 0), *begun], np.int64))
    newest = starts[np.searchsorted(starts, clamps * _DAYS + np.maximum(days, 0) + 1, side="right") - 1]
    return np.where(newest // _DAYS == clamps, newest, clamps * _DAYS)


def day_of(on: dt.date) -> int:
    """Return a date as days since 2000."""
    return (on - EPOCH).days


def day_on(day: int) -> dt.date:
    """Return the date of a day since 2000."""
    return EPOCH + dt.timedelta(days=day)


def period_key(clamp: int, calibrated_day: int) -> int:
    """Return the key of what a clamp reads after a calibration, or before any."""
    return clamp * _DAYS + max(calibrated_day, NEVER_CALIBRATED) + 1


def period_of(keys: Ints) -> tuple[Ints, Ints]:
    """Return clamp and day of calibration of each key, −1 where it never was calibrated.

    Examples
    --------
    >>> clamps, days = period_of(np.array([period_key(7, 9000), period_key(8, NEVER_CALIBRATED)]))
    >>> clamps.tolist(), days.tolist()
    ([7, 8], [9000, -1])
    """
    clamps, days = np.divmod(keys, _DAYS)
    return clamps, days - 1
