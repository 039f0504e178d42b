"""Torque share: the electrical part only, between exponent 1 and 2 of the current, cold and at 150 °C."""

import pytest

from calc.judge import judge as judge_with_causes
from calc.judgement import Judgement
from tests.calc.builders import evidence, rating, single_pass


def at_level(percent: float, **changes: object) -> Judgement:
    return judge_with_causes(evidence(single_pass((35.5 * percent / 100,) * 4), **changes), rank="never")


# Torque against stage current (derived): percent of rated current, n = 2, n = 1.
@pytest.mark.parametrize(
    ("current_percent", "square_percent", "linear_percent"),
    [(95, 90, 95), (90, 81, 90), (80, 64, 80), (70, 49, 70), (50, 25, 50)],
)
def test_torque_goes_with_the_current_to_a_power_between_1_and_2(
    current_percent: float, square_percent: float, linear_percent: float
) -> None:
    share = at_level(current_percent).torque_share_range_percent
    assert share is not None
    assert [round(percent) for percent in share.cold] == [square_percent, linear_percent]


def test_a_coil_at_150_degrees_leaves_44_to_66_percent() -> None:
    # 254.5/384.5 of the cold current (derived): 66 % with n = 1, 44 % with n = 2.
    share = at_level(100).torque_share_range_percent
    assert share is not None
    assert [round(percent) for percent in share.at_150_c] == [44, 66]
    assert share.cold == pytest.approx((100.0, 100.0))


def test_losing_one_of_n_equal_stages_leaves_n_minus_one_of_them() -> None:
    # Derived: 75 % for four stages, at any exponent.
    judgement = judge_with_causes(evidence(single_pass((35.5, 35.5, 0.0, 35.5))), rank="never")
    assert judgement.torque_share_range_percent is not None
    assert judgement.torque_share_range_percent.cold == pytest.approx((75.0, 75.0))


def test_the_coils_temperature_of_the_day_makes_no_difference_to_the_share_when_cold() -> None:
    hot = judge_with_causes(evidence(single_pass((35.5 * 254.5 / 334.5,) * 4), coil_temperature_c=100.0), rank="never")
    assert hot.torque_share_percent == pytest.approx(100.0)


def test_a_box_at_fewer_volts_than_the_rating_holds_at_brakes_less() -> None:
    share = judge_with_causes(evidence(single_pass((35.5 * 12.6 / 14,) * 4, 12.6)), rank="never")
    assert share.torque_share_range_percent is not None
    assert share.torque_share_range_percent.cold == pytest.approx((81.0, 90.0))


def test_above_rated_the_range_is_still_lower_first() -> None:
    share = at_level(110).torque_share_range_percent
    assert share is not None
    assert share.cold == pytest.approx((110.0, 121.0))


def test_without_a_reference_voltage_there_is_no_share() -> None:
    judgement = at_level(100, rating=rating(reference_voltage_v=None))
    assert judgement.torque_share_range_percent is None
