"""What an inspection is refused for beside its readings: its id, its time, its coverage."""

import datetime as dt
import json
from typing import Any

import pytest
import time_machine
from django.utils import timezone

from inspections.models import Inspection
from tests import builders
from tests.api.documents import with_literal, without
from tests.api.problems import assert_problem, fault_at
from tests.builders import Workshop, inspection_document, single_pass
from tests.conftest import Api

NOW = dt.datetime(2026, 5, 4, 8, 0, tzinfo=dt.UTC)
TIMES = [
    "2026-03-02T09:30:00",
    "2026-03-02T09:30:60+00:00",
    "2026-03-02T24:00:00+00:00",
    "2026-03-02T09:60:00+00:00",
    "2026-W10-1T09:30:00+00:00",
    "2026-061T09:30:00+00:00",
    "20260302T093000Z",
    "2026-03-02 09:30:00+00:00",
    "2026-03-02T09:30+00:00",
    "2026-03-02T09:30:00,5+00:00",
    "2026-03-02T09:30:00.+00:00",
    "2026-03-02T09:30:00+0100",
    "2026-03-02T09:30:00+01",
    "2026-03-02T09:30:00+24:00",
    "2026-03-02T09:30:00+01:60",
    "2026-02-29T09:30:00+00:00",
    "0001-01-01T00:00:00+23:59",
    "9999-12-31T23:59:59-23:59",
    "٢٠٢٦-03-02T09:30:00+00:00",
    "2026-03-02",
    "yesterday",
    "",
]
IDS = {
    "version 1": "6ba7b810-9dad-11d1-80b4-00c04fd430c8",
    "version 3": "6fa459ea-ee8a-3ca4-894e-db77e160355e",
    "version 5": "886313e1-3b8a-5372-9b90-0c9aee199e5d",
    "version 6": "1ec9414c-232a-6b00-b3c8-9e6bdeced846",
    "nil": "00000000-0000-0000-0000-000000000000",
    "max": "ffffffff-ffff-ffff-ffff-ffffffffffff",
    "variant of old": "3d813cbb-47fb-42ba-11df-831e1593ac29",
    "variant of another maker": "3d813cbb-47fb-42ba-c1df-831e1593ac29",
    "no hyphens": "3d813cbb47fb42ba91df831e1593ac29",
    "hyphens elsewhere": "3d81-3cbb47fb-42ba91df-831e1593ac-29",
    "in braces": "{3d813cbb-47fb-42ba-91df-831e1593ac29}",
    "as a URN": "urn:uuid:3d813cbb-47fb-42ba-91df-831e1593ac29",
    "digits of another script": "٣d813cbb-47fb-42ba-91df-831e1593ac29",
    "one digit short": "3d813cbb-47fb-42ba-91df-831e1593ac2",
}


@pytest.mark.parametrize("text", TIMES)
def test_a_time_that_is_not_rfc_3339_with_offset_is_refused(api: Api, workshop: Workshop, text: str) -> None:
    fault = fault_at(api.post("inspections/", inspection_document(workshop, performed_at=text)), "#/performed_at")
    assert repr(text) in fault["detail"]
    assert "2026-11-25T09:30:00+01:00" in fault["detail"]


@pytest.mark.parametrize("literal", ["1772443800", "1772443800.5", "true", "[]"])
def test_a_time_that_is_not_text_is_refused(api: Api, workshop: Workshop, literal: str) -> None:
    body = with_literal(inspection_document(workshop), "#/performed_at", literal)
    assert "RFC 3339" in fault_at(api.post("inspections/", body), "#/performed_at")["detail"]


def test_a_time_before_1950_is_refused(api: Api, workshop: Workshop) -> None:
    document = inspection_document(workshop, performed_at="1949-12-31T23:59:59Z")
    assert "1950" in fault_at(api.post("inspections/", document), "#/performed_at")["detail"]


@pytest.mark.parametrize("ahead", [dt.timedelta(minutes=10, seconds=1), dt.timedelta(minutes=11), dt.timedelta(days=1)])
def test_a_time_more_than_ten_minutes_ahead_is_refused(api: Api, workshop: Workshop, ahead: dt.timedelta) -> None:
    with time_machine.travel(NOW, tick=False):
        answer = api.post("inspections/", inspection_document(workshop, performed_at=(NOW + ahead).isoformat()))
    fault = fault_at(answer, "#/performed_at")
    assert fault["code"] == "in_the_future"
    assert (NOW + ahead).isoformat() in fault["detail"]
    assert (NOW + dt.timedelta(minutes=10)).isoformat() in fault["detail"]


@pytest.mark.parametrize("ahead", [dt.timedelta(seconds=1), dt.timedelta(minutes=5), dt.timedelta(minutes=10)])
def test_a_time_up_to_ten_minutes_ahead_is_kept_and_flagged(api: Api, workshop: Workshop, ahead: dt.timedelta) -> None:
    with time_machine.travel(NOW, tick=False):
        answer = api.post("inspections/", inspection_document(workshop, performed_at=(NOW + ahead).isoformat()))
    assert answer.status_code == 201
    assert answer.json()["clock_ahead"] is True
    assert answer.json()["performed_at"] == (NOW + ahead).isoformat().replace("+00:00", "Z")


def test_a_time_of_this_very_moment_is_not_flagged(api: Api, workshop: Workshop) -> None:
    with time_machine.travel(NOW, tick=False):
        answer = api.post("inspections/", inspection_document(workshop, performed_at=timezone.now().isoformat()))
    assert answer.json()["clock_ahead"] is False


@pytest.mark.parametrize("name", IDS)
def test_an_id_that_is_no_uuid_of_version_4_or_7_is_refused(api: Api, workshop: Workshop, name: str) -> None:
    fault = fault_at(api.post("inspections/", inspection_document(workshop, id=IDS[name])), "#/id")
    assert IDS[name][:20] in fault["detail"]
    assert "UUID" in fault["detail"]


@pytest.mark.parametrize("literal", ["5", "null", "true", "{}"])
def test_an_id_that_is_not_text_is_refused(api: Api, workshop: Workshop, literal: str) -> None:
    fault_at(api.post("inspections/", with_literal(inspection_document(workshop), "#/id", literal)), "#/id")


@pytest.mark.parametrize(
    ("fitted_on", "removed_on", "performed_at"),
    [
        (dt.date(2026, 3, 3), None, "2026-03-02T09:30:00Z"),
        (dt.date(2024, 1, 1), dt.date(2026, 3, 1), "2026-03-02T09:30:00Z"),
        (None, dt.date(2026, 3, 1), "2026-03-02T09:30:00Z"),
    ],
)
def test_an_installation_not_fitted_on_that_day_is_refused(
    db: None, fitted_on: dt.date | None, removed_on: dt.date | None, performed_at: str
) -> None:
    workshop = builders.workshop(fitted_on=fitted_on, removed_on=removed_on)
    document = inspection_document(workshop, performed_at=performed_at)
    fault = fault_at(Api(workshop.organisation).post("inspections/", document), "#/performed_at")
    assert fault["code"] == "not_fitted"
    assert "2026-03-02" in fault["detail"]
    assert str(fitted_on or "…") in fault["detail"]
    assert str(removed_on or "…") in fault["detail"]


@pytest.mark.parametrize(
    ("performed_at", "code"),
    [
        ("2026-03-01T22:59:59Z", 400),
        ("2026-03-01T23:00:00Z", 201),
        ("2026-03-02T22:59:59Z", 201),
        ("2026-03-02T23:00:00Z", 400),
    ],
)
def test_the_day_of_fitting_and_of_removal_is_the_depots(db: None, performed_at: str, code: int) -> None:
    owner = builders.organisation()
    vehicle = builders.vehicle(owner, depot=builders.depot(owner, "Europe/Berlin"))
    day = dt.date(2026, 3, 2)
    unit = builders.installation(owner, vehicle=vehicle, fitted_on=day, removed_on=day)
    workshop = Workshop(owner, unit, builders.meter(owner, "ammeter"), builders.meter(owner, "voltmeter"))
    answer = Api(owner).post("inspections/", inspection_document(workshop, performed_at=performed_at))
    assert answer.status_code == code


def test_stages_neither_read_nor_named_as_not_read_are_refused(api: Api, workshop: Workshop) -> None:
    document = inspection_document(workshop, stage_readings=single_pass(stages=2))
    fault = fault_at(api.post("inspections/", document), "#/stage_readings")
    assert fault["code"] == "stages_missing"
    assert "3, 4" in fault["detail"]


def test_a_stage_both_read_and_named_as_not_read_is_refused(api: Api, workshop: Workshop) -> None:
    document = inspection_document(workshop, stages_not_read=[{"stage": 4, "reason": "no access"}])
    fault = fault_at(api.post("inspections/", document), "#/stages_not_read")
    assert fault["code"] == "stages_read"
    assert "4" in fault["detail"]


@pytest.mark.parametrize(
    ("place", "value", "code"),
    [
        ("purpose", "holiday", "invalid_choice"),
        ("notes", 5, "invalid"),
        ("notes", "n" * 10_001, "max_length"),
        ("sign", "true", "invalid"),
        ("sign", 1, "invalid"),
        ("retest_of", "all", "not_a_list"),
        ("coil_temperature_method", "guessed", "invalid_choice"),
        ("installation", "the red one", "invalid"),
        ("ammeter", builders.CLAMP, "invalid"),
        ("voltmeter", None, "null"),
    ],
)
def test_a_field_of_an_inspection_is_refused_at_its_place(
    api: Api, workshop: Workshop, place: str, value: Any, code: str
) -> None:
    document = inspection_document(workshop, **{place: value})
    assert fault_at(api.post("inspections/", document), f"#/{place}")["code"] == code


@pytest.mark.parametrize("field", ["id", "installation", "performed_at", "ammeter", "voltmeter", "stage_readings"])
def test_a_field_that_is_needed_is_missed_at_its_place(api: Api, workshop: Workshop, field: str) -> None:
    answer = api.post("inspections/", without(inspection_document(workshop), field))
    assert fault_at(answer, f"#/{field}")["code"] == "required"


def test_a_refused_inspection_stores_nothing(api: Api, workshop: Workshop) -> None:
    document = inspection_document(workshop, stage_readings=single_pass(-5.0))
    assert_problem(api.post("inspections/", json.dumps(document).encode()), 400)
    assert not Inspection.objects.filter(organisation=workshop.organisation).exists()
    assert_problem(api.get(f"inspections/{document['id']}/"), 404)
