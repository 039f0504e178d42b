"""Units whose type is not identified, through the machines' door."""

from typing import Any
from uuid import uuid4

import pytest

from accounts.roles import Role
from fleet.models import Installation
from inspections.services import rejudging_runs
from tests import builders
from tests.api.documents import assessment_document, without
from tests.builders import Workshop
from tests.conftest import Api
from tests.inspections.visits import recorded
from tests.naming import name

COUNTED: dict[str, Any] = {"coils_counted": 8, "leads_counted": 5, "air_gap_mm": 1.4, "note": "Plate gone."}


@pytest.fixture
def manager(workshop: Workshop) -> Api:
    return Api(workshop.organisation, Role.MANAGER)


def filed(manager: Api, of: Workshop, **fields: Any) -> Any:
    sent = {"vehicle": str(of.installation.vehicle.uuid), "serial_number": "red paint", "stages": 4, **COUNTED}
    return manager.post("installations/not-identified/", sent | fields)


def unidentified(manager: Api, of: Workshop) -> Workshop:
    """Return the workshop with a unit of no known type."""
    unit = Installation.objects.get(uuid=filed(manager, of, fitted_on="2024-01-15").json()["id"])
    return Workshop(of.organisation, unit, of.ammeter, of.voltmeter)


def test_it_is_put_on_file_and_read_back(workshop: Workshop, manager: Api) -> None:
    answer = filed(manager, workshop)
    assert answer.status_code == 201
    told = answer.json()
    assert {**told["retarder"]["type"], "id": None} == {
        "id": None,
        "designation": "Not identified: red paint",
        "identified": False,
        "stages": 4,
        **COUNTED,
    }
    assert told["retarder"]["found_as"] == told["retarder"]["type"]["id"]
    rating = told["rating"]
    assert (rating["identified"], rating["stages"], rating["rated_currents_a"]) == (False, 4, None)
    assert {rating["reference_voltage_v"], rating["tolerance_percent"], rating["coils_in_series"]} == {None}
    assert answer.headers["Location"].endswith(f"/installations/{told['id']}/")
    assert manager.get(f"installations/{told['id']}/").json() == told


@pytest.mark.parametrize(
    ("fields", "pointer"),
    [
        ({"stages": 0}, "#/stages"),
        ({"stages": 9}, "#/stages"),
        ({"coils_counted": 0}, "#/coils_counted"),
        ({"air_gap_mm": 0}, "#/air_gap_mm"),
        ({"air_gap_mm": "1.4"}, "#/air_gap_mm"),
        ({"vehicle": str(uuid4())}, "#/vehicle"),
        ({"serial_number": ""}, "#/serial_number"),
    ],
)
def test_what_cannot_be_is_refused_at_its_place(
    workshop: Workshop, manager: Api, fields: dict[str, Any], pointer: str
) -> None:
    before = Installation.objects.count()
    answer = filed(manager, workshop, **fields)
    assert (answer.status_code, [error["pointer"] for error in answer.json()["errors"]]) == (400, [pointer])
    assert Installation.objects.count() == before


def test_readings_are_judged_without_a_verdict_and_with_what_balance_and_history_say(
    workshop: Workshop, manager: Api
) -> None:
    unit = unidentified(manager, workshop)
    document = builders.inspection_document(unit, performed_at="2026-01-02T09:30:00Z")
    assert manager.post("inspections/", document).json()["verdict"] == "undetermined"
    readings = builders.single_pass()
    readings[2]["current_a"] = 30.0
    told = manager.post("inspections/", builders.inspection_document(unit, stage_readings=readings)).json()
    assert {reason["code"] for reason in told["verdict_reasons"]} == {"type_not_identified"}
    cautions = {(each["code"], each["stage"]) for each in told["findings"] if each["severity"] == "caution"}
    assert cautions >= {("stage_unlike_the_others", 3), ("stage_unlike_its_history", 3)}
    record = manager.get(f"inspections/{told['id']}/record/").json()
    assert record["evidence"]["own_history"][0]["inspection"] == document["id"]
    assert (record["rating"]["identified"], record["rating"]["rated_currents_a"]) == (False, None)
    trend = manager.get(f"installations/{unit.installation.uuid}/trend/").json()
    assert [(stage["slope_percent_per_year"], stage["declining"]) for stage in trend["stages"]] == [(None, False)] * 4
    assert "-17.36 % ± 5.61 %" in next(
        each["text"] for each in told["findings"] if each["code"] == "stage_unlike_its_history"
    )


def test_readings_are_assessed_without_a_rating_and_a_made_up_one_is_refused(manager: Api) -> None:
    document = without(assessment_document(), "rating")
    rating = {"identified": False, "stages": 4, "system_voltage_v": 12}
    told = manager.post("assessments/", {**document, "rating": rating}).json()
    assert {stage["undetermined_reason"] for stage in told["stages"]} == {"type_not_identified"}
    refused = manager.post("assessments/", {**document, "rating": {**rating, "rated_current_a": 35.0}})
    assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (400, "#/rating/rated_current_a")


def test_a_preview_expects_what_the_unit_drew_and_promises_no_pass(workshop: Workshop, manager: Api) -> None:
    unit = unidentified(manager, workshop)
    asked = without(assessment_document(installation=str(unit.installation.uuid)), "rating", "stage_readings")
    asked |= {"supply_voltage_v": 14.0, "coil_temperature_c": 20.0, "coil_temperature_bound_c": 3.0}
    stages = manager.post("assessments/preview/", asked).json()["stages"]
    assert [(each["expected_current_a"], each["can_pass"]) for each in stages] == [(None, False)] * 4
    recorded(unit)
    stages = manager.post("assessments/preview/", asked).json()["stages"]
    assert [each["expected_current_a"] for each in stages] == [pytest.approx(36.3)] * 4


def test_candidates_are_told_with_their_numbers_and_one_is_chosen_by_a_person(workshop: Workshop, manager: Api) -> None:
    unit = unidentified(manager, workshop)
    check = recorded(unit).inspection
    address = f"installations/{unit.installation.uuid}/"
    other = builders.retarder_type(workshop.organisation, rated_currents_a=[50.0] * 4)
    told = manager.get(f"{address}type-candidates/").json()
    assert (told["checks"], [stage["stage"] for stage in told["stages"]]) == (1, [1, 2, 3, 4])
    assert told["stages"][0]["conductance_s"] == pytest.approx(36.3 / 14.0)
    best, worst = told["candidates"]
    own = workshop.installation.retarder.retarder_type
    assert [each["retarder_type"]["id"] for each in (best, worst)] == [str(own.uuid), str(other.uuid)]
    assert (best["level_percent"], best["coils"]) == (pytest.approx(100 * 36.3 / 35.5), 16)
    assert best["fit_probability"] > 0.9 > 1e-6 > worst["fit_probability"]
    assert manager.get(address).json()["retarder"]["type"]["identified"] is False
    sent = {"retarder_type": str(own.uuid), "reason": "Level, shape and coils."}
    answer = manager.post(f"{address}identify/", sent).json()
    assert answer["installation"]["retarder"]["type"]["id"] == str(own.uuid)
    assert answer["installation"] == manager.get(address).json()
    run = answer["rejudging"]
    assert (run["state"], run["changes"]) == ("done", [{"before": "undetermined", "after": "pass", "count": 1}])
    assert manager.get(f"rejudgings/{run['id']}/").json()["changed"] == run["changed"]
    assert run["changed"][0]["inspection"] == str(check.uuid)
    assert [row["verdict"] for row in manager.get("inspections/").json()["results"]] == ["pass"]


def test_many_checks_are_judged_anew_in_the_background(
    workshop: Workshop, manager: Api, monkeypatch: pytest.MonkeyPatch
) -> None:
    unit = unidentified(manager, workshop)
    recorded(unit)
    monkeypatch.setattr(rejudging_runs, "AT_ONCE", 0)
    kind = workshop.installation.retarder.retarder_type
    address = f"installations/{unit.installation.uuid}/identify/"
    answer = manager.post(address, {"retarder_type": str(kind.uuid), "reason": "Plate found."})
    assert (answer.status_code, answer.json()["rejudging"]["state"]) == (202, "storing")
    name(workshop.organisation)
    assert rejudging_runs.run_asked_rejudgings() == 1
    name(workshop.organisation)
    run = manager.get(f"rejudgings/{answer.json()['rejudging']['id']}/").json()
    assert (run["state"], run["changes"][0]["after"]) == ("done", "pass")


@pytest.mark.parametrize("role", [Role.VIEWER, Role.TRAINEE, Role.TECHNICIAN])
def test_who_does_not_manage_sees_candidates_and_identifies_nothing(
    workshop: Workshop, manager: Api, role: Role
) -> None:
    unit = unidentified(manager, workshop)
    somebody, address = Api(workshop.organisation, role), f"installations/{unit.installation.uuid}/"
    kind = str(workshop.installation.retarder.retarder_type.uuid)
    assert somebody.get(f"{address}type-candidates/").status_code == 200
    assert somebody.post(f"{address}identify/", {"retarder_type": kind, "reason": "Guess."}).status_code == 403
    assert filed(somebody, workshop, serial_number="blue paint").status_code == 403


def test_a_type_of_another_organisation_is_unknown_and_so_is_its_unit(workshop: Workshop, manager: Api) -> None:
    unit = unidentified(manager, workshop)
    elsewhere = builders.workshop()
    address = f"installations/{unit.installation.uuid}/identify/"
    for kind in (str(elsewhere.installation.retarder.retarder_type.uuid), str(uuid4())):
        answer = manager.post(address, {"retarder_type": kind, "reason": "Guess."})
        assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (400, "#/retarder_type")
    assert manager.get(f"installations/{elsewhere.installation.uuid}/type-candidates/").status_code == 404
