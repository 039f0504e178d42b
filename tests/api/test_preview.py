"""POST /assessments/preview/: what to expect of a check before anything is measured."""

import json
from typing import Any

import pytest

from inspections.models import Inspection
from tests.api.documents import RATING, assessment_document, without
from tests.builders import Workshop
from tests.conftest import Api


def preview_document(**fields: Any) -> dict[str, Any]:
    document = without(assessment_document(), "stage_readings", "engine_state")
    return {**document, "supply_voltage_v": 13.3, **fields}


def test_every_stage_is_told_its_amps_its_uncertainty_and_whether_it_can_pass(api: Api) -> None:
    answer = api.post("assessments/preview/", preview_document())
    assert answer.status_code == 200, answer.content
    stages = answer.json()["stages"]
    assert [stage["stage"] for stage in stages] == [1, 2, 3, 4]
    assert stages[0]["expected_current_a"] == pytest.approx(35.5 * 13.3 / 14)
    assert stages[0]["can_pass"] is True
    assert stages[0]["lower_limit_a"] == pytest.approx(31.95)
    assert stages[0]["expanded_uncertainty_a"] > 0


def test_the_running_voltage_is_assumed_where_none_is_given(api: Api) -> None:
    answer = api.post("assessments/preview/", without(preview_document(), "supply_voltage_v")).json()
    assert (answer["supply_voltage_v"], answer["supply_voltage_assumed"]) == (14.0, True)


def test_an_unknown_temperature_cannot_pass_and_the_bound_that_would_do_is_named(api: Api) -> None:
    document = without(preview_document(coil_temperature_method="unknown"), "coil_temperature_c")
    answer = api.post("assessments/preview/", document).json()
    assert answer["coil_temperature_assumed"] is True
    stage = answer["stages"][0]
    assert stage["can_pass"] is False
    (bound,) = [one for one in stage["would_do"] if one["source"] == "coil_temperature"]
    assert bound["unit"] == "Cel"
    assert 3 < bound["needed"] < bound["present"] == 30.0


def test_an_installation_and_meters_on_file_are_previewed_by_id(api: Api, workshop: Workshop) -> None:
    document = {
        "installation": str(workshop.installation.uuid),
        "ammeter": str(workshop.ammeter.uuid),
        "voltmeter": str(workshop.voltmeter.uuid),
        "coil_temperature_c": 12.0,
        "coil_temperature_method": "parked",
    }
    answer = api.post("assessments/preview/", document)
    assert answer.status_code == 200, answer.content
    assert answer.json()["coil_temperature_bound_c"] == 3.0
    assert len(answer.json()["stages"]) == 4


def test_the_rule_is_the_organisations_unless_another_is_asked_for(api: Api) -> None:
    guarded = api.post("assessments/preview/", preview_document()).json()
    simple = api.post("assessments/preview/", preview_document(decision_rule="simple")).json()
    assert (guarded["decision_rule"], simple["decision_rule"]) == ("guarded", "simple")
    assert simple["stages"][0]["guard_band_a"] == 0.0


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"supply_voltage_v": 0}, "#/supply_voltage_v"),
        ({"rating": {**RATING, "stages": 9}}, "#/rating/stages"),
        ({"ammeter": "00000000-0000-4000-8000-000000000000"}, "#/ammeter"),
        ({"stage_readings": assessment_document()["stage_readings"]}, "#/stage_readings"),
    ],
)
def test_a_bad_preview_is_refused_at_its_place(api: Api, change: dict[str, Any], pointer: str) -> None:
    answer = api.post("assessments/preview/", preview_document(**change))
    assert answer.status_code == 400, answer.content
    assert [error["pointer"] for error in json.loads(answer.content)["errors"]] == [pointer]


def test_nothing_is_stored(api: Api) -> None:
    before = Inspection.objects.count()
    api.post("assessments/preview/", preview_document())
    assert Inspection.objects.count() == before
