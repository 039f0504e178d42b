"""A batch answers verdicts as columns, and the full judgement of any one visit as if it had been judged alone."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calc.batch import judged_together
from calc.evidence import Evidence, RelayBox, StageReading
from calc.evidence_apart import ApartEvidence, Limits
from calc.judge import judge
from tests.calc.builders import evidence, read_alone, single_pass
from tests.calc.strategies import evidences
from tests.calc.test_golden import evidences as golden_evidences

SIX_VOLT_SAG = single_pass((36.3,) * 4, 8.0)


def test_the_verdicts_of_the_golden_visits_are_those_of_their_answers() -> None:
    batch = judged_together(golden_evidences())
    answers = [batch.answer(visit) for visit in range(len(batch.evidences))]
    assert batch.verdicts == [answer.verdict for answer in answers]
    assert len(set(batch.verdicts)) == 5


@pytest.mark.parametrize(
    ("visit", "verdict"),
    [
        (evidence(), "pass"),
        (evidence(()), "undetermined"),
        (evidence((read_alone(1, 36.3),), required_stages=(1, 2)), "undetermined"),
        (evidence((read_alone(1, 36.3),), required_stages=(1,)), "pass"),
        (evidence(stages_not_read=(4,)), "undetermined"),
        (evidence(calibration_required=True, calibration_faults=(("ammeter", "lapsed"),)), "undetermined"),
        (evidence(calibration_faults=(("ammeter", "lapsed"),)), "pass"),
        (evidence((read_alone(1, 36.3, outputs_live=(2,)),)), "fail"),
        (evidence((read_alone(1, 36.3, lamps_lit=(2,)),), relay_box=RelayBox(lamps=4)), "fail"),
        (evidence((read_alone(1, 36.3, outputs_live=(1,)),)), "pass"),
        (evidence(apart=ApartEvidence(control_check={"cut_out": "bad"})), "fail"),
        (evidence(apart=ApartEvidence(limits=Limits(supply_voltage_low_v=15.0)), engine_state="idle"), "fail"),
        (evidence(apart=ApartEvidence(limits=Limits(supply_voltage_low_v=13.0)), engine_state="idle"), "pass"),
    ],
)
def test_what_stands_beside_the_amps_counts_in_the_unit_verdict(visit: Evidence, verdict: str) -> None:
    # Between two others, so that a column shifted by one place is seen.
    batch = judged_together([evidence((read_alone(1, 60.0),)), visit, evidence()])
    assert batch.verdicts == ["fail", verdict, "pass"]
    assert judge(visit, rank="never").verdict == verdict


@given(st.lists(evidences(), max_size=4))
def test_any_visit_has_the_same_verdict_in_a_batch_and_alone(visits: list[Evidence]) -> None:
    assert judged_together(visits).verdicts == [judge(visit, rank="never").verdict for visit in visits]


def test_one_answer_out_of_many_is_that_visits_own() -> None:
    visits = [evidence(), evidence((StageReading(2, (2,), 14.0, 30.0),)), evidence(SIX_VOLT_SAG)]
    batch = judged_together(visits)
    assert [batch.answer(place) for place in range(3)] == [judge(visit, rank="never") for visit in visits]
