"""One series judged without being stored."""

import datetime as dt

import numpy as np
import pytest

from calc.errors import OutOfRange
from calc.trend import preview
from tests.calc.trend.builders import FIRST, checks_of, losing, steady, stepped


def test_slope_and_interval_of_a_straight_line() -> None:
    at, levels = checks_of(losing(np.full((8, 2), 100.0), [1], 4.0, 0))
    stage = preview(at, levels, [[2.0] * 2] * 8, lower_limits_percent=[90.0, 90.0]).stages[0]
    assert stage.slope_percent_per_year == pytest.approx(-4.0)
    assert [stage.slope_low, stage.slope_high] == pytest.approx([-4.0, -4.0])
    # Without ties the least of 8! orderings: B1, Gilbert (1987) table A18 (M), 0.0000248.
    assert stage.decline_probability == pytest.approx(1 / 40320)


def test_a_decline_has_a_date_with_its_range_and_a_next_check() -> None:
    at, levels = checks_of(losing(steady(4, 16), [3], 5.0, 6))
    found = preview(at, levels, [[2.0] * 4] * 16, lower_limits_percent=[80.0] * 4)
    third = found.stages[2]
    assert (found.attribution, third.declining, found.confirmed) == ("stage", True, True)
    assert third.crosses_earliest_on is not None
    assert third.crosses_lower_limit_on is not None
    assert at[-1].date() < third.crosses_earliest_on < third.crosses_lower_limit_on
    assert third.crosses_latest_on is None or third.crosses_lower_limit_on < third.crosses_latest_on
    # Truly at 100 − 5·(t − 1.5 years) = 80, that is 5.5 years in.
    truly = (FIRST + dt.timedelta(days=5.5 * 365.25)).date()
    assert third.crosses_earliest_on < truly < (third.crosses_latest_on or dt.date.max)
    assert found.next_check_on is not None
    assert [stage.crosses_lower_limit_on for stage in found.stages if stage.stage != 3] == [None] * 3


def test_a_stage_below_already_crosses_no_later_than_the_last_check() -> None:
    at, levels = checks_of(stepped(losing(steady(4, 16), [1], 6.0, 5), [1], 20.0, 12))
    stage = preview(at, levels, [[2.0] * 4] * 16, lower_limits_percent=[90.0] * 4).stages[0]
    assert stage.declining
    assert stage.crosses_lower_limit_on == at[-1].date()


def test_a_crossing_beyond_the_horizon_is_an_answer() -> None:
    at, levels = checks_of(stepped(steady(4, 20), [1], 6.0, 8))
    stage = preview(at, levels, [[1.0] * 4] * 20, lower_limits_percent=[20.0] * 4).stages[0]
    assert stage.declining
    assert stage.not_within_horizon
    assert stage.crosses_lower_limit_on is None


def test_without_a_lower_limit_there_is_no_date() -> None:
    at, levels = checks_of(losing(steady(4, 16), [3], 5.0, 6))
    stage = preview(at, levels, [[2.0] * 4] * 16, lower_limits_percent=[None] * 4).stages[2]
    assert stage.declining
    assert (stage.crosses_lower_limit_on, stage.not_within_horizon) == (None, False)


def test_too_few_checks_have_no_slope() -> None:
    at, levels = checks_of(steady(2, 2))
    stage = preview(at, levels, [[2.0] * 2] * 2, lower_limits_percent=[90.0] * 2).stages[0]
    assert (stage.slope_percent_per_year, stage.slope_low, stage.declining) == (None, None, False)


def test_an_interval_that_three_readings_cannot_give_is_left_out() -> None:
    at, levels = checks_of(steady(2, 3))
    stage = preview(at, levels, [[2.0] * 2] * 3, lower_limits_percent=[90.0] * 2).stages[0]
    assert stage.slope_percent_per_year is not None
    assert stage.slope_low is None


def test_a_larger_shared_uncertainty_takes_longer_to_blame_all_stages() -> None:
    at, levels = checks_of(losing(steady(4, 14), [1, 2, 3, 4], 3.0, 6))
    u = [[2.0] * 4] * 14
    sure = preview(at, levels, u, lower_limits_percent=[90.0] * 4, shared_expanded_uncertainty_percent=1.0)
    unsure = preview(at, levels, u, lower_limits_percent=[90.0] * 4, shared_expanded_uncertainty_percent=12.0)
    assert (sure.attribution, unsure.attribution) == ("all_stages", None)


def test_no_checks_say_nothing() -> None:
    found = preview([], [], [], lower_limits_percent=[90.0] * 4)
    assert found.attribution is None
    assert found.stages[0].level_percent is None


def test_an_uncertainty_of_nothing_is_refused_by_name() -> None:
    at, levels = checks_of(steady(2, 4))
    with pytest.raises(OutOfRange, match="u_own_percent"):
        preview(at, levels, [[0.0] * 2] * 4, lower_limits_percent=[90.0] * 2)


def test_more_stages_than_a_unit_can_have_are_refused() -> None:
    at, levels = checks_of(steady(9, 4))
    with pytest.raises(OutOfRange, match="stages = 9"):
        preview(at, levels, [[2.0] * 9] * 4, lower_limits_percent=[90.0] * 9)
