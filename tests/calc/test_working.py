"""The working shown for a verdict is the judge's own, digit by digit."""

import dataclasses

import numpy as np
import pytest

from calc.evidence import Evidence, Meter, Rating, RestReading, StageReading
from calc.judge import judge
from calc.uncertainty import coverage_factor
from calc.working import stage_workings

RATING = Rating((35.0,) * 4, 12.0, 20.0, 10.0, 10.0, 12.0, 2, 2)
CLAMP, VOLTMETER = Meter(2.0, 5, 0.1), Meter(0.5, 2, 0.01)


def evidence(*readings: StageReading, rest: RestReading | None = None, rating: Rating = RATING) -> Evidence:
    return Evidence(rating, CLAMP, VOLTMETER, 35.0, 5.0, readings, rest=rest)


SINGLE = StageReading(1, (1,), 13.76, 40.1)
STEPS = (StageReading(1, (1,), 13.76, 40.1), StageReading(2, (1, 2), 13.6, 78.9))
REPEATS = tuple(StageReading(1, (1,), 13.76, current_a) for current_a in (39.2, 40.1, 41.4))


@pytest.mark.parametrize(
    "given",
    [
        evidence(SINGLE),
        evidence(SINGLE, rest=RestReading(14.0, 0.3)),
        evidence(*STEPS),
        evidence(*REPEATS),
    ],
    ids=["single", "zero subtracted", "step", "repeats"],
)
def test_every_step_leads_to_the_judged_current_and_uncertainty(given: Evidence) -> None:
    for working, judged in zip(stage_workings(given), judge(given).stages, strict=True):
        assert working.conductance_s is not None
        assert working.u_combined_a is not None
        assert working.coverage_factor is not None
        current_a = working.conductance_s * 12.0 * working.resistance_ratio
        assert current_a == pytest.approx(judged.normalised_current_a, rel=1e-12)
        assert working.normalised_current_a == judged.normalised_current_a
        assert working.coverage_factor * working.u_combined_a == pytest.approx(judged.expanded_uncertainty_a, rel=1e-12)
        assert working.u_combined_a**2 == pytest.approx(sum(line.u_a**2 for line in judged.budget), rel=1e-9)


def test_the_conductance_follows_from_the_readings_that_are_shown() -> None:
    zeroed = stage_workings(evidence(SINGLE, rest=RestReading(14.0, 0.3)))[0]
    assert zeroed.subtracted_a == 0.3
    assert zeroed.conductance_s == pytest.approx((40.1 - 0.3) / 13.76)
    step = stage_workings(evidence(*STEPS))[1]
    assert (step.before_current_a, step.before_voltage_v) == (40.1, 13.76)
    assert step.conductance_s == pytest.approx(78.9 / 13.6 - 40.1 / 13.76)


def test_the_degrees_of_freedom_are_those_behind_the_coverage_factor() -> None:
    working = stage_workings(evidence(*REPEATS))[0]
    assert working.degrees_of_freedom is not None
    assert working.repeats == 3
    assert coverage_factor(np.array([working.degrees_of_freedom]))[0] == working.coverage_factor
    assert working.coverage_factor is not None
    assert working.coverage_factor > 2.0
    assert stage_workings(evidence(SINGLE))[0].degrees_of_freedom is None


def test_a_stage_without_limits_to_hold_it_against_stops_at_its_conductance() -> None:
    bare = dataclasses.replace(RATING, reference_voltage_v=None)
    working = stage_workings(evidence(SINGLE, rating=bare))[0]
    assert working.conductance_s == pytest.approx(40.1 / 13.76)
    assert (working.normalised_current_a, working.u_combined_a, working.degrees_of_freedom) == (None, None, None)


def test_without_volts_there_is_no_conductance_either() -> None:
    working = stage_workings(evidence(StageReading(1, (1,), 0.0, 0.0)))[0]
    assert working.conductance_s is None


def test_the_clamps_part_is_a_rectangle_over_its_stated_accuracy_at_the_amps_read() -> None:
    working = stage_workings(evidence(SINGLE))[0]
    stated = (working.clamp_accuracy_percent, working.clamp_accuracy_counts, working.clamp_resolution_a)
    assert stated == (2.0, 5.0, 0.1)
    # JCGM 100:2008 4.3.7: a half-width a gives u = a/√3; (2 % × 40.1 A + 5 × 0.1 A)/√3 = 0.7517 A.
    assert working.u_clamp_a == pytest.approx(0.7517, abs=5e-5)
