"""One visit judged end to end, against figures agreed for the service and against common practice."""

from collections import Counter
from typing import Any

import pytest

from calc.evidence import Meter, Rating, RelayBox, RestReading, StageReading
from calc.judge import judge, judge_batch
from calc.judgement import Judgement
from tests.calc.builders import cumulative_pass, evidence, rating, read_alone, single_pass


def codes(judgement: Judgement) -> list[str]:
    return [finding.code for finding in judgement.findings]


def verdicts(judgement: Judgement) -> list[str]:
    return [judged.verdict for judged in judgement.stages]


def test_the_documented_sample_is_answered_to_the_digits_shown() -> None:
    unit = Rating((35.0,) * 4, 12.0, 20.0, 10.0, 10.0, 12.0, 2, 2)
    reading = StageReading(1, (1,), 13.76, 40.1, seconds_on=8, outputs_live=(1,), lamps_lit=(1,))
    judgement = judge(evidence((reading,), rating=unit, coil_temperature_bound_c=5.0, rest=RestReading(14.0, 0.0)))
    (judged,) = judgement.stages
    assert (judgement.verdict, judgement.verdict_reasons, judged.stage, judged.verdict) == ("pass", (), 1, "pass")
    assert round(judged.normalised_current_a or 0, 2) == 34.97
    assert round(judged.expanded_uncertainty_a or 0, 2) == 1.55
    assert judged.coverage_factor == 2.0
    assert [judged.lower_limit_a, judged.upper_limit_a] == pytest.approx([31.5, 38.5])
    assert round(judged.conformance_probability or 0, 3) == 1.0
    assert round(judged.capability or 0, 2) == 2.25
    assert [(line.source, round(line.variance_share, 2)) for line in judged.budget] == [
        ("ammeter", 0.71),
        ("coil_temperature", 0.26),
        ("voltmeter", 0.03),
    ]
    assert (judgement.imbalance_percent, judgement.torque_share_percent) == (None, None)
    assert codes(judgement) == ["shared_ground_not_tested"]
    assert judgement.hypotheses[0].cause == "healthy"


# Common practice, no source: four stages rated 35.5 A at 14.0 V and 20 °C.
@pytest.mark.parametrize("rule", ["guarded", "simple"])
def test_four_healthy_stages_pass(rule: str) -> None:
    judgement = judge(evidence(single_pass((36.3,) * 4), decision_rule=rule))
    assert (judgement.verdict, verdicts(judgement)) == ("pass", ["pass"] * 4)
    assert judgement.imbalance_percent == pytest.approx(0.0, abs=1e-12)


# Common practice, no source.
@pytest.mark.parametrize("rule", ["guarded", "simple"])
def test_27_amps_where_35_5_are_rated_fail(rule: str) -> None:
    judgement = judge(evidence(single_pass((27.0,) * 4), decision_rule=rule))
    assert (judgement.verdict, verdicts(judgement)) == ("fail", ["fail"] * 4)
    assert [(reason.code, reason.stage) for reason in judgement.verdict_reasons] == [
        ("outside_limits", stage) for stage in (1, 2, 3, 4)
    ]


# Common practice, no source.
def test_a_coil_of_ill_known_temperature_is_inside_but_not_certain() -> None:
    readings = single_pass((33.0,) * 4)
    warm = evidence(readings, coil_temperature_c=60.0, coil_temperature_bound_c=25.0)
    judgement = judge(warm)
    assert verdicts(judgement) == ["conditional_pass"] * 4
    assert round(judgement.stages[0].capability or 0, 2) == 0.87
    incapable = [finding for finding in judgement.findings if finding.code == "not_capable"]
    assert [finding.stage for finding in incapable] == [1, 2, 3, 4]
    assert {finding.severity for finding in incapable} == {"caution"}
    assert {finding.params["dominant_source"] for finding in incapable} == {"coil_temperature"}


def test_simple_acceptance_passes_the_same_readings_and_still_notes_the_meter() -> None:
    readings = single_pass((33.0,) * 4)
    warm = evidence(readings, coil_temperature_c=60.0, coil_temperature_bound_c=25.0, decision_rule="simple")
    judgement = judge(warm)
    assert (judgement.verdict, verdicts(judgement)) == ("pass", ["pass"] * 4)
    assert {finding.severity for finding in judgement.findings if finding.code == "not_capable"} == {"note"}


# Common practice, no source.
def test_without_a_reference_voltage_stages_are_compared_but_neither_pass_nor_fail() -> None:
    judgement = judge(evidence(single_pass((38.4, 37.9, 33.0, 38.1)), rating=rating(reference_voltage_v=None)))
    assert (judgement.verdict, verdicts(judgement)) == ("undetermined", ["undetermined"] * 4)
    assert {reason.code for reason in judgement.verdict_reasons} == {"reference_voltage_unknown"}
    assert judgement.imbalance_percent == pytest.approx(10.447761, rel=1e-6)
    assert (judgement.torque_share_percent, judgement.torque_share_range_percent) == (None, None)
    judged = judgement.stages[0]
    assert (judged.normalised_current_a, judged.lower_limit_a, judged.upper_limit_a) == (None, None, None)
    assert (judged.expanded_uncertainty_a, judged.conformance_probability, judged.capability) == (None, None, None)
    assert (judged.supply_voltage_v, judged.current_a) == (14.0, 38.4)
    assert "reference_voltage_unknown" in codes(judgement)


@pytest.mark.parametrize(
    ("changes", "reading", "reason"),
    [
        ({}, read_alone(2, 0.0, supply_voltage_v=0.0), "no_voltage"),
        ({}, read_alone(2, 0.0, supply_voltage_v=0.02), "no_voltage"),
        ({"ammeter": Meter(2.0, 5, 0.1, range_max=40.0)}, read_alone(2, 40.1), "over_range"),
        ({"voltmeter": Meter(0.5, 2, 0.01, range_max=20.0)}, read_alone(2, 36.3, 20.01), "over_range"),
        ({}, StageReading(2, (1, 3, 2), 13.0, 100.0), "step_without_predecessor"),
        ({"rating": rating(tolerance_lower_percent=None, tolerance_upper_percent=None)}, None, "tolerance_unknown"),
    ],
)
def test_a_stage_that_cannot_be_judged_says_why(
    changes: dict[str, Any], reading: StageReading | None, reason: str
) -> None:
    readings = (read_alone(1, 36.3), reading or read_alone(2, 36.3))
    judged = judge(evidence(readings, **changes)).stages[1]
    assert (judged.verdict, judged.undetermined_reason) == ("undetermined", reason)
    assert judged.normalised_current_a is None
    assert judged.budget == ()


@pytest.mark.parametrize(
    "lame", [read_alone(2, 0.0, supply_voltage_v=0.0), StageReading(2, (1, 2, 3), 13.0, 100.0), read_alone(2, 99.0)]
)
def test_a_stage_without_a_usable_reading_leaves_imbalance_and_torque_share_open(lame: StageReading) -> None:
    given = evidence(
        (read_alone(1, 36.3), lame, read_alone(3, 36.3)),
        rating=rating(rated_currents_a=(35.5,) * 3),
        ammeter=Meter(2.0, 5, 0.1, range_max=98.0 if lame.current_a == 99.0 else None),
    )
    judgement = judge(given, rank="never")
    assert judgement.stages[1].verdict == "undetermined"
    assert (judgement.imbalance_percent, judgement.torque_share_percent) == (None, None)
    without = judge(evidence((read_alone(1, 36.3), read_alone(3, 36.3))), rank="never")
    assert judgement.hypotheses == without.hypotheses


@pytest.mark.parametrize("rated_a", [13.0, 21.0, 26.0, 31.0])
def test_binary_rounding_at_a_limit_does_not_flip_the_class(rated_a: float) -> None:
    limit_a = round(rated_a * 0.9, 1)
    # 90 % of these ratings is binary above the decimal limit that a technician reads.
    assert rated_a * (1 - 10.0 / 100) > limit_a
    unit = rating(rated_currents_a=(rated_a,))
    (judged,) = judge(evidence((read_alone(1, limit_a),), rating=unit, decision_rule="simple")).stages
    assert judged.verdict == "pass"
    (below,) = judge(evidence((read_alone(1, limit_a * (1 - 3e-9)),), rating=unit, decision_rule="simple")).stages
    assert below.verdict == "fail"


def test_the_meter_is_called_incapable_exactly_where_capability_is_below_one() -> None:
    capabilities = []
    for bound_c in range(10, 30):
        judgement = judge(evidence((read_alone(1, 35.5),), coil_temperature_bound_c=float(bound_c)))
        capable = judgement.stages[0].capability or 0.0
        assert ("not_capable" in codes(judgement)) == (capable < 1)
        assert (judgement.verdict == "pass") == (capable >= 1)
        capabilities.append(capable)
    assert sum(0.9 < capable < 1 for capable in capabilities) >= 2


def test_a_reading_at_the_end_of_the_range_is_still_in_range() -> None:
    judged = judge(evidence((read_alone(1, 36.3),), ammeter=Meter(2.0, 5, 0.1, range_max=36.3))).stages[0]
    assert judged.verdict == "pass"


def test_zero_amps_at_full_volts_is_a_fail_and_not_a_missing_answer() -> None:
    judged = judge(evidence((read_alone(1, 0.0),))).stages[0]
    assert (judged.verdict, judged.normalised_current_a) == ("fail", 0.0)


def test_only_the_stages_read_are_answered_in_ascending_order() -> None:
    judgement = judge(evidence((read_alone(3, 36.3), read_alone(1, 36.3))))
    assert [judged.stage for judged in judgement.stages] == [1, 3]
    assert (judgement.imbalance_percent, judgement.torque_share_percent) == (None, None)
    assert judgement.verdict == "pass"


def test_one_sided_limits_leave_the_other_limit_and_the_capability_open() -> None:
    judged = judge(evidence((read_alone(1, 60.0),), rating=rating(tolerance_upper_percent=None))).stages[0]
    assert (judged.verdict, judged.upper_limit_a, judged.capability) == ("pass", None, None)
    assert judged.lower_limit_a == pytest.approx(31.95)


def test_unequal_stages_are_compared_by_their_rated_share() -> None:
    unit = rating(rated_currents_a=(20.0, 40.0))
    judgement = judge(evidence(single_pass((19.0, 38.0)), rating=unit))
    assert judgement.imbalance_percent == pytest.approx(0.0, abs=1e-9)


def test_torque_share_takes_the_square_of_the_current_at_the_lowest_volts_read() -> None:
    judgement = judge(
        evidence(
            cumulative_pass((35.5, 35.5 * 2 * 12.6 / 14), (14.0, 12.6)), rating=rating(rated_currents_a=(35.5, 35.5))
        )
    )
    assert judgement.torque_share_percent == pytest.approx(81.0)
    share = judgement.torque_share_range_percent
    assert share is not None
    assert list(share.cold) == pytest.approx([81.0, 90.0])
    # Copper at 150 °C carries 254.5/384.5 of its current at 20 °C.
    assert list(share.at_150_c) == pytest.approx([81.0 * (254.5 / 384.5) ** 2, 90.0 * 254.5 / 384.5])


def test_an_electronic_drive_is_not_normalised() -> None:
    judgement = judge(evidence(relay_box=RelayBox(drive="electronic")))
    assert verdicts(judgement) == ["undetermined"] * 4
    assert {judged.undetermined_reason for judged in judgement.stages} == {"electronic_drive"}
    assert judgement.imbalance_percent is None


def test_a_batch_answers_in_the_order_given() -> None:
    mixed = [evidence((read_alone(stage, 36.3),)) for stage in (4, 2, 1)] + [evidence(())]
    assert [[judged.stage for judged in judgement.stages] for judgement in judge_batch(mixed)] == [[4], [2], [1], []]
    assert judge_batch([]) == []


def test_readings_in_any_order_give_the_same_judgement() -> None:
    readings = (*single_pass((36.3, 35.0)), *cumulative_pass((36.0, 70.0, 103.0), (13.9, 13.6, 13.3)))
    one, other = judge(evidence(readings)), judge(evidence(readings[::-1]))
    assert one.stages == other.stages
    assert Counter(codes(one)) == Counter(codes(other))
