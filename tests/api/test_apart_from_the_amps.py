"""What is judged apart from the amps, at the door: taken in, judged, stored with its digits, and answered again."""

import json
import re
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

import calc.apart
from calc.evidence_apart import CONTROL_ITEMS
from inspections.models import Inspection
from inspections.sentences import SENTENCES
from inspections.sentences_apart import settling_sentence
from tests.api.documents import assessment_document, without
from tests.builders import Workshop, inspection_document, relay_box_type, single_pass
from tests.conftest import Api

CHECKED = {
    "limits": {"supply_voltage_low_v": 12.50, "shared_ground_resistance_mohm": 8},
    "battery": {"at_rest_v": 12.70, "charging_v": 14.1, "alternator_rated_a": 180},
    "control_check": dict.fromkeys(CONTROL_ITEMS, "good"),
    "mechanical_survey": [
        {"code": "air_gap", "values": [1.20, 1.3, 1.25, 1.4], "lower_limit": 1.0, "upper_limit": 1.4},
        {"code": "rotor", "status": "good"},
    ],
}


def test_everything_checked_beside_the_amps_is_answered_part_by_part(api: Api) -> None:
    answer = api.post("assessments/", assessment_document(**CHECKED))
    assert answer.status_code == 200, answer.content
    apart = answer.json()["apart"]
    assert apart["control"] == "good"
    assert apart["mechanical"] == "not_checked"
    assert set(apart.values()) <= {"good", "bad", "not_checked"}


def test_a_bad_item_fails_the_unit_with_a_sentence_that_names_it(api: Api) -> None:
    document = assessment_document(control_check={"stop_lamps": "bad"})
    answer = api.post("assessments/", document).json()
    assert answer["verdict"] == "fail"
    assert answer["action"] == "find_the_fault"
    (reason,) = answer["verdict_reasons"]
    assert reason["text"] == "Control check, bad: Stop lamps."


def test_it_is_stored_with_its_digits_and_answered_again(api: Api, workshop: Workshop) -> None:
    document = inspection_document(workshop, **CHECKED)
    stored = api.post("inspections/", document)
    assert stored.status_code == 201, stored.content
    kept = Inspection.objects.get(uuid=document["id"]).evidence
    assert kept["mechanical_survey"][0]["values"] == ["1.2", "1.3", "1.25", "1.4"]
    again = json.loads(api.get(f"inspections/{document['id']}/").content, parse_float=Decimal)
    assert again["limits"]["supply_voltage_low_v"] == Decimal("12.5")
    assert again["control_check"] == CHECKED["control_check"]
    assert again["apart"] == stored.json()["apart"]
    assert api.post("inspections/", document).status_code == 200


def test_an_item_of_the_organisations_own_list_may_have_the_name_of_a_reading(api: Api, workshop: Workshop) -> None:
    document = inspection_document(workshop, control_check={"current_a": "good"})
    assert api.post("inspections/", document).status_code == 201
    assert api.get(f"inspections/{document['id']}/").json()["control_check"] == {"current_a": "good"}


def test_what_would_settle_it_is_worked_out_again_for_a_stored_inspection(api: Api, workshop: Workshop) -> None:
    document = inspection_document(workshop, stage_readings=single_pass(33.0))
    stored = api.post("inspections/", document).json()
    again = api.get(f"inspections/{document['id']}/").json()
    assert stored["verdict"] == "conditional_pass"
    assert again["stages"] == stored["stages"]
    settle = again["stages"][0]["settle"]
    assert settle["single_inputs"]
    assert "±" in settle["text"]
    assert "settle" not in json.dumps(Inspection.objects.get(uuid=document["id"]).judgements.get().result)


def test_a_temperature_that_is_worked_out_need_not_be_stated(api: Api) -> None:
    inputs = {"resistance_now_ohm": 0.39, "resistance_cold_ohm": 0.34, "cold_temperature_c": 15}
    document = without(
        assessment_document(coil_temperature_method="cold_resistance", temperature_inputs=inputs),
        "coil_temperature_c",
        "coil_temperature_bound_c",
    )
    answer = api.post("assessments/", document)
    assert answer.status_code == 200, answer.content
    (finding,) = [f for f in answer.json()["findings"] if f["code"] == "coil_temperature_worked_out"]
    assert finding["params"]["coil_temperature_c"] == pytest.approx(0.39 / 0.34 * 249.5 - 234.5)
    too_little = {**document, "temperature_inputs": without(inputs, "cold_temperature_c")}
    assert api.post("assessments/", too_little).status_code == 400


def test_a_rating_without_a_temperature_is_taken_as_20_degrees_and_said_so(api: Api) -> None:
    document = assessment_document()
    document["rating"] = without(document["rating"], "reference_temperature_c")
    answer = api.post("assessments/", document).json()
    assert "reference_temperature_assumed" in [finding["code"] for finding in answer["findings"]]


def test_a_meter_with_ranges_is_taken_inline(api: Api) -> None:
    ranges = [
        {"range_max": 40, "accuracy_percent": 1.5, "accuracy_counts": 5, "resolution": 0.01},
        {"range_max": 400, "accuracy_percent": 2.0, "accuracy_counts": 5, "resolution": 0.1},
    ]
    document = assessment_document()
    document["ammeter"]["ranges"] = ranges
    fine = api.post("assessments/", document).json()
    plain = api.post("assessments/", assessment_document()).json()
    assert fine["stages"][0]["expanded_uncertainty_a"] < plain["stages"][0]["expanded_uncertainty_a"]
    document["ammeter"]["ranges"] = ranges[::-1]
    assert api.post("assessments/", document).status_code == 400


def test_a_negative_current_is_refused_by_the_counts_of_its_range(api: Api) -> None:
    document = assessment_document()
    document["ammeter"]["ranges"] = [
        {"range_max": 40, "accuracy_percent": 1.5, "accuracy_counts": 5, "resolution": 0.01}
    ]
    document["stage_readings"][0]["current_a"] = -0.3
    answer = api.post("assessments/", document)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["pointer"] == "#/stage_readings/0/current_a"


def test_what_the_box_feeds_beside_the_stages_is_kept_with_the_readings(api: Api, workshop: Workshop) -> None:
    box = relay_box_type(
        workshop.organisation,
        designation="Box with a fan",
        auxiliary_loads=[{"name": "fan", "current_a": 8.0, "when": "always"}],
    )
    workshop.installation.relay_box_type = box
    workshop.installation.save()
    readings = single_pass(44.3)
    document = inspection_document(workshop, stage_readings=readings, rest={"supply_voltage_v": 14.2, "current_a": 8.0})
    answer = api.post("inspections/", document)
    assert answer.status_code == 201, answer.content
    assert answer.json()["apart"]["rest_current"] == "good"
    assert answer.json()["stages"][0]["normalised_current_a"] == pytest.approx(36.3)
    assert api.get(f"inspections/{document['id']}/").json()["stages"][0]["normalised_current_a"] == pytest.approx(36.3)


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"control_check": {"stop_lamps": "fine"}}, "#/control_check/stop_lamps"),
        ({"control_check": {"Stop lamps!": "good"}}, "#/control_check"),
        ({"control_check": ["stop_lamps"]}, "#/control_check"),
        ({"mechanical_survey": [{"code": "air gap"}]}, "#/mechanical_survey/0/code"),
        ({"mechanical_survey": [{"code": "air_gap", "values": ["1.2"]}]}, "#/mechanical_survey/0/values/0"),
        ({"limits": {"supply_voltage_low_v": -1}}, "#/limits/supply_voltage_low_v"),
        ({"battery": {"at_rest_v": "12.6"}}, "#/battery/at_rest_v"),
        ({"temperature_inputs": {"surface": "rust"}}, "#/temperature_inputs/surface"),
        ({"temperature_inputs": {"resistance_now_ohm": 0}}, "#/temperature_inputs/resistance_now_ohm"),
    ],
)
def test_a_bad_value_is_refused_at_its_place(api: Api, change: dict[str, Any], pointer: str) -> None:
    answer = api.post("assessments/", assessment_document(**change))
    assert answer.status_code == 400, answer.content
    assert [error["pointer"] for error in answer.json()["errors"]] == [pointer]


def test_every_code_that_is_judged_apart_has_a_sentence() -> None:
    folder = Path(calc.apart.__file__).parent
    written = "".join(path.read_text("utf-8") for path in folder.glob("*.py"))
    codes = set(re.findall(r'(?:Finding|_finding)\(\s*"([a-z_0-9]+)"', written))
    assert len(codes) >= 10
    for stem in ("upstream_resistance", "shared_ground_resistance"):
        codes |= {f"{stem}_high", f"{stem}_curved"}
    assert codes - SENTENCES.keys() == set()


@pytest.mark.parametrize(
    ("more", "expected"),
    [("would_do", "5 readings"), ("no_scatter_to_average", "cannot help"), ("at_the_limit", "on the limit")],
)
def test_what_would_settle_it_is_said_in_words(more: str, expected: str) -> None:
    bound = {"source": "ammeter", "unit": "A", "present": 1.18, "needed": 0.6436}
    settle = {"single_inputs": [bound], "capable_with": [bound], "more_readings": more, "readings_needed": 5}
    text = settling_sentence(settle)
    assert expected in text
    assert "± 0.64 A" in text
    assert settling_sentence({**settle, "more_readings": "over_range"}) == ""
