"""What is flagged, as whose loss, and how it ends."""

import numpy as np
import pytest

from calc.trend import ENDINGS, fit
from tests.calc.trend.builders import (
    flagged,
    losing,
    marked,
    one_unit,
    steady,
    stepped,
    told,
    with_resistances,
)


@pytest.mark.parametrize("stages", range(1, 9))
def test_a_unit_that_only_scatters_is_not_flagged(stages: int) -> None:
    assert flagged(one_unit(steady(stages, 20))) == []


def test_a_unit_that_always_stood_low_is_not_losing_current() -> None:
    assert flagged(one_unit(steady(4, 20, level=91.0))) == []
    unequal = steady(4, 20)
    unequal[:, 1] -= 8
    assert flagged(one_unit(unequal)) == []


def test_three_checks_decide_nothing_however_far_apart_they_are() -> None:
    found = fit(one_unit(losing(steady(4, 3), [1, 2, 3, 4], 40.0, 0)))
    assert told(found) == []
    assert found.judged_years[0] == 0


@pytest.mark.parametrize("stages", range(3, 9))
def test_one_stage_that_loses_current_is_named(stages: int) -> None:
    found = fit(one_unit(losing(steady(stages, 20), [2], 4.0, 6)))
    assert told(found) == [("stage", 2, "confirmed")]
    assert np.flatnonzero(found.declining[:, 0]).tolist() == [1]


def test_of_two_stages_the_one_that_loses_is_told_from_the_other() -> None:
    assert flagged(one_unit(losing(steady(2, 20), [2], 5.0, 6)))[0] == ("stage", 2, "confirmed")


@pytest.mark.parametrize("stages", range(1, 9))
def test_a_loss_of_all_stages_is_the_units(stages: int) -> None:
    found = fit(one_unit(losing(steady(stages, 20), range(1, stages + 1), 4.0, 6)))
    assert told(found) == [("all_stages", 0, "confirmed")]
    assert found.declining[:, 0].all()


def test_two_stages_that_both_lose_current_are_both_named() -> None:
    found = fit(one_unit(losing(steady(6, 20), [2, 5], 7.0, 6)))
    assert np.flatnonzero(found.declining[:, 0]).tolist() == [1, 4]


def test_a_rise_is_flagged_and_is_no_decline() -> None:
    found = fit(one_unit(losing(steady(4, 20), [3], -6.0, 6)))
    assert told(found) == [("stage", 3, "confirmed")]
    assert found.episodes.rising.tolist() == [True]
    assert not found.declining.any()


def test_one_mistyped_reading_flags_nothing() -> None:
    levels = steady(4, 20)
    levels[9, 3] -= 60
    assert flagged(one_unit(levels)) == []


def test_a_step_stays_flagged_while_the_level_stays_low() -> None:
    found = fit(one_unit(stepped(steady(4, 20), [1], 8.0, 8)))
    assert told(found) == [("stage", 1, "confirmed")]


def test_a_step_that_comes_back_is_withdrawn() -> None:
    levels = stepped(steady(4, 20), [1], 8.0, 6)
    levels[11:, 0] += 8.0
    found = fit(one_unit(levels))
    assert ("stage", 1, "withdrawn") in told(found)
    assert ENDINGS[found.episodes.ending[0]] == "level_regained"


def test_a_repair_resolves_and_starts_a_new_baseline() -> None:
    levels = losing(steady(4, 20), [1], 6.0, 3)
    levels[12:, 0] = steady(4, 20)[12:, 0]
    found = fit(marked(one_unit(levels), "repaired", [12]))
    assert told(found) == [("stage", 1, "resolved")]
    assert found.episodes.ended.tolist() == [12]
    assert not found.declining.any()
    assert abs(found.slope[0, 0]) < 1.5


def test_the_lines_before_and_after_a_move_are_one_line() -> None:
    levels = losing(steady(4, 20), [2], 4.0, 6)
    assert flagged(marked(one_unit(levels), "moved", [10])) == flagged(one_unit(levels))


def test_visits_with_unknown_temperature_alone_raise_no_loss_of_all_stages() -> None:
    series = one_unit(losing(steady(4, 20), [1, 2, 3, 4], 8.0, 4))
    assert flagged(series) == [("all_stages", 0, "confirmed")]
    assert flagged(marked(series, "temperature_known", range(20), value=False)) == []


def test_visits_with_unknown_temperature_still_name_a_stage() -> None:
    series = one_unit(losing(steady(4, 20), [2], 5.0, 4))
    assert flagged(marked(series, "temperature_known", range(20), value=False)) == [("stage", 2, "confirmed")]


def test_a_poor_shared_ground_is_named_and_explains_the_loss_of_all_stages() -> None:
    levels = losing(steady(4, 20), [1, 2, 3, 4], 3.0, 6)
    ground = 3.0 + np.maximum(np.arange(20) - 5, 0) * 2.0
    assert flagged(with_resistances(one_unit(levels), ground_mohm=ground)) == [("retarder_ground", 0, "confirmed")]


def test_a_poor_supply_is_named_and_takes_no_current_from_the_stages() -> None:
    supply = 8.0 + np.maximum(np.arange(20) - 6, 0) * 2.0
    found = fit(with_resistances(one_unit(steady(4, 20)), supply_mohm=supply))
    assert told(found) == [("supply", 0, "confirmed")]
    assert not found.declining.any()


def test_a_move_starts_the_supply_anew() -> None:
    supply = np.where(np.arange(20) < 10, 8.0, 20.0)
    series = with_resistances(one_unit(steady(4, 20)), supply_mohm=supply)
    assert flagged(series) == [("supply", 0, "confirmed")]
    assert flagged(marked(series, "moved", [10])) == []


def test_a_cleaned_supply_joint_is_no_fault() -> None:
    supply = np.where(np.arange(20) < 10, 20.0, 4.0)
    assert flagged(with_resistances(one_unit(steady(4, 20)), supply_mohm=supply)) == []


def test_a_loss_that_came_with_another_meter_is_the_meters_until_another_confirms_it() -> None:
    series = marked(one_unit(stepped(steady(4, 20), [1, 2, 3, 4], 7.0, 12)), "meters", range(12, 20), value=5)
    assert flagged(series)[-1] == ("meter", 0, "confirmed")
    assert not fit(series).declining.any()
    both = marked(series, "meters", [14, 16, 18], value=0)
    assert flagged(both)[-1] == ("all_stages", 0, "confirmed")


def test_a_check_without_readings_changes_no_state() -> None:
    levels = losing(steady(4, 16), [1], 4.0, 6)
    more = np.concatenate([levels, np.full((1, 4), np.nan)])
    assert told(fit(one_unit(more))) == told(fit(one_unit(levels)))


def test_a_visit_that_read_one_stage_only_is_used() -> None:
    levels = losing(steady(4, 20), [2], 5.0, 6)
    partial = levels.copy()
    partial[[3, 9, 13]] = np.nan
    partial[[3, 9, 13], 1] = levels[[3, 9, 13], 1]
    assert flagged(one_unit(partial)) == [("stage", 2, "confirmed")]
