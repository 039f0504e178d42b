"""How often healthy units are flagged, how soon failing ones: small runs of the bench, with its own seeds."""

from dataclasses import replace

import numpy as np
import pytest

from calc.trend import fit
from calc.trend.expectations import slowest_visible_loss
from calc.trend.thresholds import stage_thresholds as tabulated
from inspections.bench.calibration import stage_thresholds
from inspections.bench.detect import STEP, USUAL
from inspections.bench.detection import attribution, delays, false_alarms
from inspections.bench.forecasting import coverage
from inspections.bench.worlds import Fault, fleet


@pytest.mark.parametrize("stages", [1, 4])
def test_one_healthy_unit_in_a_hundred_is_watched_in_a_year(stages: int) -> None:
    rates = false_alarms(USUAL, 71, stages, 6000)
    # 30,000 installation-years: one percent is known to within six percent of itself.
    assert rates.installation_years == pytest.approx(30_000, rel=0.02)
    assert 0.8 < rates.watched_percent < 1.2
    assert 0.1 < rates.confirmed_percent < 0.3
    assert rates.mirror_percent == pytest.approx(rates.watched_percent, rel=0.25)


def test_a_unit_that_differs_more_from_its_budget_is_flagged_at_most_twice_as_often() -> None:
    assert false_alarms(USUAL.harsh(), 72, 4, 6000).watched_percent < 2.0


def test_delays_of_the_usual_fleet() -> None:
    assert delays(USUAL, 73, 4, 2000, Fault(2.0)).median_years < 3.02
    assert delays(USUAL, 74, 4, 2000, STEP).median_years < 1.82


def test_confirmed_losses_are_laid_to_the_right_cause() -> None:
    assert attribution(USUAL, 75, 4, 1000, Fault(3.0)).right_percent > 95
    assert attribution(USUAL, 76, 2, 1000, Fault(3.0)).right_percent > 85
    assert attribution(USUAL, 77, 4, 1000, Fault(3.0, all_stages=True)).right_percent > 97


def test_forecasts_hold_what_their_range_promises() -> None:
    found = coverage(USUAL, 78, 4, 1000, Fault(3.0))
    assert found.forecasts > 900
    assert 88 <= found.covered_percent <= 99
    assert found.earliest_safe_percent >= 92


def test_the_tabulated_thresholds_are_those_of_a_simulation() -> None:
    common, contrast = stage_thresholds(USUAL, 4, 20_000)
    noise = np.array(
        [[USUAL.stage_sd_percent**2 / 4 + USUAL.shared_sd_percent**2], [USUAL.stage_sd_percent**2 * 4 / 3]]
    )
    table = tabulated(4, noise)
    assert table.fall_watch[:, 0] == pytest.approx([common[0], contrast[0]], abs=0.08)
    assert table.fall_alarm[:, 0] == pytest.approx([common[1], contrast[1]], abs=0.15)


def test_a_unit_that_always_stood_five_percent_low_is_flagged_no_more_often() -> None:
    rates = [_watched_share(offset) for offset in (0.0, -5.0)]
    assert rates[1] == rates[0] > 0


def _watched_share(offset_percent: float) -> float:
    series = fleet(USUAL, np.random.default_rng(79), installations=2000, stages=4).series
    moved = replace(series, levels_percent=series.levels_percent + offset_percent)
    return len(np.unique(fit(moved, forecast=False).episodes.installation)) / 2000


def test_what_cannot_be_seen_is_said() -> None:
    seen = slowest_visible_loss(4, own_u_percent=2.0, shared_u_percent=1.5, checks_per_year=4)
    found = delays(USUAL, 80, 4, 2000, Fault(seen.one_stage))
    assert found.within_three_years_percent == pytest.approx(50, abs=8)
    assert slowest_visible_loss(4, own_u_percent=30.0, shared_u_percent=30.0, checks_per_year=1).one_stage > 10
