"""A meter that reads low: found, looked back on, and the declines it made up withdrawn."""

from dataclasses import replace

import numpy as np

from calc.trend import Corrections, fit, looked_back_on
from calc.trend.meter_model import MeterEffects
from inspections.bench.low_meter import low_meters
from inspections.bench.worlds import World
from tests.calc.trend.builders import losing, marked, one_unit, steady, stepped, told

LOW_BY_SEVEN = Corrections(np.array([0.0, -7.0]), np.array([False, True]))


def test_planted_low_meters_are_found_and_few_others() -> None:
    found = low_meters(World(2.0, 1.5), 4, 50)
    assert found.found == found.planted == 2
    assert found.others_flagged <= 1
    assert found.effect_error_percent < 0.35


def test_a_decline_that_only_a_low_meter_made_up_is_withdrawn_and_not_deleted() -> None:
    series = marked(one_unit(stepped(steady(4, 20), [1, 2, 3, 4], 7.0, 12)), "meters", range(12, 20), value=1)
    assert told(fit(series)) == [("meter", 0, "confirmed")]
    found = fit(series, LOW_BY_SEVEN)
    assert told(found) == [("meter", 0, "withdrawn")]
    assert found.episodes.identities() == fit(series).episodes.identities()
    assert found.episodes.ended.tolist() == [19]
    assert not found.declining.any()


def test_a_decline_of_one_stage_stands_whatever_the_meter() -> None:
    series = marked(one_unit(losing(steady(4, 20), [2], 5.0, 5)), "meters", range(12, 20), value=1)
    assert ("stage", 2, "confirmed") in told(fit(series, LOW_BY_SEVEN))


def test_small_effects_are_not_taken_out() -> None:
    series = one_unit(steady(4, 20))
    small = replace(LOW_BY_SEVEN, effect_percent=np.array([-0.3, 0.2]), flagged=np.zeros(2, bool))
    np.testing.assert_array_equal(fit(series, small).level_percent, fit(series).level_percent)


def test_only_certain_and_large_effects_are_flagged() -> None:
    effects = MeterEffects(
        np.array([-0.6, -2.0, -2.0, 2.0, np.nan]),
        np.array([0.1, 1.0, 0.2, 0.2, np.nan]),
        np.zeros(5, np.int64),
        np.ones(5, np.int64),
    )
    assert effects.reads_low.tolist() == [False, False, True, False, False]
    assert effects.reads_high.tolist() == [False, False, False, True, False]
    assert Corrections.of(effects).flagged.tolist() == [False, False, True, True, False]


def test_everything_a_meter_has_read_is_looked_back_on() -> None:
    meters = np.array([[0, 1], [1, -1], [1, 0]])
    visit, installation = looked_back_on(meters, np.array([False, True]))
    assert list(zip(visit.tolist(), installation.tolist(), strict=True)) == [(0, 1), (1, 0), (2, 0)]
