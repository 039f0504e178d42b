"""Test meters at the machines' door: ranges, calibrations with what they throw doubt on, comparisons."""

from typing import Any
from uuid import uuid4

import pytest

from accounts.roles import Role
from inspections.models import Inspection, MeterComparison
from tests import builders
from tests.builders import Workshop, inspection_document, single_pass
from tests.conftest import Api

RANGES = [
    {"range_max": 40, "accuracy_percent": 1.5, "accuracy_counts": 5, "resolution": 0.01},
    {"range_max": 400, "accuracy_percent": 2.0, "accuracy_counts": 5, "resolution": 0.1},
]
FOUND_HIGH = [{"applied": 0, "shown": 0}, {"applied": 100.0, "shown": 118.5}]


@pytest.fixture
def manager(workshop: Workshop) -> Api:
    return Api(workshop.organisation, Role.MANAGER)


def calibrated(manager: Api, workshop: Workshop, **fields: Any) -> Any:
    document = {"performed_on": "2026-06-01", "due_on": "2027-06-01", **fields}
    return manager.post(f"meters/{workshop.ammeter.uuid}/calibrations/", document)


def test_a_meter_is_added_with_its_ranges_and_judges_by_them(manager: Api, workshop: Workshop) -> None:
    made = manager.post("meters/", {"kind": "ammeter", "designation": "Two ranges", "ranges": RANGES})
    assert made.status_code == 201, made.content
    meter = made.json()
    assert [one["range_max"] for one in meter["ranges"]] == [40, 400]
    assert (meter["accuracy_percent"], meter["range_max"]) == (2.0, 400)
    document = inspection_document(workshop, ammeter=meter["id"])
    answer = manager.post("inspections/", document).json()
    plain = manager.post("inspections/", inspection_document(workshop)).json()
    assert answer["stages"][0]["expanded_uncertainty_a"] < plain["stages"][0]["expanded_uncertainty_a"]
    over = inspection_document(workshop, ammeter=meter["id"], stage_readings=single_pass(400.5))
    assert manager.post("inspections/", over).json()["verdict"] == "undetermined"


@pytest.mark.parametrize(
    ("figures", "pointer"),
    [
        ({"ranges": RANGES[::-1]}, "#/ranges"),
        ({"ranges": [{"range_max": 40}]}, "#/ranges/0/accuracy_percent"),
        ({}, "#/accuracy_percent"),
        ({"ranges": RANGES, "accuracy_percent": 1.0}, "#/accuracy_percent"),
    ],
)
def test_an_accuracy_that_cannot_be_is_refused_at_its_place(
    manager: Api, figures: dict[str, Any], pointer: str
) -> None:
    answer = manager.post("meters/", {"kind": "ammeter", "designation": "Odd", **figures})
    assert answer.status_code == 400, answer.content
    assert pointer in [error["pointer"] for error in answer.json()["errors"]]


def test_a_calibration_is_kept_once_and_listed(manager: Api, workshop: Workshop) -> None:
    uuid = str(uuid4())
    for _time in range(2):
        answer = calibrated(manager, workshop, id=uuid, certificate="C 7", as_found=FOUND_HIGH)
        assert answer.status_code == 200, answer.content
    assert calibrated(manager, workshop, id=uuid, certificate="C 8").status_code == 409
    (row,) = manager.get("calibrations/", meter=workshop.ammeter.uuid).json()["results"]
    assert (row["id"], row["meter"]) == (uuid, str(workshop.ammeter.uuid))
    assert (row["found_in_tolerance"], row["passed"]) == (False, False)
    assert row["found_error"] == {"gain_percent": 18.5, "zero": 0.0}
    assert row["as_found"][1] == {"applied": "100.0", "shown": "118.5"}
    assert manager.get("calibrations/", meter=workshop.voltmeter.uuid).json()["results"] == []
    assert manager.get("calibrations/", found_in_tolerance="true").json()["results"] == []


def test_an_outcome_against_its_own_values_is_refused_at_its_place(manager: Api, workshop: Workshop) -> None:
    answer = calibrated(manager, workshop, as_found=FOUND_HIGH, found_in_tolerance=True)
    assert answer.status_code == 400
    assert [error["pointer"] for error in answer.json()["errors"]] == ["#/found_in_tolerance"]


def test_what_is_in_doubt_is_listed_and_judged_anew_with_the_found_error(manager: Api, workshop: Workshop) -> None:
    before = inspection_document(workshop, stage_readings=single_pass(43.0))
    after = inspection_document(workshop, performed_at="2026-06-02T09:30:00+00:00", stage_readings=single_pass(43.0))
    for document in (before, after):
        assert manager.post("inspections/", document).json()["verdict"] == "fail"
    adjusted = [{"applied": 100.0, "shown": 100.4}]
    meter = calibrated(manager, workshop, as_found=FOUND_HIGH, as_left=adjusted).json()
    uuid = meter["calibrations"][0]["id"]
    listed = manager.get("inspections/", in_doubt_of=uuid).json()["results"]
    assert [row["id"] for row in listed] == [before["id"]]
    answer = manager.post(f"calibrations/{uuid}/rejudge/", {"reason": "clamp read high"})
    assert answer.status_code == 200, answer.content
    judged = answer.json()
    run = manager.get(f"rejudgings/{judged.pop('rejudging')}/").json()
    assert (run["state"], run["selection"], run["total"]) == ("done", {"calibration": uuid}, 1)
    assert judged == {"judged": 1, "left": 0, "changes": [{"before": "fail", "after": "pass", "count": 1}]}
    assert Inspection.objects.get(uuid=before["id"]).verdict == "pass"
    assert Inspection.objects.get(uuid=after["id"]).verdict == "fail"
    assert manager.get("inspections/", in_doubt_of=str(uuid4())).json()["results"] == []
    technician = Api(workshop.organisation)
    assert technician.post(f"calibrations/{uuid}/rejudge/", {"reason": "mine"}).status_code == 403
    assert manager.post(f"calibrations/{uuid}/rejudge/", {}).status_code == 400


def test_two_clamps_are_compared_before_and_after_it_is_kept(manager: Api, workshop: Workshop) -> None:
    other = builders.meter(workshop.organisation, "ammeter")
    named = {"first": str(workshop.ammeter.uuid), "second": str(other.uuid)}
    readings = [{"first": 36.3, "second": 35.9}, {"first": 72.1, "second": 66.0}]
    preview = manager.post("meter-comparisons/preview/", {**named, "readings": readings})
    assert preview.status_code == 200, preview.content
    assert not MeterComparison.objects.exists()
    assert preview.json()["agree"] is False
    document = {"id": str(uuid4()), **named, "compared_on": "2026-03-02", "readings": readings}
    for _time in range(2):
        kept = manager.post("meter-comparisons/", document)
        assert kept.status_code == 201, kept.content
    assert kept.json()["normalised_error"] == preview.json()["normalised_error"]
    assert kept.json()["pairs"] == preview.json()["pairs"]
    assert MeterComparison.objects.count() == 1
    assert manager.post("meter-comparisons/", {**document, "readings": readings[:1]}).status_code == 409
    for meter in (workshop.ammeter, other):
        (row,) = manager.get("meter-comparisons/", meter=meter.uuid).json()["results"]
        assert row["id"] == document["id"]


def test_meters_that_are_not_on_file_are_compared_by_their_figures(api: Api) -> None:
    clamp = {"accuracy_percent": 2.0, "accuracy_counts": 5, "resolution": 0.1}
    sent = {"first": clamp, "second": clamp, "readings": [{"first": 30.0, "second": 30.0}]}
    assert api.post("meter-comparisons/preview/", sent).json()["normalised_error"] == 0.0
    refused = api.post("meter-comparisons/preview/", {**sent, "second": {**clamp, "range_max": 20}})
    assert [error["pointer"] for error in refused.json()["errors"]] == ["#/readings/0"]
