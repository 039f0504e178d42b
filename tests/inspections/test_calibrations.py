"""Whether a meter's calibration was valid on the day, what a verdict says of it, and what is looked back on.

A calibration counts on the day of the measurement, not of its arrival, and the day it is due is its last valid one
(common practice, no source).
"""

import datetime as dt
from typing import Any

import pytest

from accounts.roles import Role
from inspections.calibrations import calibration_fault, looked_back_on
from inspections.models import Calibration
from inspections.services.meters import record_calibration
from tests import builders
from tests.builders import Workshop
from tests.inspections.visits import recorded

DONE_ON, DUE_ON = dt.date(2025, 7, 31), dt.date(2026, 7, 31)


def calibrated(of: Workshop, **columns: Any) -> Calibration:
    manager = builders.actor(of.organisation, Role.MANAGER)
    dates = {"performed_on": DONE_ON, "due_on": DUE_ON} | columns
    return record_calibration(manager, of.ammeter, **dates)


def codes(of: Workshop, performed_at: str) -> list[tuple[str, str, str]]:
    findings = recorded(of, performed_at).result["findings"]
    found = [each for each in findings if each["code"] == "calibration_not_valid"]
    return [(each["severity"], each["params"]["meter"], each["params"]["fault"]) for each in found]


@pytest.mark.parametrize(
    ("on", "fault"),
    [
        (dt.date(2025, 7, 30), "missing"),
        (dt.date(2026, 7, 31), None),
        (dt.date(2026, 8, 1), "expired"),
    ],
)
def test_the_day_of_the_measurement_decides(workshop: Workshop, on: dt.date, fault: str | None) -> None:
    calibrated(workshop)
    workshop.ammeter.calibration_due_on = None
    assert calibration_fault(workshop.ammeter, on) == fault


def test_the_local_date_of_the_depot_decides(workshop: Workshop) -> None:
    calibrated(workshop)
    voltmeter_alone = [("caution", "voltmeter", "missing")]
    assert codes(workshop, "2026-07-31T23:30:00+01:00") == voltmeter_alone
    assert codes(workshop, "2026-08-01T00:10:00+01:00") == [("caution", "ammeter", "expired"), *voltmeter_alone]


def test_a_clamp_found_out_of_tolerance_is_no_clamp_to_judge_by(workshop: Workshop) -> None:
    calibrated(workshop, passed=False)
    assert ("caution", "ammeter", "failed") in codes(workshop, "2026-03-02T09:30:00Z")


def test_a_verdict_is_marked_or_withheld_as_the_organisation_has_it(workshop: Workshop) -> None:
    marked = recorded(workshop).result
    assert marked["verdict"] == "pass"
    workshop.organisation.calibration_required = True
    workshop.organisation.save(update_fields=["calibration_required"])
    withheld = recorded(workshop, "2026-03-03T09:30:00Z").result
    assert withheld["verdict"] == "undetermined"
    assert {reason["code"] for reason in withheld["verdict_reasons"]} == {"calibration_not_valid"}


def test_an_old_record_keeps_the_certificate_of_its_day(workshop: Workshop) -> None:
    calibrated(workshop, certificate="sheet one")
    stored = recorded(workshop).inspection
    calibrated(workshop, performed_on=dt.date(2026, 6, 1), due_on=None, certificate="sheet two")
    stored.refresh_from_db()
    assert stored.evidence["certificates"] == {"ammeter": "sheet one"}


def test_a_failed_calibration_looks_back_to_the_last_good_one(workshop: Workshop) -> None:
    calibrated(workshop, performed_on=dt.date(2025, 1, 15), due_on=None)
    visits = [
        recorded(workshop, f"{day}T09:30:00Z").inspection
        for day in ("2025-01-15", "2025-01-16", "2025-09-10", "2025-09-11")
    ]
    failed = calibrated(workshop, performed_on=dt.date(2025, 9, 10), due_on=None, passed=False)
    assert set(looked_back_on(failed)) == {visits[1], visits[2]}
