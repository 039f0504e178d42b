"""Relations that published sources state, held against whole judgements.

Origin P: read in the primary text (JCGM 100:2008, JCGM 106:2012).  Rows about inputs that nobody is asked for have no
test, because there is no code of ours to hold against them: a bound quoted at a confidence or as three sigma and
triangular or trapezoidal bounds (booklets of clamps and voltmeters state ±(percent + counts), one rectangle), a prior
(a verdict rests on the readings of its visit alone), the reliability of a Type B figure, and several results of one set
of readings with their correlations (resistance and reactance beside the impedance: a stage is answered with one).
"""

from dataclasses import replace

import numpy as np
import pytest

from calc.conformity import rectangle_with_normal_cdf
from calc.evidence import Evidence, Meter, Rating, StageReading
from calc.judge import judge
from calc.judgement import StageJudgement
from calc.uncertainty import unreliability_of_scatter_percent

CLAMP = Meter(2.0, 5, 0.1)
VOLTMETER = Meter(0.5, 2, 0.01)
RATING = Rating((35.5,), 14.0, 20.0, 10.0, 10.0, 12.0, 2, 2)


def judged(**changes: object) -> StageJudgement:
    reading = StageReading(stage=1, energised=(1,), supply_voltage_v=14.0, current_a=36.3)
    evidence = Evidence(RATING, CLAMP, VOLTMETER, 20.0, 0.0, (reading,))
    return judge(replace(evidence, **changes)).stages[0]  # type: ignore[arg-type]


def test_relative_variances_of_a_quotient_add() -> None:
    # B2, GUM 5.1.6 Eq. (12) (P): amps over volts, the temperature exact.
    u_clamp, u_volts = (36.3 * 0.02 + 0.5) / 3**0.5 / 36.3, (14.0 * 0.005 + 0.02) / 3**0.5 / 14.0
    stage = judged()
    assert stage.normalised_current_a is not None
    assert stage.expanded_uncertainty_a is not None
    relative_u = stage.expanded_uncertainty_a / 2 / stage.normalised_current_a
    assert relative_u**2 == pytest.approx(u_clamp**2 + u_volts**2, rel=1e-9)


def test_readings_by_one_standard_do_not_average_its_error_out() -> None:
    # B6, GUM 5.2.2 Note 1 (P): the common standard's error goes into the sum ten times over, and so into the mean once.
    one = StageReading(stage=1, energised=(1,), supply_voltage_v=14.0, current_a=36.3)
    assert judged(stage_readings=(one,) * 10).expanded_uncertainty_a == pytest.approx(judged().expanded_uncertainty_a)


@pytest.mark.parametrize(
    ("readings", "recomputed", "printed"),
    [
        (2, 75.6, 76),
        (3, 52.3, 52),
        (4, 42.2, 42),
        (5, 36.3, 36),
        (10, 23.9, 24),
        (20, 16.3, 16),
        (30, 13.2, 13),
        (50, 10.1, 10),
    ],
)
def test_a_few_readings_tell_their_scatter_as_badly_as_published(
    readings: int, recomputed: float, printed: int
) -> None:
    # D5, GUM Table E.1 (P).
    found = unreliability_of_scatter_percent(readings)
    assert found == pytest.approx(recomputed, abs=0.05)
    assert round(found) == printed


@pytest.mark.parametrize(("k", "probability"), [(1.93734, 0.95), (2.37855, 0.99)])
def test_three_equal_rectangles_are_covered_nearly_as_published(k: float, probability: float) -> None:
    # B11, GUM G.2.2 Ex. (P), exact for three rectangles: 1.937 σ and 2.379 σ.  Here two of them stand as one normal.
    half_width, sigma = 3**0.5, 3**0.5
    edge, rest = np.array(k * sigma), np.array(2**0.5)
    within = rectangle_with_normal_cdf(edge, rest, np.array(half_width)) - rectangle_with_normal_cdf(
        -edge, rest, np.array(half_width)
    )
    assert float(within) == pytest.approx(probability, abs=0.006)


def test_a_capability_of_three_is_the_published_gate_of_a_third() -> None:
    # C8, JCGM 106 8.2.3 Ex. (P): U(k = 2) at most a third of the largest permitted error means C_m of at least 3.
    stage = judged()
    assert stage.expanded_uncertainty_a is not None
    largest_error_a = 3 * stage.expanded_uncertainty_a
    tolerance_percent = 100 * largest_error_a / 35.5
    gate = replace(RATING, tolerance_lower_percent=tolerance_percent, tolerance_upper_percent=tolerance_percent)
    assert judged(rating=gate).capability == pytest.approx(3.0, rel=1e-9)
