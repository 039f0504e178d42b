"""Decision rules on whole judgements: guard bands, both sides, agreement of class and probability, the action line."""

from math import sqrt
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.evidence import Evidence, Meter
from calc.judge import judge as judge_with_causes
from calc.judgement import Judgement, StageJudgement
from tests.calc.builders import evidence, rating, read_alone, single_pass

quick = settings(deadline=None, max_examples=200)
visits = {
    "current_a": st.floats(24, 48),
    "bound_c": st.floats(0, 30),
    "percent": st.floats(0, 4),
    "lower": st.one_of(st.none(), st.floats(3, 20)),
    "upper": st.one_of(st.none(), st.floats(3, 20)),
}


def judge(visit: Evidence) -> Judgement:
    return judge_with_causes(visit, rank="never")


def stage_of(visit: Evidence) -> StageJudgement:
    return judge(visit).stages[0]


def drawn(
    current_a: float, bound_c: float, percent: float, lower: float | None, upper: float | None, **changes: object
) -> Evidence:
    sides = (10.0, None) if lower is None and upper is None else (lower, upper)
    unit = rating(rated_currents_a=(35.5,), tolerance_lower_percent=sides[0], tolerance_upper_percent=sides[1])
    clamp = Meter(percent, 5, 0.1)
    return evidence(
        (read_alone(1, current_a),), rating=unit, ammeter=clamp, coil_temperature_bound_c=bound_c, **changes
    )


def test_the_guard_band_is_u_for_the_guarded_rule_and_nothing_for_the_simple_one() -> None:
    guarded, simple = stage_of(evidence()), stage_of(evidence(decision_rule="simple"))
    assert guarded.guard_band_a == guarded.expanded_uncertainty_a
    assert simple.guard_band_a == 0.0


def test_the_guard_band_of_a_largest_false_acceptance_is_z_times_u() -> None:
    # JCGM 106:2012 7.3.3 Table 1 (P): z = 1.64 at 95 %.
    stage = stage_of(evidence(decision_rule="max_false_accept", max_false_accept_probability=0.05))
    assert stage.guard_band_a == pytest.approx(1.644854 * (stage.expanded_uncertainty_a or 0) / 2, rel=1e-6)


@quick
@given(**visits, probability=st.floats(1e-4, 0.5))
def test_an_accepted_stage_conforms_with_at_least_what_was_asked_for(
    current_a: float, bound_c: float, percent: float, lower: float | None, upper: float | None, probability: float
) -> None:
    stage = stage_of(
        drawn(
            current_a,
            bound_c,
            percent,
            lower,
            upper,
            decision_rule="max_false_accept",
            max_false_accept_probability=probability,
        )
    )
    conforms = stage.conformance_probability or 0.0
    if stage.verdict == "pass":
        assert conforms >= 1 - probability - 1e-9
    if stage.verdict == "fail":
        assert conforms <= probability + 1e-9


def test_a_large_permitted_risk_does_not_rest_on_the_normal_where_one_rectangle_dominates() -> None:
    # At 20 % the normal asks for 0.84 u, a rectangle for 0.6 √3 u = 1.04 u.
    exact = Meter(0.0, 0, 0.01)
    u_a = 0.5 * 35.0 * 0.02 * 2 / sqrt(3)
    margin_a = 0.95 * u_a
    visit = evidence(
        (read_alone(1, 31.95 + margin_a),),
        rating=rating(rated_currents_a=(35.5,)),
        ammeter=Meter(2.0, 0, 0.1),
        voltmeter=exact,
        coil_temperature_bound_c=0.0,
        decision_rule="max_false_accept",
        max_false_accept_probability=0.2,
    )
    stage = stage_of(visit)
    assert (stage.guard_band_a or 0) < (stage.normalised_current_a or 0) - 31.95
    assert stage.verdict == "conditional_pass"
    assert stage.conformance_probability is not None
    assert stage.conformance_probability < 0.8


@quick
@given(**visits)
def test_class_and_probability_agree_under_the_guarded_rule(
    current_a: float, bound_c: float, percent: float, lower: float | None, upper: float | None
) -> None:
    stage = stage_of(drawn(current_a, bound_c, percent, lower, upper))
    conforms = stage.conformance_probability
    assert conforms is not None
    two_sided = stage.lower_limit_a is not None and stage.upper_limit_a is not None
    if stage.verdict == "pass":
        # JCGM 106:2012 8.3.2.3 (P): 97.7 %; 95.45 % where both limits count at capability 1.
        assert conforms >= (0.9544 if two_sided else 0.977)
    elif stage.verdict == "conditional_pass" and not two_sided:
        assert conforms >= 0.5 - 1e-9
    elif stage.verdict == "conditional_fail":
        assert conforms <= 0.5 + 1e-9
    elif stage.verdict == "fail":
        assert conforms <= 0.0228


@quick
@given(**visits, more_c=st.floats(0, 30))
def test_more_uncertainty_never_turns_a_conditional_fail_into_a_pass(
    current_a: float, bound_c: float, percent: float, lower: float | None, upper: float | None, more_c: float
) -> None:
    before = stage_of(drawn(current_a, bound_c, percent, lower, upper)).verdict
    after = stage_of(drawn(current_a, bound_c + more_c, percent, lower, upper)).verdict
    if before in ("conditional_fail", "fail"):
        assert after in ("conditional_fail", "fail")
    if before != "pass":
        assert after != "pass"


@quick
@given(**visits)
def test_the_same_data_under_the_simple_rule_stands_beside_every_verdict(
    current_a: float, bound_c: float, percent: float, lower: float | None, upper: float | None
) -> None:
    visit = drawn(current_a, bound_c, percent, lower, upper)
    guarded = judge(visit)
    simple = judge(drawn(current_a, bound_c, percent, lower, upper, decision_rule="simple"))
    assert guarded.stages[0].simple_verdict == simple.stages[0].verdict
    assert guarded.simple_verdict == simple.verdict


def test_the_simple_verdict_of_a_unit_keeps_what_is_not_about_the_amps() -> None:
    visit = evidence((read_alone(1, 33.0, outputs_live=(2,)),))
    judgement = judge(visit)
    assert judgement.stages[0].simple_verdict == "pass"
    assert judgement.simple_verdict == "fail"
    assert judge(evidence((read_alone(1, 33.0),), stages_not_read=(2,))).simple_verdict == "undetermined"


@pytest.mark.parametrize(
    ("current_a", "verdict"), [(31.9, "conditional_fail"), (32.5, "conditional_pass"), (90.0, "pass"), (20.0, "fail")]
)
def test_with_a_lower_limit_alone_only_the_lower_side_is_guarded(current_a: float, verdict: str) -> None:
    unit = rating(rated_currents_a=(35.5,), tolerance_upper_percent=None)
    assert stage_of(evidence((read_alone(1, current_a),), rating=unit)).verdict == verdict


@pytest.mark.parametrize(
    ("changes", "action"),
    [
        ({"stage_readings": single_pass((36.3,) * 4)}, "good"),
        ({"stage_readings": single_pass((27.0,) * 4)}, "find_the_fault"),
        ({"stage_readings": single_pass((31.2,) * 4)}, "better_clamp"),
        (
            {
                "stage_readings": single_pass((33.0,) * 4),
                "coil_temperature_c": 60.0,
                "coil_temperature_bound_c": 25.0,
            },
            "read_again_cold",
        ),
        ({"stage_readings": (read_alone(1, 36.3),), "required_stages": (1, 2)}, "read_the_rest"),
        ({"stage_readings": ()}, "read_the_rest"),
        ({"rating": rating(reference_voltage_v=None)}, "ask_for_the_rating"),
        ({"stage_readings": (read_alone(1, 0.0, supply_voltage_v=0.0),)}, "check_the_meters"),
        ({"ammeter": Meter(2.0, 5, 0.1, range_max=20.0)}, "check_the_meters"),
        ({"stage_readings": (*single_pass((36.3,) * 3), read_alone(4, 36.3, outputs_live=(3,)))}, "find_the_fault"),
    ],
)
def test_every_verdict_carries_one_action(changes: dict[str, Any], action: str) -> None:
    assert judge(evidence(**changes)).action == action


def test_the_action_of_a_unit_is_that_of_its_worst_stage() -> None:
    judgement = judge(evidence((read_alone(1, 36.3), read_alone(2, 31.2))))
    assert [stage.action for stage in judgement.stages] == ["good", "better_clamp"]
    assert judgement.action == "better_clamp"
