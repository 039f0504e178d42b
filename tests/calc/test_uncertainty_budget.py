"""What each input adds to the uncertainty of a normalised current, and what one meter has in common."""

from dataclasses import replace

import pytest

from calc.copper import COPPER_TEMPERATURE_COEFFICIENT_PER_K as ALPHA
from calc.evidence import Evidence, Meter, MeterRange, RelayBox, RestReading
from calc.evidence_apart import AuxiliaryLoad
from calc.judge import judge as judge_with_causes
from calc.judge import judge_batch
from calc.judgement import Judgement
from tests.calc.builders import cumulative_pass, evidence, rating, read_alone, single_pass

SQRT_3 = 3**0.5


def judge(visit: Evidence) -> Judgement:
    return judge_with_causes(visit, rank="never")


TWO_RANGES = (MeterRange(40.0, 1.5, 5, 0.01), MeterRange(400.0, 2.0, 5, 0.1))
TWO_RANGE_CLAMP = Meter(2.0, 5, 0.1, ranges=TWO_RANGES)


def contributions(visit: Evidence, stage: int = 0) -> dict[str, float]:
    return {line.source: line.u_a for line in judge(visit).stages[stage].budget}


@pytest.mark.parametrize(("current_a", "half_width_a"), [(39.9, 39.9 * 0.015 + 0.05), (40.1, 40.1 * 0.02 + 0.5)])
def test_a_reading_takes_the_accuracy_of_the_smallest_range_that_holds_it(
    current_a: float, half_width_a: float
) -> None:
    budget = contributions(evidence((read_alone(1, current_a),), ammeter=TWO_RANGE_CLAMP))
    assert budget["ammeter"] == pytest.approx(half_width_a / SQRT_3, rel=1e-9)


def test_a_reading_at_the_end_of_a_range_is_still_in_it() -> None:
    budget = contributions(evidence((read_alone(1, 40.0),), ammeter=TWO_RANGE_CLAMP))
    assert budget["ammeter"] == pytest.approx((40.0 * 0.015 + 0.05) / SQRT_3, rel=1e-9)


def test_a_reading_above_the_largest_range_is_over_range() -> None:
    stage = judge(evidence((read_alone(1, 400.1),), ammeter=TWO_RANGE_CLAMP)).stages[0]
    assert stage.undetermined_reason == "over_range"


def test_two_ranges_of_one_clamp_share_no_percent_term_in_a_step() -> None:
    readings = cumulative_pass((36.0, 72.0), (14.0, 14.0))
    crossing = contributions(evidence(readings, ammeter=TWO_RANGE_CLAMP), stage=1)
    expected = ((72.0 * 0.02 + 0.5) ** 2 + (36.0 * 0.015 + 0.05) ** 2) ** 0.5 / SQRT_3
    assert crossing["ammeter"] == pytest.approx(expected, rel=1e-9)
    one_range = contributions(evidence(readings, ammeter=Meter(2.0, 5, 0.1)), stage=1)
    assert one_range["ammeter"] == pytest.approx(((36.0 * 0.02) ** 2 + 2 * 0.5**2) ** 0.5 / SQRT_3, rel=1e-9)


def test_a_visit_whose_meter_states_no_ranges_is_judged_the_same_beside_one_that_does() -> None:
    plain, ranged = evidence(), evidence(ammeter=TWO_RANGE_CLAMP)
    assert judge_batch([plain, ranged], rank="never") == [judge(plain), judge(ranged)]


@pytest.mark.parametrize("seconds_on", [None, 0.0, 8.0, 10.0])
def test_a_prompt_reading_adds_no_heating(seconds_on: float | None) -> None:
    visit = evidence((read_alone(1, 36.3, seconds_on=seconds_on),))
    assert "heating_while_on" not in contributions(visit)
    assert "read_late" not in [finding.code for finding in judge(visit).findings]


def test_a_late_reading_is_widened_by_what_the_coil_may_have_warmed_and_is_not_moved() -> None:
    prompt, late = evidence((read_alone(1, 36.3),)), evidence((read_alone(1, 36.3, seconds_on=60.0),))
    # Derived: 0.21 K/s at 6.5 A/mm²; at 60 s, fifty of them past the ten of the procedure, 10.5 K.
    assert contributions(late)["heating_while_on"] == pytest.approx(36.3 * ALPHA * 10.5 / SQRT_3, rel=1e-9)
    assert judge(late).stages[0].normalised_current_a == judge(prompt).stages[0].normalised_current_a
    (finding,) = [finding for finding in judge(late).findings if finding.code == "read_late"]
    assert finding.params["warmer_c"] == pytest.approx(10.5)


def test_readings_equally_late_differ_by_what_one_stage_warmed() -> None:
    readings = tuple(replace(r, seconds_on=20.0) for r in cumulative_pass((36.0, 72.0), (14.0, 14.0)))
    heating = contributions(evidence(readings), stage=1)["heating_while_on"]
    assert heating == pytest.approx(36.0 * ALPHA * 2.1 / SQRT_3, rel=1e-9)


def test_all_that_is_on_warms_while_the_last_stage_is_waited_for() -> None:
    first, second = cumulative_pass((36.0, 72.0), (14.0, 14.0))
    visit = evidence((first, replace(second, seconds_on=20.0)))
    assert contributions(visit, stage=1)["heating_while_on"] == pytest.approx(72.0 * ALPHA * 2.1 / SQRT_3, rel=1e-9)


def test_a_reference_temperature_that_is_assumed_adds_its_bound_and_is_said_to_be_assumed() -> None:
    stated, assumed = evidence(), evidence(rating=rating(reference_temperature_assumed=True))
    assert "reference_temperature" not in contributions(stated)
    assert contributions(assumed)["reference_temperature"] == pytest.approx(36.3 * ALPHA * 5 / SQRT_3, rel=1e-9)
    codes = [finding.code for finding in judge(assumed).findings]
    assert "reference_temperature_assumed" in codes


def test_a_load_the_box_always_feeds_is_subtracted_and_known_to_a_fifth_where_rest_was_not_read() -> None:
    box = RelayBox(auxiliary_loads=(AuxiliaryLoad("fan", 2.0),))
    visit = evidence((read_alone(1, 38.3),), relay_box=box, rest=None)
    assert judge(visit).stages[0].normalised_current_a == pytest.approx(36.3)
    assert contributions(visit)["auxiliary_loads"] == pytest.approx(0.4 / SQRT_3, rel=1e-9)


def test_a_load_the_box_always_feeds_explains_a_rest_current_and_is_subtracted_as_read() -> None:
    box = RelayBox(auxiliary_loads=(AuxiliaryLoad("fan", 8.0),))
    visit = evidence((read_alone(1, 44.4),), relay_box=box, rest=RestReading(14.0, 8.1))
    judgement = judge(visit)
    assert judgement.stages[0].normalised_current_a == pytest.approx(36.3)
    assert judgement.apart["rest_current"] == "good"
    assert judge(replace(visit, relay_box=RelayBox())).apart["rest_current"] == "bad"


def test_a_load_that_runs_while_a_stage_is_on_is_subtracted_beside_the_rest_current() -> None:
    load = AuxiliaryLoad("contactor coils", 1.5, 0.3, "stage_on")
    visit = evidence((read_alone(1, 38.0),), relay_box=RelayBox(auxiliary_loads=(load,)), rest=RestReading(14.2, 0.2))
    assert judge(visit).stages[0].normalised_current_a == pytest.approx(36.3)
    assert contributions(visit)["auxiliary_loads"] == pytest.approx(0.3 / SQRT_3, rel=1e-9)


def test_a_declared_load_never_explains_a_welded_contact() -> None:
    box = RelayBox(auxiliary_loads=(AuxiliaryLoad("fan", 2.0),))
    visit = evidence((read_alone(1, 36.3),), relay_box=box, rest=RestReading(13.4, 37.5))
    judgement = judge(visit)
    assert judgement.verdict == "fail"
    assert judgement.apart["rest_current"] == "bad"
    assert judgement.stages[0].normalised_current_a == pytest.approx(36.3)


def test_what_one_clamp_adds_in_percent_cancels_in_the_imbalance() -> None:
    def imbalance_u(percent: float, counts: float, bound_c: float = 3.0) -> float:
        visit = evidence(
            single_pass((38.4, 37.9, 33.0, 38.1)),
            ammeter=Meter(percent, counts, 0.1),
            voltmeter=Meter(0.5, 0, 0.01),
            coil_temperature_bound_c=bound_c,
        )
        return judge(visit).imbalance_expanded_uncertainty_percent or 0.0

    assert imbalance_u(2.0, 0) == pytest.approx(0.0, abs=1e-12)
    assert imbalance_u(0.5, 5) == pytest.approx(imbalance_u(4.0, 5), rel=1e-12)
    assert imbalance_u(2.0, 5, 1.0) == pytest.approx(imbalance_u(2.0, 5, 30.0), rel=1e-12)


def test_the_imbalance_stays_decisive_where_the_absolute_check_is_not() -> None:
    visit = evidence(single_pass((33.4, 32.9, 28.0, 33.1)), coil_temperature_c=50.0, coil_temperature_bound_c=30.0)
    judgement = judge(visit)
    assert judgement.stages[2].capability is not None
    assert judgement.stages[2].capability < 1
    assert judgement.imbalance_expanded_uncertainty_percent is not None
    assert (judgement.imbalance_percent or 0) > 5 * judgement.imbalance_expanded_uncertainty_percent


def test_without_every_stage_there_is_no_imbalance_and_no_uncertainty_of_it() -> None:
    judgement = judge(evidence((read_alone(1, 36.3),)))
    assert (judgement.imbalance_percent, judgement.imbalance_expanded_uncertainty_percent) == (None, None)


def test_repeats_that_scatter_widen_the_imbalance_with_their_own_coverage_factor() -> None:
    quiet = evidence((*single_pass((36.3, 36.0, 36.2, 33.0)),))
    noisy = evidence((*single_pass((36.3, 36.0, 36.2, 32.0)), read_alone(4, 34.0)))
    quiet_u = judge(quiet).imbalance_expanded_uncertainty_percent
    noisy_u = judge(noisy).imbalance_expanded_uncertainty_percent
    assert quiet_u is not None
    assert noisy_u is not None
    assert noisy_u > 4 * quiet_u
