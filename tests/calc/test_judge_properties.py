"""What holds for every reading."""

from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from math import isfinite

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from calc.conformity import CONDITIONAL_FAIL, FAIL, PASS, VERDICTS, classify
from calc.evidence import Evidence, RestReading
from calc.judge import judge, judge_batch
from tests.calc.builders import evidence, read_alone, single_pass
from tests.calc.strategies import evidences

quick = settings(deadline=None)
slow = settings(
    max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


def numbers_in(answer: object) -> Iterator[float]:
    if isinstance(answer, float):
        yield answer
    elif isinstance(answer, tuple):
        for part in answer:
            yield from numbers_in(part)
    elif isinstance(answer, dict):
        yield from numbers_in(tuple(answer.values()))
    elif is_dataclass(answer):
        yield from numbers_in(tuple(getattr(answer, field.name) for field in fields(answer)))


@slow
@given(evidences())
def test_no_finite_reading_is_refused_and_every_number_answered_is_finite(visit: Evidence) -> None:
    judgement = judge(visit)
    assert all(isfinite(number) for number in numbers_in(judgement))
    assert sum(cause.probability for cause in judgement.hypotheses) == pytest.approx(1.0)
    assert (judgement.verdict == "pass") == (judgement.verdict_reasons == ())
    for judged in judgement.stages:
        assert judged.verdict in VERDICTS
        assert (judged.verdict == "undetermined") == (judged.normalised_current_a is None)
        assert judged.budget == () or sum(line.variance_share for line in judged.budget) == pytest.approx(1.0)
        assert judged.conformance_probability is None or 0 <= judged.conformance_probability <= 1


@slow
@given(st.lists(evidences(), max_size=5))
def test_a_batch_judges_as_one_by_one(visits: list[Evidence]) -> None:
    assert judge_batch(visits, rank="never") == [judge(visit, rank="never") for visit in visits]


@quick
@given(
    value=st.floats(0, 100),
    lower=st.one_of(st.just(-np.inf), st.floats(20, 40)),
    width=st.one_of(st.just(np.inf), st.floats(0, 30)),
    guard=st.floats(0, 30),
)
def test_every_value_has_exactly_one_class_and_it_is_the_defined_one(
    value: float, lower: float, width: float, guard: float
) -> None:
    upper = 20 + width if lower == -np.inf else lower + width
    slack = 1e-9 * 30
    inside = lower - slack <= value <= upper + slack
    surely_inside = lower + guard - slack <= value <= upper - guard + slack
    within_guard = lower - guard - slack <= value <= upper + guard + slack
    definitions = {
        "pass": surely_inside,
        "conditional_pass": inside and not surely_inside,
        "conditional_fail": within_guard and not inside,
        "fail": not within_guard,
    }
    (expected,) = [name for name, holds in definitions.items() if holds]
    (code,) = classify(*(np.array([number]) for number in (value, lower, upper, guard, slack)))
    near_a_border = any(
        abs(value - border) < 1e-7 for limit in (lower, upper) for border in (limit, limit + guard, limit - guard)
    )
    assert near_a_border or VERDICTS[int(code)] == expected


@quick
@given(value=st.floats(0, 100), guard=st.floats(0, 30), more=st.floats(0, 30))
def test_more_uncertainty_never_passes_what_was_outside(value: float, guard: float, more: float) -> None:
    limits = np.array([30.0, 30.0]), np.array([40.0, 40.0])
    before, after = classify(np.array([value, value]), *limits, np.array([guard, guard + more]), np.zeros(2))
    assert not (before in (CONDITIONAL_FAIL, FAIL) and after < CONDITIONAL_FAIL)
    assert not (after == PASS and before != PASS)


@quick
@given(
    supply_voltage_v=st.floats(10, 32),
    coil_temperature_c=st.floats(-30, 180),
    reference_temperature_c=st.floats(0, 40),
    level=st.floats(0.2, 1.2),
)
def test_a_stage_keeps_its_normalised_current_whatever_volts_and_temperature_it_is_read_at(
    supply_voltage_v: float, coil_temperature_c: float, reference_temperature_c: float, level: float
) -> None:
    base = evidence()
    unit = replace(base.rating, reference_temperature_c=reference_temperature_c)
    resistance_ohm = 14.0 / (level * 35.5) * (234.5 + coil_temperature_c) / (234.5 + reference_temperature_c)
    reading = read_alone(1, supply_voltage_v / resistance_ohm, supply_voltage_v)
    visit = replace(base, rating=unit, coil_temperature_c=coil_temperature_c, stage_readings=(reading,), rest=None)
    (judged,) = judge(visit).stages
    assert judged.normalised_current_a == pytest.approx(level * 35.5, rel=1e-9)


@quick
@given(share_of_rated=st.floats(0.16, 1.5), rest_voltage_v=st.floats(10, 32), current_a=st.floats(0, 200))
def test_a_welded_contact_is_never_subtracted(share_of_rated: float, rest_voltage_v: float, current_a: float) -> None:
    rest = RestReading(rest_voltage_v, 35.5 * share_of_rated)
    judgement = judge(evidence((read_alone(1, current_a, 14.0),), rest=rest))
    assert judgement.stages[0].normalised_current_a == pytest.approx(current_a)
    assert judgement.verdict == "fail"
    assert "rest_current" in [reason.code for reason in judgement.verdict_reasons]


@quick
@given(bound_c=st.floats(0, 60), more_c=st.floats(0, 60), current_a=st.floats(20, 50))
def test_a_less_certain_temperature_never_narrows_the_result(bound_c: float, more_c: float, current_a: float) -> None:
    def expanded(bound: float) -> float:
        (judged,) = judge(evidence(single_pass((current_a,)), coil_temperature_bound_c=bound)).stages
        return judged.expanded_uncertainty_a or 0.0

    assert expanded(bound_c + more_c) >= expanded(bound_c)


@quick
@given(st.lists(st.floats(30, 40), min_size=1, max_size=8))
def test_repeats_never_shrink_the_uncertainty_below_the_meters(currents_a: list[float]) -> None:
    mean_a = sum(currents_a) / len(currents_a)
    repeated = judge(evidence(tuple(read_alone(1, current_a) for current_a in currents_a))).stages[0]
    once = judge(evidence((read_alone(1, mean_a),))).stages[0]
    assert repeated.normalised_current_a == pytest.approx(once.normalised_current_a)
    assert (repeated.expanded_uncertainty_a or 0) >= (once.expanded_uncertainty_a or 0) * (1 - 1e-12)
