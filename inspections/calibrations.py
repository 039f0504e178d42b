"""Whether a meter's calibration was valid on the day of a measurement, and what rests on one that was not."""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.db.models import Q, QuerySet

from calc.instruments import CalibrationPoint, FoundError, found_error
from inspections.corrections import alike
from inspections.models import Calibration, Inspection, Meter

# What corrects each kind of meter: its gain in percent, its zero in its own unit.
CORRECTED_BY = {
    "ammeter": ("ammeter_gain_percent", "ammeter_zero_a"),
    "voltmeter": ("voltmeter_gain_percent", "voltmeter_zero_v"),
}


def calibration_on(meter: Meter, on: dt.date) -> Calibration | None:
    """Return the newest calibration done by a day, passed or not."""
    done = [calibration for calibration in meter.calibrations.all() if calibration.performed_on <= on]
    return max(done, key=lambda calibration: calibration.performed_on, default=None)


def calibration_fault(meter: Meter, on: dt.date) -> str | None:
    """Return what is wrong with a meter's calibration on a day: nothing, expired, failed or missing.

    The day it is due is its last valid day.  A meter whose file says only when it is due is taken at its word.
    """
    newest = calibration_on(meter, on)
    if newest is not None and not newest.passed:
        return "failed"
    due_on = meter.calibration_due_on if newest is None else newest.due_on
    if newest is None and due_on is None:
        return "missing"
    return "expired" if due_on is not None and on > due_on else None


def calibration_faults(meters: Iterable[Meter], on: dt.date) -> list[list[str]]:
    """Return which of the meters used on a day had no valid calibration, and what was wrong with it."""
    return [[meter.kind, fault] for meter in meters if (fault := calibration_fault(meter, on))]


def certificates_on(meters: Mapping[str, Meter], on: dt.date) -> dict[str, str]:
    """Return the certificate each meter stood under on a day, so that an old record keeps the one of its time."""
    found = {kind: calibration_on(meter, on) for kind, meter in meters.items()}
    return {kind: calibration.certificate for kind, calibration in found.items() if calibration is not None}


def points_of(points: Sequence[Mapping[str, Any]] | None) -> tuple[CalibrationPoint, ...]:
    """Return a certificate's points as calc knows them."""
    return tuple(CalibrationPoint(float(each["applied"]), float(each["shown"])) for each in points or ())


def error_as_found(calibration: Calibration) -> FoundError | None:
    """Return the gain and zero that the meter was found with, None where no point was written down."""
    return found_error(points_of(calibration.as_found))


def corrections_of(calibration: Calibration) -> dict[str, str]:
    """Return what takes the error as found out of the readings; nothing where no point was written down.

    Six decimals are more than a certificate tells, and the same six stand on the page.
    """
    error = error_as_found(calibration)
    if error is None:
        return {}
    gain, zero = CORRECTED_BY[calibration.meter.kind]
    return alike({gain: f"{error.gain_percent:.6f}", zero: f"{error.zero:.6f}"})


def looked_back_on(calibration: Calibration) -> QuerySet[Inspection]:
    """Return every check read with the meter since its last good calibration before this one.

    Good is a calibration that the meter left in tolerance, whatever it was found with.
    """
    rows = Inspection.objects.filter(
        Q(ammeter=calibration.meter_id) | Q(voltmeter=calibration.meter_id), performed_on__lte=calibration.performed_on
    )
    last_good = last_good_before(calibration)
    return rows if last_good is None else rows.filter(performed_on__gt=last_good.performed_on)


def last_good_before(calibration: Calibration) -> Calibration | None:
    """Return the last calibration before this one that the meter left in tolerance."""
    good = Calibration.objects.filter(
        meter=calibration.meter_id, performed_on__lt=calibration.performed_on, passed=True
    )
    return good.order_by("performed_on").last()


def throws_doubt(calibration: Calibration) -> bool:
    """Tell whether checks that were read before the calibration rest on a meter that was out of tolerance."""
    return not calibration.found_in_tolerance
