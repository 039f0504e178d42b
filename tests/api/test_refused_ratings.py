"""Ratings, meters and cables given inline, refused at their place."""

import pytest

from tests.api.documents import RATING, assessment_document, with_literal, without
from tests.api.problems import fault_at
from tests.builders import Workshop
from tests.conftest import Api

CABLES = {"supply": {"size": "70 mm2", "length_m": 4}, "stage": None}
CASES = [
    ("#/rating/stages", "0", "range", ["0", "1 to 8"]),
    ("#/rating/stages", "9", "range", ["9", "1 to 8"]),
    ("#/rating/stages", '"4"', "invalid", ["'4'"]),
    ("#/rating/rated_current_a", "0", "range", ["0", "0.001 to 1000000"]),
    ("#/rating/rated_current_a", "0.00099", "range", ["0.00099", "0.001 to 1000000"]),
    ("#/rating/rated_current_a", "-35.5", "range", ["-35.5"]),
    ("#/rating/rated_current_a", '"35.5"', "invalid", ["'35.5'"]),
    ("#/rating/rated_current_a", "null", "required", ["rated_currents_a"]),
    ("#/rating/rated_currents_a", "[35.5, 35.5, 35.5]", "length", ["3 figures", "4 stages"]),
    ("#/rating/rated_currents_a", "[1, 1, 1, 1, 1]", "length", ["5 figures", "4 stages"]),
    ("#/rating/rated_currents_a", "[]", "min_length", ["1"]),
    ("#/rating/reference_voltage_v", "0", "range", ["above 0"]),
    ("#/rating/reference_voltage_v", '"12 V"', "invalid", ["'12 V'"]),
    ("#/rating/reference_temperature_c", "301", "range", ["-60 to 300"]),
    ("#/rating/tolerance_percent", "0", "range", ["above 0 to 100"]),
    ("#/rating/tolerance_percent", "101", "range", ["above 0 to 100"]),
    ("#/rating/system_voltage_v", "5", "range", ["6 to 48"]),
    ("#/rating/coils_in_series", "0", "range", ["1 to 64"]),
    ("#/rating/coils_in_parallel", "1.5", "invalid", ["1.5", "whole"]),
    ("#/rating", '"a plate"', "invalid", ["str"]),
    ("#/ammeter", '"not an id"', "invalid", ["'not an id'", "UUID"]),
    ("#/ammeter", "5", "invalid", ["5", "UUID"]),
    ("#/ammeter", "null", "null", ["null"]),
    ("#/ammeter/accuracy_percent", "-1", "range", ["-1", "0 to 100"]),
    ("#/ammeter/accuracy_counts", '"5"', "invalid", ["'5'"]),
    ("#/ammeter/resolution", "0", "range", ["above 0"]),
    ("#/voltmeter/range_max", "0", "range", ["above 0"]),
    ("#/voltmeter/accuracy_percent", "null", "null", ["null"]),
    ("#/cables/supply/length_m", "0", "range", ["above 0 to 200"]),
    ("#/cables/supply/size", "70", "invalid", ["70", "text"]),
    ("#/cables/stage", '"thin"', "invalid", ["str"]),
]


@pytest.mark.parametrize(
    ("pointer", "literal", "code", "said"), CASES, ids=[f"{case[0]} = {case[1]}" for case in CASES]
)
def test_a_figure_is_refused_at_its_place(api: Api, pointer: str, literal: str, code: str, said: list[str]) -> None:
    fault = fault_at(
        api.post("assessments/", with_literal(assessment_document(cables=CABLES), pointer, literal)), pointer
    )
    assert fault["code"] == code
    for words in said:
        assert words in fault["detail"]


def test_both_a_rating_and_an_installation_are_refused(api: Api, workshop: Workshop) -> None:
    document = assessment_document(installation=str(workshop.installation.uuid))
    assert "either" in fault_at(api.post("assessments/", document), "#/rating")["detail"]


@pytest.mark.parametrize("absent", [{}, {"rating": None}, {"rating": None, "installation": None}])
def test_neither_a_rating_nor_an_installation_is_refused(api: Api, absent: dict[str, None]) -> None:
    document = without(assessment_document(), "rating") | absent
    assert "either" in fault_at(api.post("assessments/", document), "#/rating")["detail"]


def test_a_rating_of_one_stage_has_no_second(api: Api) -> None:
    answer = api.post("assessments/", assessment_document(rating={**RATING, "stages": 1}))
    for index in (1, 2, 3):
        assert "1 to 1" in fault_at(answer, f"#/stage_readings/{index}/stage")["detail"]
