"""What the reading with everything off does to the amps, and what it reveals."""

import pytest

from calc.evidence import RestReading
from calc.judge import judge
from calc.judgement import Finding, Judgement
from tests.calc.builders import evidence, read_alone

REST_CODES = {"rest_current", "rest_current_negative", "rest_current_subtracted", "rest_not_read"}


def judged_with(rest: RestReading | None) -> Judgement:
    return judge(evidence((read_alone(1, 36.3),), rest=rest))


def rest_findings(judgement: Judgement) -> list[Finding]:
    return [finding for finding in judgement.findings if finding.code in REST_CODES]


@pytest.mark.parametrize(("rest_v", "rest_a"), [(14.2, 0.5), (14.2, -0.5), (12.0, 0.5), (12.0, 0.1)])
def test_a_rest_current_within_the_counts_is_the_meters_zero_even_where_volts_sag(rest_v: float, rest_a: float) -> None:
    judgement = judged_with(RestReading(rest_v, rest_a))
    assert judgement.stages[0].normalised_current_a == pytest.approx(36.3 - rest_a)
    assert rest_findings(judgement) == []


@pytest.mark.parametrize("rest_a", [0.6, 5.325, -0.6, -5.325])
def test_up_to_15_percent_of_rated_is_subtracted_and_noted_while_volts_hold(rest_a: float) -> None:
    judgement = judged_with(RestReading(14.0, rest_a))
    assert judgement.stages[0].normalised_current_a == pytest.approx(36.3 - rest_a)
    assert [(f.code, f.severity) for f in rest_findings(judgement)] == [("rest_current_subtracted", "note")]


@pytest.mark.parametrize(("rest_v", "rest_a"), [(14.0, 5.33), (13.97, 0.6), (13.4, 35.5)])
def test_a_larger_or_sagging_rest_current_is_a_defect_and_is_not_subtracted(rest_v: float, rest_a: float) -> None:
    judgement = judged_with(RestReading(rest_v, rest_a))
    assert judgement.stages[0].normalised_current_a == pytest.approx(36.3)
    assert [(f.code, f.severity) for f in rest_findings(judgement)] == [("rest_current", "defect")]
    assert judgement.verdict == "fail"


def test_a_drop_within_the_voltmeters_own_counts_is_no_sag() -> None:
    judgement = judged_with(RestReading(13.98, 0.6))
    assert [(f.code, f.severity) for f in rest_findings(judgement)] == [("rest_current_subtracted", "note")]


def test_a_large_negative_rest_current_is_a_caution_and_is_not_subtracted() -> None:
    judgement = judged_with(RestReading(14.0, -5.33))
    assert judgement.stages[0].normalised_current_a == pytest.approx(36.3)
    assert [(f.code, f.severity) for f in rest_findings(judgement)] == [("rest_current_negative", "caution")]
    assert judgement.verdict == "pass"


def test_without_a_rest_reading_nothing_is_added_to_the_uncertainty() -> None:
    unread, zero = judged_with(None), judged_with(RestReading(14.0, 0.0))
    assert unread.stages == zero.stages
    assert [f.code for f in rest_findings(unread)] == ["rest_not_read"]
    assert rest_findings(zero) == []


def test_a_subtracted_rest_current_adds_its_resolution_only() -> None:
    budget = {line.source: line.u_a for line in judged_with(RestReading(14.0, 0.3)).stages[0].budget}
    # GUM (JCGM 100:2008) F.2.2.1: 0.29 of the resolution of 0.1 A.
    assert budget["rest_current"] == pytest.approx(0.1 * 0.288675, rel=1e-5)
