"""A meter's page: its calibrations, and the checks a failed one throws doubt on."""

from typing import Any

import pytest

from accounts.roles import Role
from inspections.models import Calibration, Inspection, Meter, MeterComparison, Rejudging
from inspections.services import rejudging_runs
from tests import builders
from tests.builders import Workshop, inspection_document, single_pass
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
    assert [str(check.performed_on) for check in answer.context["checks"]][-1] == "2025-12-01"
    assert f'<a href="/{workshop.organisation.slug}/{manager.at}">checks read with it' in answer.content.decode()
    page = manager.get(manager.at)
    assert [str(check.performed_on) for check in page.context["in_doubt"]] == ["2026-03-02", "2026-02-02"]
    assert "since it was last found good, on 5 Jan 2026" in page.content.decode()


ADJUSTED = {
    "performed_on": "2026-06-01",
    "due_on": "2027-06-01",
    "certificate": "C 19",
    "as_found": "0 0.0\r\n100,0 118,5",
    "as_left": "100.0 100.4",
    "found_in_tolerance": "by_points",
    "passed": "by_points",
}


def test_what_was_read_with_a_clamp_found_wrong_is_judged_anew_from_its_page(workshop: Workshop) -> None:
    manager = Taker(workshop, Role.MANAGER)
    document = inspection_document(
        workshop, performed_at="2026-03-02T09:30:00+00:00", stage_readings=single_pass(43.0), sign=True
    )
    assert Api(workshop.organisation).post("inspections/", document).json()["verdict"] == "fail"
    calibrated(manager, **ADJUSTED)
    html = manager.get(manager.at).content.decode()
    assert "+18.5 % of the reading and 0 A" in html
    assert 'value="18.5"' in html
    assert manager.send(reason="clamp read high", gain_percent="18,5", zero="0").status_code == 302
    assert "1 check was judged anew, 1 with another verdict." in manager.get(manager.at).content.decode()
    check = Inspection.objects.get(uuid=document["id"])
    assert (check.verdict, list(check.judgements.order_by("number").values_list("verdict", flat=True))) == (
        "pass",
        ["fail", "pass"],
    )
    assert "passed" in manager.get(f"meters/{workshop.ammeter.uuid}/").content.decode()


def test_values_that_are_no_pairs_are_named_by_their_line(workshop: Workshop) -> None:
    answer = calibrated(Taker(workshop, Role.MANAGER), **(ADJUSTED | {"as_found": "30.0 30.4\n30.0"}))
    assert "Line 2, “30.0”, is not two numbers" in str(answer.context["form"].errors["as_found"])
    assert not Calibration.objects.exists()


def test_an_outcome_against_its_own_values_is_refused_at_its_field(workshop: Workshop) -> None:
    answer = calibrated(Taker(workshop, Role.MANAGER), **(ADJUSTED | {"found_in_tolerance": "yes"}))
    assert list(answer.context["form"].errors) == ["found_in_tolerance"]


def test_many_checks_in_doubt_go_on_in_the_background_and_the_page_says_how_far(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rejudging_runs, "AT_ONCE", 0)
    manager = Taker(workshop, Role.MANAGER)
    checked_on(workshop, "2026-03-02")
    calibrated(manager, **ADJUSTED)
    page = manager.at
    assert manager.send(reason="clamp read high", gain_percent="18,5", zero="0").status_code == 302
    html = manager.get(page).content.decode()
    assert "1 check is being judged anew in the background." in html
    assert "being stored, 0 of 1" in html
    run = Rejudging.objects.get(organisation=workshop.organisation)
    assert '<progress max="1" value="0"' in manager.get(f"judge-anew/{run.uuid}/").content.decode()
    manager.get(page)
    manager.send(reason="clamp read high", gain_percent="17", zero="0")
    assert "with another error just now" in manager.get(page).content.decode()
    rejudging_runs.run_asked_rejudgings()
    assert "stored, 1 of 1" in manager.get(page).content.decode()


ACCURACY = {"range_max_1": "400", "accuracy_percent_1": "1,5", "accuracy_counts_1": "5", "resolution_1": "0.1"}


def test_a_meter_is_put_on_file_from_the_page_of_test_meters(workshop: Workshop) -> None:
    manager = Taker(workshop, Role.MANAGER)
    assert "Add a test meter" in manager.get("meters/").content.decode()
    named = {"kind": "ammeter", "designation": "Clamp 9", "serial_number": "0042"}
    short = manager.post("meters/add/", **named)
    assert list(short.context["form"].errors) == ["accuracy_percent_1"]
    empty = manager.post("meters/add/", kind="ammeter")
    assert list(empty.context["form"].errors) == ["designation", "accuracy_percent_1"]
    nameless = manager.post("meters/add/", **(named | ACCURACY | {"designation": ""}))
    assert list(nameless.context["form"].errors) == ["designation"]
    assert manager.post("meters/add/", **named, **ACCURACY).status_code == 302
    made = Meter.objects.get(organisation=workshop.organisation, designation="Clamp 9")
    assert (made.kind, made.serial_number, made.accuracy_percent, made.range_max) == ("ammeter", "0042", 1.5, 400.0)
    assert manager.at == f"meters/{made.uuid}/"
    technician = Taker(workshop)
    assert "Add a test meter" not in technician.get("meters/").content.decode()
    assert technician.get("meters/add/").status_code == 403
    assert technician.post("meters/add/", **named, **ACCURACY).status_code == 403


def test_accuracy_is_typed_range_by_range_and_holds_for_checks_to_come(workshop: Workshop) -> None:
    checked_on(workshop, "2026-02-02")
    manager = Taker(workshop, Role.MANAGER)
    address = f"meters/{workshop.ammeter.uuid}/accuracy/"
    assert "Range 1, in A" in manager.get(address).content.decode()
    first = {"range_max_1": "40", "accuracy_percent_1": "1,5", "accuracy_counts_1": "5", "resolution_1": "0.01"}
    second = {"range_max_2": "400", "accuracy_percent_2": "2", "accuracy_counts_2": "5", "resolution_2": "0.1"}
    short = manager.post(address, **first, **(second | {"range_max_2": ""}))
    assert list(short.context["form"].errors) == ["range_max_2"]
    swapped = manager.post(address, **(first | {"range_max_1": "500"}), **second)
    assert "Ranges are given smallest first." in swapped.content.decode()
    assert manager.post(address, **first, **second).status_code == 302
    workshop.ammeter.refresh_from_db()
    assert [one["range_max"] for one in workshop.ammeter.ranges] == [40.0, 400.0]
    assert (workshop.ammeter.accuracy_percent, workshop.ammeter.range_max) == (2.0, 400.0)
    html = manager.get(f"meters/{workshop.ammeter.uuid}/").content.decode()
    assert "± (1.5 % + 5 × 0.01 A) up to 40 A" in html
    checked_on(workshop, "2026-02-03")
    old, new = Inspection.objects.filter(ammeter=workshop.ammeter).order_by("performed_at")
    assert ("ranges" in old.evidence["ammeter"], len(new.evidence["ammeter"]["ranges"])) == (False, 2)
    assert (new.u_1 or 0) < (old.u_1 or 0)


def test_two_clamps_are_compared_and_both_pages_say_so(workshop: Workshop) -> None:
    other = builders.meter(workshop.organisation, "ammeter")
    technician = Taker(workshop)
    address = f"meters/{workshop.ammeter.uuid}/compare/"
    page = technician.get(address)
    assert "Compare two clamps" in page.content.decode()
    sent = {
        "id": str(page.context["form"]["id"].value()),
        "second": str(other.uuid),
        "compared_on": "2026-03-02",
        "readings": "36,3 35.9\n72.1 69.0",
        "note": "",
    }
    assert "is not two numbers" in technician.post(address, **(sent | {"readings": "36.3"})).content.decode()
    for _time in range(2):
        assert technician.post(address, **sent).status_code == 302
    row = MeterComparison.objects.get()
    assert row.agree
    for meter, shown in ((workshop.ammeter, "36.3 / 35.9 A"), (other, "35.9 / 36.3 A")):
        html = technician.get(f"meters/{meter.uuid}/").content.decode()
        assert shown in html
        assert "they agree" in html
    assert Taker(workshop, Role.VIEWER).get(address).status_code == 403


def test_a_voltmeter_without_a_second_one_has_nothing_to_be_compared_with(workshop: Workshop) -> None:
    html = Taker(workshop).get(f"meters/{workshop.voltmeter.uuid}/compare/").content.decode()
    assert "There is no other meter of this kind in use." in html


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
