"""Steps of a cumulative pass: which reading judges a stage, and what the step says."""

import pytest

from calc.evidence import RestReading, StageReading
from calc.judge import judge
from tests.calc.builders import cumulative_pass, evidence, read_alone, single_pass

VOLTS = (13.9, 13.6, 13.3, 13.0)


def healthy_totals_a() -> tuple[float, ...]:
    return tuple(number * 35.5 * volts / 14.0 for number, volts in enumerate(VOLTS, start=1))


def test_a_sagging_box_does_not_make_later_stages_look_weak() -> None:
    judgement = judge(evidence(cumulative_pass(healthy_totals_a(), VOLTS)))
    assert [judged.normalised_current_a for judged in judgement.stages] == pytest.approx([35.5] * 4)
    # Differences of amps would show stage 4 at 31.4 A: electrical circuits add conductance, not current.
    totals = healthy_totals_a()
    assert totals[3] - totals[2] < 32.0


def test_a_weak_stage_shows_in_its_own_step_only() -> None:
    conductances = (35.5, 35.5, 20.0, 35.5)
    totals = tuple(sum(conductances[: k + 1]) * volts / 14.0 for k, volts in enumerate(VOLTS))
    judgement = judge(evidence(cumulative_pass(totals, VOLTS)))
    assert [judged.normalised_current_a for judged in judgement.stages] == pytest.approx(list(conductances))
    assert [judged.verdict for judged in judgement.stages] == ["pass", "pass", "fail", "pass"]


def test_a_stage_read_alone_is_judged_by_that_reading() -> None:
    alone = judge(evidence(single_pass((36.3, 35.0)))).stages
    readings = (*single_pass((36.3, 35.0)), StageReading(2, (1, 2), 13.0, 120.0))
    assert judge(evidence(readings)).stages == alone


def test_the_rest_current_cancels_in_a_step() -> None:
    offset = tuple(total + 0.4 for total in healthy_totals_a())
    judgement = judge(evidence(cumulative_pass(offset, VOLTS), rest=RestReading(14.2, 0.4)))
    assert [judged.normalised_current_a for judged in judgement.stages] == pytest.approx([35.5] * 4)


def test_any_order_of_adding_stages_is_a_step() -> None:
    readings = (
        StageReading(3, (3,), 13.9, 35.5 * 13.9 / 14),
        StageReading(1, (3, 1), 13.6, 2 * 35.5 * 13.6 / 14),
        StageReading(2, (1, 2, 3), 13.3, 3 * 35.5 * 13.3 / 14),
    )
    judged = judge(evidence(readings)).stages
    assert [(one.stage, one.verdict) for one in judged] == [(1, "pass"), (2, "pass"), (3, "pass")]


def test_the_shorter_of_two_steps_judges() -> None:
    short = StageReading(2, (1, 2), 13.6, 2 * 35.5 * 13.6 / 14)
    long = (StageReading(3, (1, 3), 13.6, 2 * 35.5 * 13.6 / 14), StageReading(2, (1, 2, 3), 13.3, 120.0))
    judged = judge(evidence((read_alone(1, 35.5), short, *long))).stages[1]
    assert judged.normalised_current_a == pytest.approx(35.5)


def test_a_step_with_a_predecessor_is_preferred_to_a_shorter_one_without() -> None:
    orphan = StageReading(2, (2, 4), 13.6, 90.0)
    steps = cumulative_pass(healthy_totals_a()[:1], VOLTS[:1])
    longer = (
        StageReading(3, (1, 3), 13.6, 2 * 35.5 * 13.6 / 14),
        StageReading(2, (1, 2, 3), 13.3, 3 * 35.5 * 13.3 / 14),
    )
    judged = judge(evidence((orphan, *steps, *longer))).stages[1]
    assert judged.normalised_current_a == pytest.approx(35.5)


def test_a_predecessor_read_at_no_volts_leaves_the_step_without_a_verdict() -> None:
    readings = (read_alone(1, 0.0, supply_voltage_v=0.0), StageReading(2, (1, 2), 13.6, 70.0))
    assert judge(evidence(readings)).stages[1].undetermined_reason == "no_voltage"


def test_the_clamps_percent_acts_on_the_difference_of_a_step() -> None:
    step = judge(evidence(cumulative_pass(healthy_totals_a(), VOLTS))).stages[3]
    amps = {line.source: line.u_a for line in step.budget}["ammeter"]
    percent = 0.02 * 35.5 / 3**0.5
    counts = [0.5 / 3**0.5 * 14.0 / volts for volts in VOLTS[2:]]
    assert amps == pytest.approx((percent**2 + counts[0] ** 2 + counts[1] ** 2) ** 0.5)


def test_repeats_of_a_step_and_of_its_predecessor_are_averaged() -> None:
    totals = healthy_totals_a()
    repeats = [
        *(StageReading(1, (1,), 13.9, totals[0] + change) for change in (-0.2, 0.2)),
        *(StageReading(2, (1, 2), 13.6, totals[1] + change) for change in (-0.3, 0.0, 0.3)),
    ]
    judged = judge(evidence(tuple(repeats))).stages[1]
    assert judged.normalised_current_a == pytest.approx(35.5)
    scatter = {line.source: line.u_a for line in judged.budget}["repeatability"]
    before, own = 0.2828427 / 2**0.5 * 14 / 13.9, 0.3 / 3**0.5 * 14 / 13.6
    assert scatter == pytest.approx((before**2 + own**2) ** 0.5, rel=1e-6)
    assert (judged.coverage_factor or 0) > 2.0
