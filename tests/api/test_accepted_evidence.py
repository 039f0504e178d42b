"""Readings that look odd and are evidence all the same."""

import json
from typing import Any

import pytest

from tests.api.documents import EXTRA_READING, RATING, REST, assessment_document, with_literal, without
from tests.builders import CLAMP, single_pass
from tests.conftest import Api

UNJUDGED = [
    "normalised_current_a",
    "expanded_uncertainty_a",
    "lower_limit_a",
    "upper_limit_a",
    "conformance_probability",
    "capability",
]


def judged(api: Api, **fields: Any) -> dict[str, Any]:
    """Return the judgement of an assessment."""
    answer = api.post("assessments/", assessment_document(**fields))
    assert answer.status_code == 200, answer.content
    found: dict[str, Any] = answer.json()
    return found


def first_stage_reading(**fields: Any) -> list[dict[str, Any]]:
    """Return a single pass with the first stage's reading changed."""
    first, *others = single_pass()
    return [{**first, **fields}, *others]


def finding(judgement: dict[str, Any], code: str) -> dict[str, Any]:
    """Return the one finding of a code."""
    found: list[dict[str, Any]] = [finding for finding in judgement["findings"] if finding["code"] == code]
    assert len(found) == 1, judgement["findings"]
    return found[0]


@pytest.mark.parametrize("current_a", ["-0.5", "-0.50", "-0.1", "-0.0", "0", "-5e-1"])
def test_stage_amps_down_to_the_meters_own_counts_are_accepted(api: Api, current_a: str) -> None:
    body = with_literal(assessment_document(), "#/stage_readings/0/current_a", current_a)
    answer = api.post("assessments/", body)
    assert answer.status_code == 200
    assert answer.json()["stages"][0]["current_a"] == float(current_a)
    assert answer.json()["stages"][0]["verdict"] == "fail"


def test_no_volts_and_no_amps_leave_the_stage_undetermined(api: Api) -> None:
    judgement = judged(api, stage_readings=first_stage_reading(supply_voltage_v=0, current_a=0))
    stage = judgement["stages"][0]
    assert stage["verdict"] == "undetermined"
    assert stage["undetermined_reason"] == "no_voltage"
    assert [stage[figure] for figure in UNJUDGED] == [None] * len(UNJUDGED)
    assert [stage["verdict"] for stage in judgement["stages"][1:]] == ["pass"] * 3
    assert judgement["verdict"] == "undetermined"


def test_no_amps_at_full_voltage_fail_the_stage(api: Api) -> None:
    stage = judged(api, stage_readings=first_stage_reading(current_a=0))["stages"][0]
    assert (stage["verdict"], stage["normalised_current_a"]) == ("fail", 0)


def test_a_reading_over_the_meters_range_leaves_the_stage_and_the_unit_undetermined(api: Api) -> None:
    over = CLAMP["range_max"] + 0.1
    judgement = judged(api, stage_readings=first_stage_reading(current_a=over))
    stage = judgement["stages"][0]
    assert stage["undetermined_reason"] == "over_range"
    assert [stage[figure] for figure in UNJUDGED] == [None] * len(UNJUDGED)
    assert judgement["verdict"] == "undetermined"


@pytest.mark.parametrize("current_a", [-0.3, -12.5])
def test_a_negative_rest_current_is_accepted(api: Api, current_a: float) -> None:
    judgement = judged(api, rest={**REST, "current_a": current_a})
    assert len(judgement["stages"]) == 4


@pytest.mark.parametrize("stated", [{}, {"reference_voltage_v": None}])
def test_without_a_reference_voltage_nothing_is_judged_but_the_imbalance(api: Api, stated: dict[str, None]) -> None:
    rating = without(RATING, "reference_voltage_v") | stated
    judgement = judged(api, rating=rating, stage_readings=first_stage_reading(current_a=30.0))
    for stage in judgement["stages"]:
        assert stage["verdict"] == "undetermined"
        assert [stage[figure] for figure in UNJUDGED] == [None] * len(UNJUDGED)
    assert judgement["imbalance_percent"] > 10
    assert judgement["verdict"] == "undetermined"
    finding(judgement, "reference_voltage_unknown")


@pytest.mark.parametrize(
    "stated",
    [
        {"coil_temperature_method": "unknown", "coil_temperature_c": None, "coil_temperature_bound_c": None},
        {"coil_temperature_method": None, "coil_temperature_c": None, "coil_temperature_bound_c": None},
    ],
)
def test_an_unknown_temperature_is_taken_as_50_plus_or_minus_30_and_said_so(api: Api, stated: dict[str, Any]) -> None:
    unknown = judged(api, **stated)
    said = finding(unknown, "coil_temperature_assumed")
    assert said["params"] == {"coil_temperature_c": 50.0, "coil_temperature_bound_c": 30.0}
    assert "50 ± 30 °C" in said["text"]
    stated_so = judged(api, coil_temperature_c=50, coil_temperature_bound_c=30, coil_temperature_method="measured")
    for figure in UNJUDGED:
        assert unknown["stages"][0][figure] == stated_so["stages"][0][figure]


def test_a_temperature_bound_below_the_usual_one_is_taken_as_stated_with_a_note(api: Api) -> None:
    usual, bold = (judged(api, coil_temperature_bound_c=bound) for bound in (10.0, 0.5))
    said = finding(bold, "temperature_bound_below_usual")
    assert said["severity"] == "note"
    assert "± 0.5 °C" in said["text"]
    assert bold["stages"][0]["expanded_uncertainty_a"] < usual["stages"][0]["expanded_uncertainty_a"]


def test_a_part_of_the_stages_is_answered_ascending_without_unit_figures(api: Api) -> None:
    fourth, second = single_pass()[3], single_pass()[1]
    judgement = judged(api, stage_readings=[fourth, second])
    assert [stage["stage"] for stage in judgement["stages"]] == [2, 4]
    assert judgement["imbalance_percent"] is None
    assert judgement["torque_share_percent"] is None


def test_no_reading_at_all_is_undetermined(api: Api) -> None:
    judgement = judged(api, stage_readings=[])
    assert judgement["verdict"] == "undetermined"
    assert [reason["code"] for reason in judgement["verdict_reasons"]] == ["no_readings"]
    assert judgement["hypotheses"]


def test_repeat_readings_and_a_cumulative_pass_are_accepted(api: Api) -> None:
    steps = [
        {"stage": stage, "energised": list(range(1, stage + 1)), "supply_voltage_v": 13.8, "current_a": 35.5 * stage}
        for stage in range(2, 5)
    ]
    judgement = judged(api, stage_readings=single_pass() + single_pass(36.4) + steps)
    assert [stage["stage"] for stage in judgement["stages"]] == [1, 2, 3, 4]


@pytest.mark.parametrize("rule", ["guarded", "simple", "max_false_accept"])
def test_each_decision_rule_is_taken_and_named(api: Api, rule: str) -> None:
    probability = {"max_false_accept_probability": 0.02} if rule == "max_false_accept" else {}
    assert judged(api, decision_rule=rule, **probability)["decision_rule"] == rule


def test_null_stands_for_every_optional_field_that_is_absent(api: Api) -> None:
    optional = ["rest", "extra_readings", "stages_not_read", "decision_rule", "engine_state", "cables", "installation"]
    plain = without(assessment_document(), "engine_state")
    nulls = plain | dict.fromkeys(optional)
    nulls["stage_readings"] = [
        {**reading, "seconds_on": None, "outputs_live": None, "lamps_lit": None} for reading in single_pass()
    ]
    assert api.post("assessments/", nulls).json() == api.post("assessments/", plain).json()


def test_extra_readings_with_nothing_energised_or_over_range_are_accepted(api: Api) -> None:
    extra = [
        EXTRA_READING,
        EXTRA_READING,
        {"kind": "coil_resistance", "stage": 2, "value": None, "over_range": True, "energised": []},
        {"kind": "battery_voltage", "value": 12.61, "energised": []},
        {"kind": "quiescent_current", "stage": None, "value": -0.01},
        {"kind": "insulation_resistance", "stage": 1, "value": 5e8, "over_range": False},
    ]
    assert judged(api, extra_readings=extra)["verdict"] == "pass"


def test_whole_numbers_stand_for_measured_ones_and_the_other_way_round(api: Api) -> None:
    document = json.dumps(assessment_document()).replace('"stage": 1,', '"stage": 1.0,').replace("14.0", "14")
    assert api.post("assessments/", document.encode()).json() == judged(api)
