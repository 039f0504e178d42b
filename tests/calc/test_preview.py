"""Before anything is measured: expected amps, uncertainty, whether a pass is possible, and what would make it so."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calc.evidence import Evidence, Meter, RelayBox, RestReading
from calc.judge import judge
from calc.preview import preview
from tests.calc.builders import evidence, rating, read_alone

# The worked example (derived): 35 A at 12 V and 20 °C, clamp 2 % + 5 counts of 0.1 A.
AT_12_V = rating(rated_currents_a=(35.0,) * 4, reference_voltage_v=12.0)


def before(**changes: object) -> Evidence:
    usual: dict[str, object] = {"rating": AT_12_V, "rest": None}
    return evidence((), **(usual | changes))


# Expected amps of the example at 13.30 V (derived): 38.8, 36.0 and 34.7 A for coils at 20, 40 and 50 °C.
@pytest.mark.parametrize("coil_temperature_c", [20.0, 40.0, 50.0])
def test_a_healthy_stage_is_expected_to_draw_what_copper_and_volts_say(coil_temperature_c: float) -> None:
    stages = preview(before(coil_temperature_c=coil_temperature_c), 13.30).stages
    expected_a = 35.0 * 13.30 / 12 * 254.5 / (234.5 + coil_temperature_c)
    assert [stage.expected_current_a for stage in stages] == pytest.approx([expected_a] * 4)
    assert [stage.stage for stage in stages] == [1, 2, 3, 4]


def test_the_uncertainty_is_that_of_a_judgement_of_the_expected_reading() -> None:
    visit = before(coil_temperature_c=40.0, coil_temperature_bound_c=10.0)
    stage = preview(visit, 13.30).stages[0]
    reading = read_alone(1, stage.expected_current_a or 0.0, 13.30)
    (judged,) = judge(replace(visit, stage_readings=(reading,)), rank="never").stages
    assert judged.normalised_current_a == pytest.approx(35.0)
    assert stage.expanded_uncertainty_a == pytest.approx(judged.expanded_uncertainty_a)
    assert (stage.lower_limit_a, stage.upper_limit_a) == pytest.approx((31.5, 38.5))


@pytest.mark.parametrize(("system_v", "expected_v"), [(12.0, 14.0), (24.0, 28.0)])
def test_without_a_stated_voltage_the_running_voltage_is_assumed_and_said_so(
    system_v: float, expected_v: float
) -> None:
    said = preview(before(rating=replace(AT_12_V, system_voltage_v=system_v)))
    assert (said.supply_voltage_v, said.supply_voltage_assumed) == (expected_v, True)
    assert not preview(before(), 13.3).supply_voltage_assumed


def test_an_unknown_coil_temperature_is_said_to_be_assumed_and_cannot_pass() -> None:
    said = preview(before(coil_temperature_c=None, coil_temperature_bound_c=None), 13.3)
    assert (said.coil_temperature_c, said.coil_temperature_bound_c, said.coil_temperature_assumed) == (50.0, 30.0, True)
    assert not any(stage.can_pass for stage in said.stages)
    assert {stage.capability is not None and stage.capability < 1 for stage in said.stages} == {True}


@settings(deadline=None, max_examples=60)
@given(
    percent=st.floats(0.2, 4),
    bound_c=st.floats(0.5, 30),
    tolerance=st.floats(4, 15),
    rule=st.sampled_from(["guarded", "simple", "max_false_accept"]),
)
def test_it_can_pass_exactly_where_some_reading_would(
    percent: float, bound_c: float, tolerance: float, rule: str
) -> None:
    unit = replace(AT_12_V, tolerance_lower_percent=tolerance, tolerance_upper_percent=tolerance)
    visit = before(
        rating=unit,
        ammeter=Meter(percent, 5, 0.1),
        coil_temperature_bound_c=bound_c,
        decision_rule=rule,
        max_false_accept_probability=0.05,
    )
    stage = preview(visit, 13.3).stages[0]
    levels = [1 + tolerance * step / 1000 for step in range(-10, 11)]
    readings = [read_alone(1, 35.0 * 13.3 / 12 * level, 13.3) for level in levels]
    verdicts = {judge(replace(visit, stage_readings=(one,)), rank="never").stages[0].verdict for one in readings}
    near_the_edge = stage.capability is not None and 0.98 < stage.capability < 1.02
    if not near_the_edge and rule != "max_false_accept":
        assert stage.can_pass == ("pass" in verdicts)
    if rule == "max_false_accept" and stage.can_pass:
        assert "pass" in verdicts


def test_the_bound_and_the_clamp_that_would_do_are_the_widest_with_which_it_can_pass() -> None:
    visit = before(coil_temperature_c=50.0, coil_temperature_bound_c=30.0)
    stage = preview(visit, 13.3).stages[0]
    would_do = {one.source: one for one in stage.would_do}
    assert not stage.can_pass
    assert "ammeter" not in would_do
    needed_c = would_do["coil_temperature"].needed
    assert preview(replace(visit, coil_temperature_bound_c=needed_c * 0.999), 13.3).stages[0].can_pass
    assert not preview(replace(visit, coil_temperature_bound_c=needed_c * 1.001), 13.3).stages[0].can_pass


def test_where_a_pass_is_possible_it_says_how_much_worse_each_input_may_be() -> None:
    stage = preview(before(), 13.3).stages[0]
    assert stage.can_pass
    assert all(one.needed > one.present for one in stage.would_do)
    assert {one.source for one in stage.would_do} == {"coil_temperature", "ammeter", "voltmeter"}


def test_limits_that_are_not_symmetric_are_previewed_in_their_middle() -> None:
    unit = replace(AT_12_V, tolerance_lower_percent=2.0, tolerance_upper_percent=12.0)
    assert preview(before(rating=unit), 13.3).stages[0].can_pass


@pytest.mark.parametrize("sides", [(10.0, None), (None, 10.0)])
def test_with_one_limit_a_pass_is_always_possible(sides: tuple[float | None, float | None]) -> None:
    unit = replace(AT_12_V, tolerance_lower_percent=sides[0], tolerance_upper_percent=sides[1])
    stage = preview(before(rating=unit), 13.3).stages[0]
    assert stage.can_pass
    assert stage.capability is None


def test_a_rating_without_a_voltage_promises_no_pass_and_no_amps() -> None:
    stage = preview(before(rating=rating(reference_voltage_v=None)), 13.3).stages[0]
    assert (stage.can_pass, stage.expected_current_a, stage.expanded_uncertainty_a) == (False, None, None)
    assert stage.undetermined_reason == "reference_voltage_unknown"


def test_a_clamp_whose_range_ends_below_the_expected_amps_promises_no_pass() -> None:
    stage = preview(before(ammeter=Meter(2.0, 5, 0.1, range_max=30.0)), 13.3).stages[0]
    assert (stage.can_pass, stage.undetermined_reason) == (False, "over_range")


def test_readings_that_come_along_are_not_looked_at() -> None:
    bare = before()
    full = replace(bare, stage_readings=(read_alone(1, 5.0),), rest=RestReading(14.0, 30.0), stages_not_read=(4,))
    assert preview(full, 13.3) == preview(bare, 13.3)


def test_an_electronic_drive_is_promised_nothing() -> None:
    stage = preview(before(relay_box=RelayBox(drive="electronic")), 13.3).stages[0]
    assert (stage.can_pass, stage.undetermined_reason) == (False, "electronic_drive")
