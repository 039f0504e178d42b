"""Findings beside the amps."""

from typing import Any

import pytest

from calc.evidence import RelayBox, RestReading, StageReading
from calc.judge import judge
from calc.judgement import Finding
from tests.calc.builders import cumulative_pass, evidence, rating, read_alone


def found(code: str, **changes: Any) -> list[Finding]:
    return [finding for finding in judge(evidence(**changes)).findings if finding.code == code]


def test_an_input_that_switches_another_output_is_a_defect_of_its_stage() -> None:
    readings = (read_alone(1, 36.3, outputs_live=(1,)), read_alone(2, 36.3, outputs_live=(3,)))
    (finding,) = found("output_mismatch", stage_readings=readings)
    assert (finding.severity, finding.stage) == ("defect", 2)
    assert finding.params == {"energised": "2", "expected": "2", "seen": "3"}


def test_no_live_output_is_a_mismatch_and_not_looking_is_none() -> None:
    assert len(found("output_mismatch", stage_readings=(read_alone(1, 36.3, outputs_live=()),))) == 1
    assert found("output_mismatch", stage_readings=(read_alone(1, 36.3),)) == []


def test_the_boxs_own_mapping_says_which_outputs_belong_to_an_input() -> None:
    box = RelayBox(outputs_by_input=((2,), (1,), (3, 4), (4,)))
    crossed = (read_alone(1, 36.3, outputs_live=(2,)), read_alone(3, 36.3, outputs_live=(4, 3)))
    assert found("output_mismatch", stage_readings=crossed, relay_box=box) == []
    straight = (read_alone(1, 36.3, outputs_live=(1,)),)
    assert len(found("output_mismatch", stage_readings=straight, relay_box=box)) == 1


def test_repeats_of_one_mismatch_are_said_once() -> None:
    assert len(found("output_mismatch", stage_readings=(read_alone(1, 36.3, outputs_live=(2,)),) * 3)) == 1


@pytest.mark.parametrize(
    ("lamps", "lit", "mismatches"),
    [(4, (2,), 0), (4, (1,), 1), (4, (), 1), (1, (1,), 0), (1, (), 1), (2, (), 0), (None, (), 0)],
)
def test_lamps_are_judged_where_it_is_known_what_they_show(
    lamps: int | None, lit: tuple[int, ...], mismatches: int
) -> None:
    readings = (read_alone(2, 36.3, lamps_lit=lit),)
    findings = found("lamp_mismatch", stage_readings=readings, relay_box=RelayBox(lamps=lamps))
    assert [finding.severity for finding in findings] == ["defect"] * mismatches


def test_a_stage_over_130_percent_is_a_defect() -> None:
    assert found("over_current", stage_readings=(read_alone(1, 1.30 * 35.5),)) == []
    (finding,) = found("over_current", stage_readings=(read_alone(1, 1.301 * 35.5),))
    assert (finding.severity, finding.stage) == ("defect", 1)


def test_a_cumulative_pass_tests_the_shared_ground() -> None:
    assert len(found("shared_ground_not_tested")) == 1
    readings = (read_alone(1, 36.3), StageReading(2, (1, 2), 13.8, 71.0))
    assert found("shared_ground_not_tested", stage_readings=readings) == []


def test_a_unit_of_one_stage_shares_its_ground_with_no_other() -> None:
    readings = (read_alone(1, 36.3),)
    assert found("shared_ground_not_tested", stage_readings=readings, rating=rating(rated_currents_a=(35.5,))) == []


def test_an_engine_that_stands_leaves_the_supply_untested() -> None:
    assert len(found("supply_not_tested", engine_state="off")) == 1
    assert found("supply_not_tested", engine_state="idle") == []


@pytest.mark.parametrize(
    "changes",
    [
        {"coil_temperature_c": None, "coil_temperature_bound_c": None, "coil_temperature_method": "unknown"},
        {"coil_temperature_c": None, "coil_temperature_bound_c": None},
        {"coil_temperature_method": "unknown"},
    ],
)
def test_an_unknown_coil_temperature_stands_as_50_within_30_degrees(changes: dict[str, Any]) -> None:
    (finding,) = found("coil_temperature_assumed", **changes)
    assert finding.severity == "note"
    assert finding.params == {"coil_temperature_c": 50.0, "coil_temperature_bound_c": 30.0}
    judged = judge(evidence(**changes)).stages[0]
    assert judged.normalised_current_a == pytest.approx(36.3 * 284.5 / 254.5)


@pytest.mark.parametrize(
    ("method", "usual_c"), [("measured", 5.0), ("parked", 3.0), ("cold_resistance", 5.0), ("cooling_model", 15.0)]
)
def test_a_bound_below_the_methods_usual_one_is_taken_as_stated_and_noted(method: str, usual_c: float) -> None:
    code = "temperature_bound_below_usual"
    assert found(code, coil_temperature_method=method, coil_temperature_bound_c=usual_c) == []
    (finding,) = found(code, coil_temperature_method=method, coil_temperature_bound_c=usual_c - 0.5)
    assert (finding.severity, finding.params["usual_bound_c"]) == ("note", usual_c)
    tighter = judge(evidence(coil_temperature_method=method, coil_temperature_bound_c=usual_c - 0.5)).stages[0]
    stated = {line.source: line.u_a for line in tighter.budget}["coil_temperature"]
    assert stated == pytest.approx(36.3 * (usual_c - 0.5) / 3**0.5 / 254.5)


def test_a_temperature_without_a_bound_takes_the_usual_bound_and_says_so() -> None:
    (finding,) = found("coil_temperature_assumed", coil_temperature_method="parked", coil_temperature_bound_c=None)
    assert finding.params == {"coil_temperature_c": 20.0, "coil_temperature_bound_c": 3.0}


def test_an_assumed_tolerance_is_said_to_be_assumed() -> None:
    assert found("tolerance_assumed") == []
    (finding,) = found("tolerance_assumed", rating=rating(tolerance_assumed=True))
    assert (finding.severity, finding.params) == ("note", {"tolerance_percent": 10.0})


def test_findings_come_defects_first() -> None:
    readings = (*cumulative_pass((36.3, 72.0), (14.0, 13.8)), read_alone(3, 50.0))
    judgement = judge(evidence(readings, rest=RestReading(14.2, -8.0)))
    assert [finding.severity for finding in judgement.findings] == ["defect", "caution"]
