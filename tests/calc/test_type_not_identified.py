"""Type not identified: no figure that needs a rating, balance and own history with worked numbers, and candidates."""

import json
from dataclasses import asdict, replace
from math import isnan, sqrt
from typing import Any

import numpy as np
import pytest

from calc.batch import judged_together
from calc.evidence import Evidence, Meter, OwnConductance, Rating, RestReading, rating_not_identified
from calc.evidence_apart import ApartEvidence, BatteryReadings
from calc.judge import judge
from calc.judgement import Finding, Judgement
from calc.own_figures import changes, own_conductances, own_means
from calc.own_findings import stages_without_current
from calc.preview import preview
from calc.type_candidates import type_fit
from tests.calc.builders import FOUR_AT_14_V, cumulative_pass, evidence, single_pass

NOBODY_KNOWS = rating_not_identified(4, 12.0)
ALIKE = (36.3, 36.4, 36.2, 36.3)


def unidentified(currents_a: tuple[float, ...] = ALIKE, **changes: Any) -> Evidence:
    return evidence(**{"rating": NOBODY_KNOWS, "stage_readings": single_pass(currents_a), **changes})


def found(judgement: Judgement) -> dict[str, Finding]:
    return {finding.code: finding for finding in judgement.findings}


def earlier(conductances_s: dict[int, float], u_s: float = 0.05, checks: int = 1) -> tuple[OwnConductance, ...]:
    return tuple(OwnConductance(stage, g, u_s, u_s / 3) for _ in range(checks) for stage, g in conductances_s.items())


def test_no_figure_that_needs_a_rating_is_answered() -> None:
    judgement = judge(unidentified(), rank="always")
    assert (judgement.verdict, judgement.simple_verdict, judgement.action) == (
        "undetermined",
        "undetermined",
        "identify_the_type",
    )
    unanswered = {
        *("normalised_current_a", "expanded_uncertainty_a", "lower_limit_a", "upper_limit_a", "capability"),
        *("conformance_probability", "level_percent", "expanded_uncertainty_percent", "guard_band_a"),
    }
    for stage in judgement.stages:
        assert stage.undetermined_reason == "type_not_identified"
        assert {getattr(stage, name) for name in unanswered} == {None}
        assert stage.budget == ()
    assert (judgement.torque_share_percent, judgement.torque_share_range_percent) == (None, None)
    assert {reason.code for reason in judgement.verdict_reasons} == {"type_not_identified"}
    assert "NaN" not in json.dumps(asdict(judgement))


def test_causes_are_not_ranked_by_a_circuit_nobody_knows_and_health_stays_below_the_prior() -> None:
    judgement = judge(unidentified(), rank="always")
    assert {cause.cause for cause in judgement.hypotheses} == {"healthy", "none_of_these"}
    assert judgement.next_reading is None
    assert judgement.hypotheses[0].cause == "healthy"
    assert judgement.hypotheses[0].probability == pytest.approx(0.9)


def test_the_balance_is_the_largest_deviation_from_the_mean_of_the_stages() -> None:
    judgement = judge(unidentified((36.3, 36.3, 36.3, 36.9)))
    mean_a = (3 * 36.3 + 36.9) / 4
    assert judgement.imbalance_percent == pytest.approx(100 * (36.9 / mean_a - 1))
    alike = found(judgement)["stages_alike"]
    assert (alike.severity, alike.params["imbalance_percent"]) == ("note", judgement.imbalance_percent)
    # Two standard deviations of 3 %, of a stage from a mean of which it is a quarter.
    assert alike.params["spread_percent"] == pytest.approx(100 * 2 * 0.03 * sqrt(3 / 4))


def test_the_balance_needs_no_rating_and_is_that_of_the_same_unit_identified() -> None:
    known = judge(evidence(stage_readings=single_pass((36.3, 30.0, 36.2, 36.3))))
    unknown = judge(unidentified((36.3, 30.0, 36.2, 36.3)))
    assert unknown.imbalance_percent == pytest.approx(known.imbalance_percent)
    assert unknown.imbalance_expanded_uncertainty_percent == pytest.approx(known.imbalance_expanded_uncertainty_percent)


def test_a_stage_beyond_what_sound_ones_and_meters_explain_is_named_with_its_deviation() -> None:
    unlike = found(judge(unidentified((36.3, 36.3, 30.0, 36.3))))["stage_unlike_the_others"]
    mean_a = (3 * 36.3 + 30.0) / 4
    assert (unlike.stage, unlike.severity) == (3, "caution")
    assert unlike.params["deviation_percent"] == pytest.approx(100 * (30.0 / mean_a - 1))
    assert 0.5 < float(unlike.params["expanded_uncertainty_percent"]) < 2.0


def test_of_two_stages_that_differ_neither_is_named() -> None:
    judgement = judge(unidentified((36.3, 30.0), rating=rating_not_identified(2, 12.0)))
    assert found(judgement)["stages_unlike"].stage is None
    assert "stage_unlike_the_others" not in found(judgement)


@pytest.mark.parametrize("checks", [1, 4])
def test_the_change_against_its_own_history_is_worked_out_with_its_uncertainty(checks: int) -> None:
    now = (OwnConductance(1, 1.845, 0.03, 0.01),)
    (change,) = changes(now, earlier({1: 2.05}, 0.04, checks))
    assert (change.stage, change.checks) == (1, checks)
    assert change.percent == pytest.approx(100 * (1.845 / 2.05 - 1))
    # k = 2; that of the earlier checks is not reduced, for one clamp read them all.
    assert change.expanded_uncertainty_percent == pytest.approx(100 * 2 * sqrt(0.03**2 + 0.04**2) / 2.05)


@pytest.mark.parametrize(("third_s", "beyond"), [(36.3 / 14.0, False), (1.02 * 36.3 / 14.0, False), (3.0, True)])
def test_a_stage_that_changed_by_more_than_the_meters_explain_is_named(third_s: float, beyond: bool) -> None:
    others = dict.fromkeys((1, 2, 4), 36.3 / 14.0)
    codes = found(judge(unidentified((36.3,) * 4, own_history=earlier(others | {3: third_s}))))
    assert ("stage_unlike_its_history" in codes, "like_its_history" in codes) == (beyond, not beyond)
    if beyond:
        assert codes["stage_unlike_its_history"].stage == 3
        assert codes["stage_unlike_its_history"].severity == "caution"


def test_a_change_of_temperature_or_volts_alone_is_no_change() -> None:
    cold = own_conductances([unidentified()])[0]
    warm = tuple(a * (12.6 / 14.0) * 254.5 / (234.5 + 60.0) for a in ALIKE)
    readings = single_pass(warm, supply_voltage_v=12.6)
    judgement = judge(unidentified(stage_readings=readings, coil_temperature_c=60.0, own_history=cold))
    assert abs(float(found(judgement)["like_its_history"].params["deviation_percent"])) < 1e-9


def test_all_stages_losing_alike_is_seen_by_its_history_alone() -> None:
    before = own_conductances([unidentified()])[0]
    lost = tuple(0.85 * amps for amps in ALIKE)
    codes = {(each.code, each.stage) for each in judge(unidentified(lost, own_history=before)).findings}
    assert {("stage_unlike_its_history", stage) for stage in (1, 2, 3, 4)} <= codes
    assert ("stages_alike", None) in codes


def test_a_stage_that_drew_nothing_earlier_is_no_measure_of_itself() -> None:
    history = (*earlier({2: 36.3 / 14.0}), OwnConductance(1, 0.01, 0.02, 0.02))
    assert [change.stage for change in changes(own_conductances([unidentified()])[0], history)] == [2]


def test_a_stage_that_draws_nothing_fails_the_unit_alone_and_in_a_batch() -> None:
    dead = unidentified((36.3, 36.3, 0.2, 36.3))
    judgement = judge(dead)
    assert (judgement.verdict, found(judgement)["stage_draws_nothing"].stage) == ("fail", 3)
    assert found(judgement)["stage_draws_nothing"].severity == "defect"
    assert not {"stages_alike", "stage_unlike_the_others"} & found(judgement).keys()
    visits = [unidentified(), dead, evidence(), unidentified(own_history=earlier({1: 2.6}))]
    assert judged_together(visits).verdicts == [judge(visit).verdict for visit in visits]
    assert judged_together(visits).verdicts == ["undetermined", "fail", "pass", "undetermined"]


COARSE = Meter(3.0, 10, 1.0)


def test_sound_stages_that_drown_in_a_coarse_clamp_are_no_defect() -> None:
    judgement = judge(unidentified((9.0,) * 4, ammeter=COARSE))
    assert judgement.verdict == "undetermined"
    untold = [finding for finding in judgement.findings if finding.code == "stage_current_not_told"]
    assert [(finding.stage, finding.severity) for finding in untold] == [(k, "caution") for k in (1, 2, 3, 4)]


@pytest.mark.parametrize(
    ("third_a", "ammeter", "dead"),
    [(1.2, Meter(2.0, 5, 0.1), True), (4.5, Meter(2.0, 5, 0.1), False), (1.2, COARSE, False)],
)
def test_dead_is_less_than_a_tenth_of_the_middle_stage_with_all_doubt(
    third_a: float, ammeter: Meter, dead: bool
) -> None:
    judgement = judge(unidentified((40.0, 40.0, third_a, 40.0), ammeter=ammeter))
    assert (judgement.verdict == "fail", "stage_draws_nothing" in found(judgement)) == (dead, dead)
    assert judgement.action == "find_the_fault"


def test_dead_is_less_than_a_tenth_of_its_own_history_too() -> None:
    now = [OwnConductance(1, 0.05, 0.04, 0.04)]
    # 0.05 + 2 · 0.04 = 0.13 S, against a tenth of 1.4 S and of 1.2 S.
    assert stages_without_current(now, earlier({1: 1.4})) == ([1], [])
    assert stages_without_current(now, earlier({1: 1.2})) == ([], [1])
    assert stages_without_current(now, ()) == ([], [1])


@pytest.mark.parametrize(
    ("third_a", "verdict", "action"),
    [
        (36.3, "undetermined", "identify_the_type"),
        (30.0, "undetermined", "find_the_fault"),
        (0.4 * 36.3, "fail", "find_the_fault"),
        (3 * 36.3, "fail", "find_the_fault"),
    ],
)
def test_a_stage_unlike_its_history_sends_nobody_after_the_type_and_fails_beyond_doubt(
    third_a: float, verdict: str, action: str
) -> None:
    history = own_conductances([unidentified((36.3,) * 4)])[0]
    visit = unidentified((36.3, 36.3, third_a, 36.3), own_history=history)
    judgement = judge(visit)
    assert (judgement.verdict, judgement.action) == (verdict, action)
    assert judged_together([unidentified(), visit, evidence()]).verdicts == ["undetermined", verdict, "pass"]


@pytest.mark.parametrize("lost", [0.5, 1.31])
def test_a_change_whose_uncertainty_reaches_the_bound_is_no_defect(lost: float) -> None:
    history = own_conductances([unidentified((36.3,) * 4)])[0]
    judgement = judge(unidentified((36.3, 36.3, lost * 36.3, 36.3), own_history=history))
    unlike = found(judgement)["stage_unlike_its_history"]
    assert (unlike.severity, judgement.verdict, judgement.action) == ("caution", "undetermined", "find_the_fault")
    assert float(unlike.params["deviation_percent"]) == pytest.approx(100 * (lost - 1))


def test_without_history_a_stage_that_lost_60_percent_is_looked_for_all_the_same() -> None:
    judgement = judge(unidentified((36.3, 36.3, 0.4 * 36.3, 36.3)))
    assert (judgement.verdict, judgement.action) == ("undetermined", "find_the_fault")


def test_meters_that_could_not_show_a_difference_do_not_call_the_stages_alike() -> None:
    # ± 10 counts of 1 A on 36 A: a quarter may be missing without a sign.
    untold = found(judge(unidentified(ammeter=COARSE)))["stages_alike_not_told"]
    doubt = float(untold.params["expanded_uncertainty_percent"])
    assert untold.params["most_percent"] == pytest.approx(2 * 100 * 2 * 0.03 * sqrt(3 / 4))
    assert (untold.severity, doubt > 10.4) == ("caution", True)
    assert "stages_alike" not in found(judge(unidentified(ammeter=COARSE)))


def test_a_history_that_is_left_out_is_said_to_be() -> None:
    judgement = judge(unidentified(own_history_left_out=True))
    assert found(judgement)["own_history_left_out"].severity == "note"
    assert not {"no_own_history", "like_its_history"} & found(judgement).keys()


def test_without_volts_nothing_is_conducted_and_nothing_is_divided_by() -> None:
    readings = single_pass(ALIKE, supply_voltage_v=0.0)
    with np.errstate(all="raise"):
        assert own_conductances([unidentified(stage_readings=readings)]) == [()]


@pytest.mark.parametrize(
    ("rest_a", "code"),
    [(0.4, None), (5.4, "rest_current_subtracted"), (5.5, "rest_current"), (-5.4, "rest_current_subtracted")],
)
def test_15_percent_of_its_own_middle_stage_stands_in_for_15_percent_of_rated(rest_a: float, code: str | None) -> None:
    rest = RestReading(14.2, rest_a)
    judgement = judge(unidentified(tuple(36.3 + rest_a for _ in range(4)), rest=rest))
    told = {"rest_current", "rest_current_subtracted", "rest_current_negative"} & found(judgement).keys()
    assert told == ({code} if code else set())
    if code:
        assert float(found(judgement)[code].params["largest_zero_a"]) == pytest.approx(0.15 * 36.3)


@pytest.mark.parametrize("stages", [1, 2, 3, 4])
def test_a_welded_contact_is_never_subtracted_away(stages: int) -> None:
    welded = (36.3, *(72.6 for _ in range(stages - 1)))
    visit = unidentified(welded, rating=rating_not_identified(stages, 12.0), rest=RestReading(14.2, 36.3))
    assert judge(visit).verdict == "fail"
    assert found(judge(visit))["rest_current"].severity == "defect"


def test_without_a_stage_read_alone_nothing_beyond_the_meters_zero_is_subtracted() -> None:
    steps = cumulative_pass((36.3, 72.0, 107.0, 141.0), (14.0, 13.9, 13.8, 13.7))[1:]
    assert "rest_current" in found(judge(unidentified(stage_readings=steps, rest=RestReading(14.2, 1.0))))


def test_the_two_lines_take_the_stages_as_equal() -> None:
    steps = cumulative_pass((36.3, 71.5, 105.6, 138.7), (14.0, 13.9, 13.8, 13.7))
    known, unknown = (judge(evidence(rating=rating, stage_readings=steps)) for rating in (FOUR_AT_14_V, NOBODY_KNOWS))
    assert unknown.circuit_lines is not None
    assert unknown.circuit_lines == known.circuit_lines


def test_a_load_that_nobody_read_is_not_known_to_the_alternator() -> None:
    battery = BatteryReadings(at_rest_v=12.7, charging_v=14.0, all_stages_on_v=11.0, alternator_rated_a=90.0)
    judgement = judge(unidentified(apart=ApartEvidence(battery=battery), engine_state="high_idle"))
    assert found(judgement)["alternator_limits"].params["load_a"] == "?"
    assert "alternator_too_small" not in found(judgement)


def test_before_a_check_only_its_own_history_says_what_to_expect() -> None:
    nothing = preview(unidentified(), 14.0).stages
    assert [(each.expected_current_a, each.can_pass) for each in nothing] == [(None, False)] * 4
    history = earlier({1: 2.6, 2: 2.5}, checks=2)
    told = preview(unidentified(own_history=history, coil_temperature_c=65.0), 14.0).stages
    assert told[0].expected_current_a == pytest.approx(2.6 * 14.0 * 254.5 / 299.5)
    assert [each.expected_current_a is None for each in told] == [False, False, True, True]
    assert {each.undetermined_reason for each in told} == {"type_not_identified"}


def test_the_history_of_a_unit_with_a_rating_changes_no_digit() -> None:
    visit = evidence(stage_readings=single_pass((36.3, 30.0, 36.2, 36.3)))
    assert judge(replace(visit, own_history=earlier({1: 9.9}))) == judge(visit)


def test_a_conductance_is_the_same_whatever_the_rating_says() -> None:
    readings = single_pass(ALIKE)
    known, unknown = own_conductances([evidence(stage_readings=readings), unidentified()])
    assert known == unknown
    assert [one.conductance_s for one in known] == pytest.approx([amps / 14.0 for amps in ALIKE])


def type_of(amps: float, **changes: Any) -> Rating:
    return replace(FOUR_AT_14_V, rated_currents_a=(amps,) * 4, **changes)


def test_a_fit_is_worked_out_from_level_and_shape() -> None:
    own = [OwnConductance(stage, g, 0.05, 0.02) for stage, g in ((1, 2.6), (2, 2.5), (3, 2.6), (4, 2.7))]
    fit = type_fit(own, type_of(35.5))
    assert fit.level_percent == pytest.approx(100 * 2.6 * 14.0 / 35.5)
    u = (0.05 / 2.6 + 0.05 / 2.5 + 0.05 / 2.6 + 0.05 / 2.7) / 4
    assert fit.level_expanded_uncertainty_percent == pytest.approx(100 * 2 * u * 2.6 * 14.0 / 35.5)
    assert abs(fit.deviation_percent or 0) == pytest.approx(100 * 0.1 / 2.6)
    level = np.log(2.6 * 14.0 / 35.5) ** 2 / (u**2 + 0.03**2)
    shape = sum(((g / 2.6) - 1) ** 2 / ((0.02 / g) ** 2 + 0.03**2) for g in (2.6, 2.5, 2.6, 2.7))
    # Four degrees of freedom: the survival function is exp(−x/2)·(1 + x/2).
    half = (level + shape) / 2
    assert fit.probability == pytest.approx(np.exp(-half) * (1 + half))


def test_a_unit_of_the_type_fits_it_at_any_temperature_of_the_rating() -> None:
    for reference_c in (20.0, 75.0):
        rated_a = 36.3 * 254.5 / (234.5 + reference_c)
        own = own_means(own_conductances([unidentified((36.3,) * 4)])[0])
        fit = type_fit(own, type_of(rated_a, reference_temperature_c=reference_c))
        assert fit.level_percent == pytest.approx(100.0)
        assert fit.probability == pytest.approx(1.0)


def test_without_a_voltage_only_the_shape_tells_and_with_one_stage_nothing() -> None:
    own = own_means(own_conductances([unidentified()])[0])
    no_volts = type_fit(own, type_of(50.0, reference_voltage_v=None))
    assert (no_volts.level_percent, no_volts.probability is not None) == (None, True)
    assert type_fit(own[:1], type_of(50.0, reference_voltage_v=None)).probability is None
    assert type_fit([], type_of(50.0)).probability is None
    assert type_fit(own, NOBODY_KNOWS).probability is None


@pytest.mark.parametrize("in_common", [0.0, 0.5, 1.0])
def test_sound_units_of_a_type_fit_it_as_often_as_the_probability_says(in_common: float) -> None:
    generator = np.random.default_rng(4)
    u, alone, number = 0.02, 0.007, 2000
    rated_s = 35.5 / 14.0
    fits = []
    for shared, spread, own_level in zip(
        generator.normal(0, u, number),
        generator.normal(0, 0.03 * sqrt(1 - in_common), (number, 4)),
        generator.normal(0, 0.03 * sqrt(in_common), number),
        strict=True,
    ):
        levels = (1 + shared) * (1 + own_level) * (1 + spread)
        own = [OwnConductance(k, rated_s * level, u * rated_s, alone * rated_s) for k, level in enumerate(levels, 1)]
        fits.append(type_fit(own, type_of(35.5)).probability or 0.0)
    # At most as often as it says, within three standard errors: the spread it allows for is the wider.
    for probability in (0.05, 0.2, 0.5):
        share = float(np.mean(np.array(fits) < probability))
        assert share <= probability + 3 * sqrt(probability * (1 - probability) / number)


def test_nothing_stands_in_for_the_amps() -> None:
    assert all(map(isnan, NOBODY_KNOWS.rated_currents_a))
    assert (NOBODY_KNOWS.identified, FOUR_AT_14_V.identified) == (False, True)
