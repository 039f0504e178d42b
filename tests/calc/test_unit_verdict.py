"""The unit's verdict is the worst of what was judged."""

from typing import Any

import pytest

from calc.evidence import RelayBox, RestReading
from calc.judge import judge
from tests.calc.builders import evidence, read_alone, single_pass


@pytest.mark.parametrize(
    ("currents_a", "expected"),
    [
        ((36.3, 36.3, 36.3), "pass"),
        ((36.3, 33.0, 36.3), "conditional_pass"),
        ((36.3, 33.0, 31.5), "conditional_fail"),
        ((27.0, 33.0, 31.5), "fail"),
    ],
)
def test_the_unit_is_as_bad_as_its_worst_stage(currents_a: tuple[float, ...], expected: str) -> None:
    assert judge(evidence(single_pass(currents_a))).verdict == expected


@pytest.mark.parametrize(
    ("current_a", "expected"), [(33.0, "undetermined"), (31.5, "conditional_fail"), (27.0, "fail")]
)
def test_an_undetermined_stage_ranks_between_inside_and_outside_not_certain(current_a: float, expected: str) -> None:
    readings = (read_alone(1, current_a), read_alone(2, 0.0, supply_voltage_v=0.0))
    assert judge(evidence(readings)).verdict == expected


def test_a_stage_named_as_not_read_leaves_the_unit_undetermined() -> None:
    judgement = judge(evidence(single_pass((36.3,) * 3), stages_not_read=(4,)))
    assert judgement.verdict == "undetermined"
    assert [(reason.code, reason.stage) for reason in judgement.verdict_reasons] == [("stage_not_read", 4)]
    assert "stages_not_read" in [finding.code for finding in judgement.findings]


def test_a_stage_that_was_required_and_is_missing_leaves_the_unit_undetermined() -> None:
    judgement = judge(evidence((read_alone(1, 36.3),), required_stages=(1, 2)))
    assert judgement.verdict == "undetermined"
    assert [(reason.code, reason.stage) for reason in judgement.verdict_reasons] == [("stage_not_read", 2)]


def test_no_readings_at_all_is_no_verdict() -> None:
    judgement = judge(evidence(()))
    assert judgement.verdict == "undetermined"
    assert [reason.code for reason in judgement.verdict_reasons] == ["no_readings"]


def test_a_defect_fails_the_unit_however_good_the_amps_are() -> None:
    readings = (read_alone(1, 36.3, outputs_live=(2,)), *single_pass((36.3,) * 4)[1:])
    judgement = judge(evidence(readings))
    assert [judged.verdict for judged in judgement.stages] == ["pass"] * 4
    assert judgement.verdict == "fail"
    assert [(reason.code, reason.stage) for reason in judgement.verdict_reasons] == [("output_mismatch", 1)]


@pytest.mark.parametrize(
    "changes",
    [
        {"engine_state": "off"},
        {"rest": None},
        {"coil_temperature_method": "parked", "coil_temperature_bound_c": 2.0},
        {"rest": RestReading(14.2, 1.0)},
        {"relay_box": RelayBox(lamps=4)},
    ],
)
def test_what_was_not_checked_or_is_only_noted_does_not_lower_the_verdict(changes: dict[str, Any]) -> None:
    judgement = judge(evidence(**changes))
    assert (judgement.verdict, judgement.verdict_reasons) == ("pass", ())


def test_reasons_come_worst_first() -> None:
    readings = (*single_pass((33.0, 31.5, 27.0)), read_alone(4, 0.0, supply_voltage_v=0.0))
    codes = [reason.code for reason in judge(evidence(readings)).verdict_reasons]
    assert codes == ["outside_limits", "outside_not_certain", "no_voltage", "inside_not_certain"]
