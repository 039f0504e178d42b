"""The screen that weighs the healthy circuit against anything else."""

from typing import Any

import pytest

from calc.evidence import RestReading
from calc.judge import judge
from calc.judgement import Hypothesis
from tests.calc.builders import evidence, rating, read_alone, single_pass


def ranked(**changes: Any) -> tuple[Hypothesis, ...]:
    return judge(evidence(**changes), rank="never").hypotheses


@pytest.mark.parametrize("currents_a", [(36.3,) * 4, (35.0, 36.0, 34.9, 35.5), (36.3,)])
def test_healthy_leads_where_the_amps_are_right(currents_a: tuple[float, ...]) -> None:
    first, second = ranked(stage_readings=single_pass(currents_a))
    assert (first.cause, second.cause) == ("healthy", "none_of_these")
    assert (first.group, second.group, first.stage, second.stage) == (1, 2, None, None)
    assert first.probability > 0.98


@pytest.mark.parametrize("currents_a", [(36.3, 36.3, 27.0, 36.3), (0.0,), (60.0,), (100.0,), (1e6,)])
def test_something_else_leads_where_a_stage_is_far_off(currents_a: tuple[float, ...]) -> None:
    assert ranked(stage_readings=single_pass(currents_a))[0].cause == "none_of_these"


def test_the_prior_stands_where_nothing_can_be_weighed() -> None:
    assert ranked(stage_readings=())[0].probability == pytest.approx(0.9)
    dead = ranked(stage_readings=(read_alone(1, 0.0, supply_voltage_v=0.0),))
    assert dead[0].probability == pytest.approx(0.9)


def test_a_reading_that_says_nothing_leaves_the_prior_nearly_as_it_was() -> None:
    vague = ranked(stage_readings=(read_alone(1, 36.3),), coil_temperature_bound_c=1e6)
    assert vague[0].cause == "healthy"
    assert vague[0].probability == pytest.approx(0.9, abs=0.01)


def test_a_defect_rules_the_healthy_circuit_out() -> None:
    first, second = ranked(rest=RestReading(13.0, 35.0))
    assert (first.cause, first.probability, second.probability) == ("none_of_these", 1.0, 0.0)


def test_without_a_reference_voltage_the_stages_are_weighed_against_their_mean() -> None:
    unknown = rating(reference_voltage_v=None)
    assert ranked(rating=unknown, stage_readings=single_pass((50.0,) * 4))[0].cause == "healthy"
    assert ranked(rating=unknown, stage_readings=single_pass((50.0, 50.0, 25.0, 50.0)))[0].cause == "none_of_these"
    assert ranked(rating=unknown, stage_readings=single_pass((0.0,) * 4))[0].cause == "none_of_these"
    assert ranked(rating=unknown, stage_readings=single_pass((50.0,)))[0].probability == pytest.approx(0.9)
