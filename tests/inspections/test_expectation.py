"""What a healthy stage would show, slips of the decimal point, and when to stop at once."""

from decimal import Decimal

import pytest

from calc.evidence import Evidence as CalcEvidence
from calc.evidence import Meter, Rating, RestReading, StageReading
from calc.judge import judge
from inspections.expectation import (
    Expected,
    expected_by_other_stages,
    expected_by_own_history,
    expected_reading,
    is_too_high,
    slipped_current,
    slipped_voltage,
    stopping_reason,
)

RATING = Rating((35.0, 35.0, 70.0), 12.0, 20.0, 10.0, 10.0, 12.0, 2, 2)
HEALTHY = Expected(40.0, 36.0, 44.0)


@pytest.mark.parametrize(("coil_c", "volts"), [(20.0, 12.0), (-5.0, 13.8), (120.0, 14.2)])
@pytest.mark.parametrize("stage", [1, 2, 3])
def test_what_is_expected_of_a_healthy_stage_is_judged_to_be_its_rated_current(
    stage: int, coil_c: float, volts: float
) -> None:
    expected = expected_reading(RATING, [stage], supply_voltage_v=volts, coil_temperature_c=coil_c)
    reading = StageReading(stage=stage, energised=(stage,), supply_voltage_v=volts, current_a=expected.current_a)
    evidence = CalcEvidence(RATING, Meter(2.0, 5, 0.1), Meter(0.5, 2, 0.01), coil_c, 5.0, (reading,))
    assert judge(evidence).stages[0].level_percent == pytest.approx(100.0)


def test_the_band_holds_what_is_judged_to_lie_within_the_limits() -> None:
    expected = expected_reading(RATING, [1], supply_voltage_v=13.5, coil_temperature_c=40.0)
    assert expected.lower_a is not None
    reading = StageReading(stage=1, energised=(1,), supply_voltage_v=13.5, current_a=expected.lower_a)
    evidence = CalcEvidence(
        RATING, Meter(2.0, 5, 0.1), Meter(0.5, 2, 0.01), 40.0, 5.0, (reading,), rest=RestReading(13.5, 0.0)
    )
    stage = judge(evidence).stages[0]
    assert stage.normalised_current_a == pytest.approx(stage.lower_limit_a)


def test_stages_together_are_expected_to_draw_their_sum() -> None:
    together = expected_reading(RATING, [1, 2, 3], supply_voltage_v=12.0, coil_temperature_c=20.0)
    assert together.current_a == pytest.approx(140.0)


def test_without_a_reference_voltage_there_is_no_band() -> None:
    bare = Rating((35.0,), None, 20.0, 10.0, 10.0, 12.0, 2, 2)
    assert expected_reading(bare, [1], supply_voltage_v=13.8, coil_temperature_c=20.0) == Expected(35.0, None, None)


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("363", "36.3"), ("3630", "36.30"), ("36.3", None), ("52", None), ("52.1", None), ("90", None), ("1", None)],
)
def test_a_current_is_questioned_only_where_a_point_left_out_makes_it_likely(typed: str, meant: str | None) -> None:
    assert slipped_current(Decimal(typed), HEALTHY) == (None if meant is None else Decimal(meant))


@pytest.mark.parametrize(("typed", "meant"), [("138", "13.8"), ("1376", "13.76"), ("13.8", None), ("27.6", None)])
def test_a_voltage_is_questioned_where_a_point_left_out_makes_it_likely(typed: str, meant: str | None) -> None:
    assert slipped_voltage(Decimal(typed), 12) == (None if meant is None else Decimal(meant))
    assert is_too_high(Decimal(typed), 12) == (typed != "13.8")


@pytest.mark.parametrize(
    ("amps", "volts", "reason"),
    [
        (52.0, 13.8, None),
        (52.1, 13.8, "over_current"),
        (30.0, 11.04, None),
        (30.0, 11.03, "collapsing_supply"),
        (60.0, 9.0, "over_current"),
    ],
)
def test_everything_goes_off_over_130_percent_or_when_the_supply_gives_way(
    amps: float, volts: float, reason: str | None
) -> None:
    assert stopping_reason(HEALTHY, current_a=amps, supply_voltage_v=volts, rest_voltage_v=13.8) == reason


@pytest.mark.parametrize(
    ("read", "energised", "expected_a"),
    [
        ({}, [1], None),
        ({1: 2.5}, [1], None),
        ({1: 2.5}, [2], 35.0),
        ({1: 2.5, 2: 0.0}, [3], 35.0),
        ({1: 2.5, 2: 7.5, 3: 2.5}, [4], 35.0),
        ({1: 2.5, 2: 2.6, 3: 2.5, 4: 2.5}, [1, 2, 3], 105.0),
        ({1: 0.0, 2: 0.0}, [3], None),
    ],
)
def test_without_a_rating_the_other_stages_of_the_check_say_what_to_expect(
    read: dict[int, float], energised: list[int], expected_a: float | None
) -> None:
    expected = expected_by_other_stages(read, energised, supply_voltage_v=14.0)
    assert (expected and expected.current_a) == (expected_a and pytest.approx(expected_a))


def test_its_own_history_is_corrected_for_temperature_and_silent_about_a_stage_never_read() -> None:
    own = {1: 2.5, 2: 2.5}
    warm = expected_by_own_history(own, [1, 2], supply_voltage_v=14.0, coil_temperature_c=65.0)
    assert warm is not None
    assert warm.current_a == pytest.approx(70.0 * 254.5 / 299.5)
    assert expected_by_own_history(own, [3], supply_voltage_v=14.0, coil_temperature_c=65.0) is None


def test_where_nobody_knows_what_to_expect_only_a_collapsing_supply_stops() -> None:
    known = {"current_a": 400.0, "rest_voltage_v": 14.0}
    assert stopping_reason(None, supply_voltage_v=13.0, **known) is None
    assert stopping_reason(None, supply_voltage_v=9.0, **known) == "collapsing_supply"
    assert slipped_current(Decimal("363"), None) is None
