"""Whether a meter's calibration was valid on the day of a measurement, and what rests on one that was not."""

import datetime as dt
from collections.abc import Iterable, Mapping

from django.db.models import Q, QuerySet

from inspections.models import Calibration, Inspection, Meter


def calibration_on(meter: Meter, on: dt.date) -> Calibration | None:
    """Return the newest calibration done by a day, passed or not."""
    return Calibration.objects.filter(meter=meter, performed_on__lte=on).order_by("performed_on").last()


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


def looked_back_on(calibration: Calibration) -> QuerySet[Inspection]:
    """Return every check read with the meter since its last good calibration before this one."""
    good = Calibration.objects.filter(
        meter=calibration.meter_id, performed_on__lt=calibration.performed_on, passed=True
    )
    last_good = good.order_by("performed_on").last()
    rows = Inspection.objects.filter(
        Q(ammeter=calibration.meter_id) | Q(voltmeter=calibration.meter_id), performed_on__lte=calibration.performed_on
    )
    return rows if last_good is None else rows.filter(performed_on__gt=last_good.performed_on)
