"""Readings that are refused alike by an assessment and by an inspection, at their place and by name."""

import copy
import json
from typing import Any

import pytest

from tests.api.documents import EXTRA_READING, REST, assessment_document, with_literal
from tests.api.problems import fault_at
from tests.builders import Workshop, inspection_document
from tests.conftest import Api

READING = "#/stage_readings/0"
EXTRA = "#/extra_readings/0"
STAGES = "1 to 4"
# Place, what is put there, the code of the refusal, and what its sentence names.
AT_THE_PLACE = [
    (f"{READING}/current_a", "-0.6", "clamp_reversed", ["-0.6 A", "-0.5 A", "clamp reversed?"]),
    (f"{READING}/current_a", '"40.1"', "invalid", ["'40.1'", "JSON number"]),
    (f"{READING}/current_a", "true", "invalid", ["true", "JSON number"]),
    (f"{READING}/current_a", "[40.1]", "invalid", ["a list", "JSON number"]),
    (f"{READING}/current_a", "{}", "invalid", ["an object", "JSON number"]),
    (f"{READING}/current_a", "null", "null", ["null"]),
    (f"{READING}/current_a", "1e400", "range", ["1E+400", "-1000000 to 1000000"]),
    (f"{READING}/current_a", "-1e400", "range", ["-1E+400"]),
    (f"{READING}/current_a", "9" * 5_000, "range", ["999999…", "1000000"]),
    (f"{READING}/current_a", "0." + "1" * 29, "digits", ["28"]),
    (f"{READING}/current_a", "1e-29", "digits", ["28"]),
    (f"{READING}/supply_voltage_v", "-0.01", "range", ["-0.01", "0 to 1000000"]),
    (f"{READING}/supply_voltage_v", '"14"', "invalid", ["'14'"]),
    (f"{READING}/supply_voltage_v", "false", "invalid", ["false"]),
    (f"{READING}/seconds_on", "-1", "range", ["-1", "0 to"]),
    (f"{READING}/stage", "5", "no_such_stage", ["5", STAGES]),
    (f"{READING}/stage", "0", "range", ["0", "1 to 8"]),
    (f"{READING}/stage", "9", "range", ["9", "1 to 8"]),
    (f"{READING}/stage", "-1", "range", ["-1"]),
    (f"{READING}/stage", "1.5", "invalid", ["1.5", "whole"]),
    (f"{READING}/stage", '"1"', "invalid", ["'1'"]),
    (f"{READING}/stage", "true", "invalid", ["true"]),
    (f"{READING}/stage", "9" * 5_000, "range", ["1 to 8"]),
    (f"{READING}/stage", "1e999999", "range", ["1 to 8"]),
    (f"{READING}/energised", "[]", "empty", ["empty"]),
    (f"{READING}/energised", "[2]", "stage_not_energised", ["stage 1", "2"]),
    (f"{READING}/energised", "[1, 5]", "no_such_stage", ["5", STAGES]),
    (f"{READING}/energised", "[1, 1]", "named_twice", ["1, 1", "twice"]),
    (f"{READING}/energised", "1", "not_a_list", ["list"]),
    (f"{READING}/energised", "null", "null", ["null"]),
    (f"{READING}/energised", "[1,2,3,4,5,6,7,8,1]", "max_length", ["8"]),
    (f"{READING}/outputs_live", "[5]", "no_such_stage", ["5", STAGES]),
    (f"{READING}/outputs_live", "[2, 2]", "named_twice", ["2, 2"]),
    (READING, "5", "invalid", ["int"]),
    ("#/stage_readings", '"none"', "not_a_list", ["list"]),
    ("#/stage_readings", "null", "null", ["null"]),
    ("#/rest/current_a", "true", "invalid", ["true"]),
    ("#/rest/current_a", "null", "null", ["null"]),
    ("#/rest/supply_voltage_v", "-1", "range", ["-1"]),
    ("#/coil_temperature_c", "300.1", "range", ["300.1", "-60 to 300"]),
    ("#/coil_temperature_c", "-60.1", "range", ["-60.1", "-60 to 300"]),
    ("#/coil_temperature_c", '"20"', "invalid", ["'20'"]),
    ("#/coil_temperature_c", "null", "required", ["parked"]),
    ("#/coil_temperature_bound_c", "-1", "range", ["-1", "0 to 300"]),
    ("#/coil_temperature_method", '"guessed"', "invalid_choice", ["'guessed'", "measured, parked", "unknown"]),
    ("#/engine_state", '"running"', "invalid_choice", ["'running'", "off, idle, high_idle"]),
    ("#/decision_rule", '"lenient"', "invalid_choice", ["'lenient'", "guarded, simple, max_false_accept"]),
    ("#/decision_rule", "1", "invalid_choice", ["1", "guarded"]),
    ("#/max_false_accept_probability", "0.51", "range", ["0.51", "0.5"]),
    ("#/max_false_accept_probability", "0", "range", ["above 0"]),
    (f"{EXTRA}/kind", '"smell"', "invalid_choice", ["'smell'", "output_voltage, contact_drop"]),
    (f"{EXTRA}/stage", "5", "no_such_stage", ["5", STAGES]),
    (f"{EXTRA}/energised", "[1, 7]", "no_such_stage", ["7", STAGES]),
    (f"{EXTRA}/coil", "0", "range", ["0", "1 to 64"]),
    (f"{EXTRA}/value", "null", "required", ["over_range true"]),
    (f"{EXTRA}/value", '"13.67"', "invalid", ["'13.67'"]),
    (f"{EXTRA}/over_range", '"no"', "invalid", ["'no'", "true or false"]),
]
# The same, where the refusal points further in than the place that was changed.
FURTHER_IN = [
    (f"{READING}/lamps_lit", "[9]", f"{READING}/lamps_lit/0", "range", ["9", "1 to 8"]),
    (f"{READING}/energised", '[1, "2"]', f"{READING}/energised/1", "invalid", ["'2'"]),
    (f"{EXTRA}/over_range", "true", f"{EXTRA}/value", "required", ["over_range true"]),
    ("#/stages_not_read", '[{"stage": 5, "reason": "blocked"}]', "#/stages_not_read/0/stage", "no_such_stage", ["5"]),
    ("#/stages_not_read", '[{"stage": 4}]', "#/stages_not_read/0/reason", "required", ["required"]),
    ("#/stages_not_read", '[{"stage": 4, "reason": ""}]', "#/stages_not_read/0/reason", "blank", ["blank"]),
    ("#/stages_not_read", '[{"stage": 4, "reason": 7}]', "#/stages_not_read/0/reason", "invalid", ["7", "text"]),
    ("#/decision_rule", '"max_false_accept"', "#/max_false_accept_probability", "required", ["above 0 to 0.5"]),
]
CASES = [(place, literal, place, code, said) for place, literal, code, said in AT_THE_PLACE] + FURTHER_IN


@pytest.fixture(params=["assessments/", "inspections/"])
def door(request: pytest.FixtureRequest) -> str:
    """Return the address that the readings are sent to."""
    return str(request.param)


def document_for(door: str, workshop: Workshop) -> dict[str, Any]:
    """Return a good document for the door, with a rest and an extra reading."""
    fields = copy.deepcopy({"rest": REST, "extra_readings": [EXTRA_READING], "engine_state": "idle"})
    return assessment_document(**fields) if door == "assessments/" else inspection_document(workshop, **fields)


def test_the_document_is_taken_as_long_as_nothing_is_changed(api: Api, workshop: Workshop, door: str) -> None:
    assert api.post(door, document_for(door, workshop)).status_code in (200, 201)


@pytest.mark.parametrize(
    ("place", "literal", "pointer", "code", "said"), CASES, ids=[f"{case[0]} = {case[1][:30]}" for case in CASES]
)
def test_a_reading_is_refused_at_its_place(
    api: Api, workshop: Workshop, door: str, place: str, literal: str, pointer: str, code: str, said: list[str]
) -> None:
    answer = api.post(door, with_literal(document_for(door, workshop), place, literal))
    fault = fault_at(answer, pointer)
    assert fault["code"] == code
    for words in said:
        assert words in fault["detail"]
    assert len(fault["detail"]) < 300


def test_every_fault_of_a_body_is_named_at_once(api: Api, workshop: Workshop, door: str) -> None:
    document = document_for(door, workshop)
    document["stage_readings"][0]["current_a"] = -5
    document["stage_readings"][2]["energised"] = [1]
    document["extra_readings"][0]["stage"] = 6
    answer = api.post(door, json.dumps(document).encode())
    for pointer in ("#/stage_readings/0/current_a", "#/stage_readings/2/energised", "#/extra_readings/0/stage"):
        fault_at(answer, pointer)


def test_a_reading_more_than_the_limit_is_refused(api: Api, workshop: Workshop, door: str) -> None:
    document = document_for(door, workshop)
    document["stage_readings"] *= 51
    assert "200" in fault_at(api.post(door, document), "#/stage_readings")["detail"]
