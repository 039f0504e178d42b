"""A meter's page: its calibrations, and the checks a failed one throws doubt on."""

from typing import Any

import pytest

from accounts.roles import Role
from inspections.models import Calibration
from tests import builders
from tests.builders import Workshop, inspection_document
from tests.conftest import Api
from tests.dashboard.taking import Taker

GOOD = {"performed_on": "2026-01-05", "due_on": "2027-01-05", "certificate": "C 17", "passed": "passed"}
FAILED = {"performed_on": "2026-06-01", "due_on": "", "certificate": "C 18", "passed": "failed"}


def calibrated(taker: Taker, **fields: str) -> Any:
    return taker.post(f"meters/{taker.workshop.ammeter.uuid}/", **fields)


def checked_on(workshop: Workshop, day: str) -> None:
    document = inspection_document(workshop, performed_at=f"{day}T09:30:00+00:00", sign=True)
    assert Api(workshop.organisation).post("inspections/", document).status_code == 201


def test_a_calibration_is_entered_and_dates_the_meter(workshop: Workshop) -> None:
    manager = Taker(workshop, Role.MANAGER)
    assert calibrated(manager, **GOOD).status_code == 302
    workshop.ammeter.refresh_from_db()
    assert str(workshop.ammeter.calibration_due_on) == "2027-01-05"
    html = manager.get(f"meters/{workshop.ammeter.uuid}/").content.decode()
    assert "C 17" in html
    assert f"/meters/{workshop.ammeter.uuid}/" in manager.get("meters/").content.decode()


def test_a_failed_calibration_lists_the_checks_since_the_last_good_one(workshop: Workshop) -> None:
    manager = Taker(workshop, Role.MANAGER)
    for day in ("2025-12-01", "2026-02-02", "2026-03-02"):
        checked_on(workshop, day)
    calibrated(manager, **GOOD)
    address = f"meters/{workshop.ammeter.uuid}/"
    assert "In doubt" not in manager.get(address).content.decode()
    calibrated(manager, **FAILED)
    answer = manager.get(address)
    assert [str(check.performed_on) for check in answer.context["in_doubt"]] == ["2026-03-02", "2026-02-02"]
    assert [str(check.performed_on) for check in answer.context["checks"]][-1] == "2025-12-01"
    assert "In doubt" in answer.content.decode()


@pytest.mark.parametrize(
    ("changed", "field"), [({"performed_on": "soon"}, "performed_on"), ({"due_on": "2025-01-05"}, "__all__")]
)
def test_a_calibration_that_cannot_be_is_refused_on_the_page(
    workshop: Workshop, changed: dict[str, str], field: str
) -> None:
    answer = calibrated(Taker(workshop, Role.MANAGER), **(GOOD | changed))
    assert list(answer.context["form"].errors) == [field]
    assert not Calibration.objects.exists()


@pytest.mark.parametrize("role", [Role.VIEWER, Role.TECHNICIAN])
def test_only_managers_enter_a_calibration(workshop: Workshop, role: Role) -> None:
    taker = Taker(workshop, role)
    assert "Enter a calibration" not in taker.get(f"meters/{workshop.ammeter.uuid}/").content.decode()
    assert calibrated(taker, **GOOD).status_code == 403
    assert not Calibration.objects.exists()


def test_a_meter_of_another_book_is_not_found(workshop: Workshop) -> None:
    stranger = Taker(workshop, Role.MANAGER, of=builders.organisation())
    assert calibrated(stranger, **GOOD).status_code == 404
