"""What would settle a verdict short of clear: the needed uncertainty, which input could reach it, and to what bound."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.evidence import Evidence, Meter, Rating, StageReading
from calc.judge import judge
from calc.judgement import InputBound, Settlement, StageJudgement
from tests.calc.builders import evidence, rating, read_alone

# The worked example of the copper and uncertainty notes (derived): 12 V, one stage, 13.30 V and 34.0 A; 2 % + 0.5 A and
# 0.5 % + 20 mV, rated 35 A ± 10 % at 12 V and 20 °C.
EXAMPLE = Rating((35.0,), 12.0, 20.0, 10.0, 10.0, 12.0, 2, 2)
CLAMP, VOLTMETER = Meter(2.0, 5, 0.1), Meter(0.5, 2, 0.01)
METHODS = {"coil_temperature": "coil_temperature_bound_c", "ammeter": "ammeter", "voltmeter": "voltmeter"}


def example(coil_temperature_c: float, bound_c: float, **changes: object) -> Evidence:
    reading = StageReading(stage=1, energised=(1,), supply_voltage_v=13.30, current_a=34.0)
    visit = Evidence(EXAMPLE, CLAMP, VOLTMETER, coil_temperature_c, bound_c, (reading,))
    return replace(visit, **changes)  # type: ignore[arg-type]


def judged(visit: Evidence) -> StageJudgement:
    (stage,) = judge(visit, rank="never").stages
    return stage


def settled(stage: StageJudgement) -> Settlement:
    assert stage.settle is not None
    return stage.settle


def bound_of(bounds: tuple[InputBound, ...], source: str) -> float | None:
    return next((one.needed for one in bounds if one.source == source), None)


def improved(visit: Evidence, source: str, factor: float) -> Evidence:
    """Return the same readings with one input known better by a factor."""
    if source == "coil_temperature":
        assert visit.coil_temperature_bound_c is not None
        return replace(visit, coil_temperature_bound_c=visit.coil_temperature_bound_c * factor)
    meter = getattr(visit, source)
    better = replace(
        meter, accuracy_percent=meter.accuracy_percent * factor, accuracy_counts=meter.accuracy_counts * factor
    )
    return replace(visit, **{source: better})


def test_the_first_example_row_needs_a_clamp_of_0_64_a_and_no_temperature_could() -> None:
    stage = judged(example(20.0, 3.0))
    settle = settled(stage)
    assert stage.verdict == "conditional_fail"
    clamp = bound_of(settle.single_inputs, "ammeter")
    assert clamp is not None
    assert round(clamp, 2) == 0.64
    assert bound_of(settle.single_inputs, "coil_temperature") is None
    assert stage.action == "better_clamp"


def test_the_second_example_row_needs_the_temperature_within_6_0_degrees() -> None:
    stage = judged(example(40.0, 10.0))
    temperature = bound_of(settled(stage).single_inputs, "coil_temperature")
    assert stage.verdict == "conditional_pass"
    assert temperature is not None
    assert round(temperature, 1) == 6.0
    assert settled(stage).capable_with == ()
    assert stage.action == "read_again_cold"


def test_the_third_example_row_needs_17_degrees_and_23_make_it_capable() -> None:
    judgement = judge(example(50.0, 30.0), rank="never")
    (stage,) = judgement.stages
    assert stage.verdict == "conditional_pass"
    assert "not_capable" in [finding.code for finding in judgement.findings]
    needed = bound_of(settled(stage).single_inputs, "coil_temperature")
    capable = bound_of(settled(stage).capable_with, "coil_temperature")
    assert needed is not None
    assert capable is not None
    assert (round(needed), round(capable)) == (17, 23)
    assert judged(example(50.0, capable * 0.999)).capability == pytest.approx(1.0, abs=2e-3)


@pytest.mark.parametrize(
    ("coil_temperature_c", "bound_c", "ratio_percent", "expanded_percent"),
    [(20.0, 3.0, 87.6, 4.3), (40.0, 10.0, 94.5, 5.9), (50.0, 30.0, 98.0, 12.8)],
)
def test_the_example_rows_have_the_ratio_and_uncertainty_derived_for_them(
    coil_temperature_c: float, bound_c: float, ratio_percent: float, expanded_percent: float
) -> None:
    stage = judged(example(coil_temperature_c, bound_c))
    assert stage.normalised_current_a is not None
    assert stage.expanded_uncertainty_a is not None
    # The row at 50 °C counts expected amps to two decimals: 31.31 A where 31.309 A is expected.
    assert stage.level_percent == pytest.approx(ratio_percent, abs=0.1)
    assert 100 * stage.expanded_uncertainty_a / stage.normalised_current_a == pytest.approx(expanded_percent, abs=0.06)


@settings(deadline=None, max_examples=150)
@given(
    current_a=st.floats(29, 42),
    bound_c=st.floats(0.5, 30),
    coil_temperature_c=st.floats(-10, 120),
    percent=st.floats(0.2, 4),
    repeats=st.lists(st.floats(-0.6, 0.6), max_size=4),
)
def test_every_bound_named_settles_the_stage_and_a_slightly_wider_one_does_not(
    current_a: float, bound_c: float, coil_temperature_c: float, percent: float, repeats: list[float]
) -> None:
    cold_a = current_a * 254.5 / (234.5 + coil_temperature_c)
    readings = tuple(read_alone(1, cold_a + off) for off in (0.0, *repeats))
    visit = evidence(
        readings,
        rating=rating(rated_currents_a=(35.5,)),
        ammeter=Meter(percent, 5, 0.1),
        coil_temperature_c=coil_temperature_c,
        coil_temperature_bound_c=bound_c,
    )
    stage = judged(visit)
    if stage.settle is None:
        assert stage.verdict in ("pass", "fail")
        return
    clear = "pass" if stage.verdict == "conditional_pass" else "fail"
    for single in stage.settle.single_inputs:
        factor = single.needed / single.present
        assert judged(improved(visit, single.source, factor * 0.99)).verdict == clear
        assert judged(improved(visit, single.source, factor * 1.01)).verdict == stage.verdict


def test_an_input_that_is_not_named_cannot_settle_it_even_if_it_were_exact() -> None:
    visit = example(20.0, 3.0)
    for source in METHODS.keys() - {single.source for single in settled(judged(visit)).single_inputs}:
        assert judged(improved(visit, source, 0.0)).verdict == "conditional_fail"


def test_where_nothing_alone_could_the_sources_that_would_all_have_to_improve_are_named() -> None:
    stage = judged(evidence((read_alone(1, 32.05),), coil_temperature_bound_c=5.0))
    settle = settled(stage)
    assert settle.single_inputs == ()
    assert settle.together[:2] == ("ammeter", "coil_temperature")


def test_the_needed_uncertainty_is_half_the_margin_where_all_is_type_b() -> None:
    settle = settled(judged(example(20.0, 3.0)))
    assert settle.needed_guard_band_a == pytest.approx(31.5 - 34.0 * 12 / 13.30)
    assert settle.needed_u_a == pytest.approx((settle.needed_guard_band_a or 0) / 2)


def test_more_readings_cannot_help_where_nothing_scatters() -> None:
    settle = settled(judged(example(20.0, 3.0)))
    assert (settle.more_readings, settle.readings_needed) == ("no_scatter_to_average", None)


def test_more_readings_cannot_help_where_the_meters_alone_leave_doubt() -> None:
    scattered = (read_alone(1, 32.2), read_alone(1, 32.6), read_alone(1, 32.4))
    settle = settled(judged(evidence(scattered)))
    assert (settle.more_readings, settle.readings_needed) == ("meters_and_temperature_stay", None)


def test_so_many_readings_as_are_named_do_settle_it_and_one_less_does_not() -> None:
    pair = (35.0, 38.4)
    visit = evidence(tuple(read_alone(1, current_a) for current_a in pair))
    stage = judged(visit)
    needed = settled(stage).readings_needed
    assert stage.verdict == "conditional_pass"
    assert stage.action == "read_again"
    assert needed is not None

    def repeated(number: int) -> Evidence:
        # The same mean and the same scatter from reading to reading.
        half = (pair[1] - pair[0]) / 2 * (2 * (number - 1) / number) ** 0.5
        odd = number % 2
        spread = [half * sign for sign in (-1.0, 1.0) for _ in range(number // 2)] + [0.0] * odd
        scale = (number / (number - odd)) ** 0.5
        mean = sum(pair) / 2
        return evidence(tuple(read_alone(1, mean + off * scale) for off in spread))

    assert judged(repeated(needed)).verdict == "pass"
    assert judged(repeated(needed - 1)).verdict == "conditional_pass"


def test_a_value_on_the_limit_is_settled_by_no_uncertainty() -> None:
    unit = rating(rated_currents_a=(40.0,), tolerance_lower_percent=10.0)
    stage = judged(evidence((read_alone(1, 36.0),), rating=unit))
    settle = settled(stage)
    assert stage.verdict == "conditional_pass"
    assert (settle.more_readings, settle.single_inputs) == ("at_the_limit", ())


def test_a_clear_verdict_has_nothing_to_settle() -> None:
    assert judged(evidence((read_alone(1, 36.3),))).settle is None
    assert judged(evidence((read_alone(1, 27.0),))).settle is None


def test_a_stage_without_a_verdict_names_what_is_missing_and_no_uncertainty() -> None:
    stage = judged(evidence((read_alone(1, 36.3),), rating=rating(reference_voltage_v=None)))
    settle = settled(stage)
    assert (settle.more_readings, settle.needed_u_a) == ("reference_voltage_unknown", None)
    assert stage.action == "ask_for_the_rating"
