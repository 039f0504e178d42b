"""A clamp that turns with no calibration on file: found where it can be, its declines withdrawn, and nobody else's."""

from dataclasses import replace

import numpy as np
import pytest

from calc.trend import Corrections, MeterParts, fit, meter_effects
from calc.trend.corrections import corrected, parts_that_count
from calc.trend.meter_steps import stepped_effects
from inspections.bench.low_meter import visits_of
from inspections.bench.turning_meter import alarms_each_year, turned_found
from inspections.bench.turning_worlds import Depots, turned_depots
from inspections.bench.worlds import World
from inspections.services.meter_spool import VisitSpool
from tests.calc.trend.builders import marked, one_unit, steady, stepped, told

USUAL = World(2.0, 1.5)
SEED = 20_261_125
TURNED = Depots(units=100, clamps=2, step_percent=-3.0, losing_share=0.1)
# The units of one of four clamps lose 4 % at about one time; 10 % of all visits are read by another clamp.
LOSING = Depots(units=80, clamps=4, batch_percent=-4.0)


def test_a_corroborated_turn_is_found_and_its_declines_withdrawn_but_no_real_one() -> None:
    found = turned_found(TURNED, USUAL, SEED, 6)
    assert found.found_percent == 100
    assert found.others_percent == 0
    assert found.date_error_days < 20
    assert abs(found.effect_error_percent) < 0.3
    assert found.declines_made > 40
    assert found.withdrawn >= 0.9 * found.declines_made
    assert found.real > 10
    assert found.real_withdrawn == 0


def test_among_four_clamps_of_a_depot_it_alone_is_found() -> None:
    found = turned_found(replace(TURNED, units=200, clamps=4), USUAL, SEED + 1, 4)
    assert (found.found_percent, found.others_percent) == (100, 0)


@pytest.mark.parametrize("foreign_share", [0.02, 0.1, 0.2])
def test_a_true_loss_of_the_units_that_one_clamp_mostly_reads_is_not_laid_to_it(foreign_share: float) -> None:
    found = turned_found(replace(LOSING, foreign_share=foreign_share), USUAL, SEED + 2, 10)
    assert (found.found_percent, found.others_percent, found.real_withdrawn) == (0, 0, 0)
    assert found.real > 100


@pytest.mark.parametrize(("share", "least_doubted_percent"), [(1.0, 90), (2 / 3, 50)])
def test_a_sole_clamp_explains_no_loss_away_and_is_doubted(share: float, least_doubted_percent: float) -> None:
    sole = Depots(batch_percent=-4.0, batch_share=share)
    found = turned_found(sole, USUAL, SEED + 3, 10)
    assert found.doubted_percent >= least_doubted_percent
    assert (found.found_percent, found.real_withdrawn) == (0, 0)
    assert found.real > 50


def test_a_sole_clamp_that_read_high_before_is_doubted_and_nothing_is_taken_out() -> None:
    turned = turned_depots(Depots(), USUAL, np.random.default_rng(SEED + 4), 6)
    high = np.where(turned.series.years < 1.8, 1.04, 1.0)
    visits = visits_of(replace(turned.series, levels_percent=turned.series.levels_percent * high[:, None]))
    found = stepped_effects(lambda: [visits], turned.meters)
    assert found.parts.meter.tolist() == list(range(6))
    assert not found.steps.corroborated.any()
    assert not found.flagged.any()
    np.testing.assert_allclose(found.step_percent, -4.0, atol=1.5)
    assert not Corrections.of_steps(found).flagged.any()


def test_one_that_read_high_among_others_is_told_from_the_same_put_right() -> None:
    turned = turned_depots(Depots(units=120, clamps=3), USUAL, np.random.default_rng(SEED + 5), 1)
    high = (turned.series.meters == 0) & (turned.series.years < 1.8)
    levels = turned.series.levels_percent * np.where(high, 1.04, 1.0)[:, None]
    visits = visits_of(replace(turned.series, levels_percent=levels))
    found = stepped_effects(lambda: [visits], turned.meters)
    assert found.parts.meter.tolist() == [0]
    assert found.steps.corroborated.tolist() == [True]
    assert found.flagged.tolist() == [True, False, False, False]
    assert found.effects.reads_high.tolist() == found.flagged.tolist()


def test_a_step_on_file_stays_at_its_day_on_less_evidence_and_goes_without_any() -> None:
    # What nobody would raise of eleven units of each clamp is kept of them, at a day that is a week off.
    turned = turned_depots(replace(TURNED, step_percent=-3.5), USUAL, np.random.default_rng(SEED), 1)
    raised = stepped_effects(lambda: [visits_of(turned.series)], turned.meters)
    assert raised.parts.meter.tolist() == [0]
    day = raised.parts.since_years + 7 / 365.25
    some = visits_of(turned.series.of(slice(0, 22)))
    assert len(stepped_effects(lambda: [some], turned.meters).parts) == 0
    filed = replace(raised.steps, parts=MeterParts(raised.parts.meter, day)).as_filed()
    assert stepped_effects(lambda: [some], turned.meters, filed).parts.since_years.tolist() == day.tolist()
    steady = visits_of(turned.steady)
    assert len(stepped_effects(lambda: [steady], turned.meters, filed).parts) == 0


def test_what_is_found_with_the_steps_on_file_is_found_again() -> None:
    visits = visits_of(turned_depots(TURNED, USUAL, np.random.default_rng(SEED), 3).series)
    first = stepped_effects(lambda: [visits], 6)
    again = stepped_effects(lambda: [visits], 6, first.steps.as_filed())
    assert len(first.parts) >= 2
    np.testing.assert_array_equal(first.effects.effect_percent, again.effects.effect_percent)
    np.testing.assert_array_equal(first.effects.u_percent, again.effects.u_percent)
    np.testing.assert_array_equal(first.flagged, again.flagged)


def test_what_befalls_all_units_of_a_depot_is_not_laid_to_any_of_its_clamps() -> None:
    # This would fail only if both looks at the others failed; how often healthy clamps are flagged is in the bench.
    befallen = Depots(units=80, clamps=4, event_percent=-3.0)
    assert alarms_each_year(befallen, USUAL, SEED + 6, 3).flagged_percent == 0


def test_too_few_units_raise_no_doubt() -> None:
    few = Depots(units=9, step_percent=-6.0)
    assert turned_found(few, USUAL, SEED + 7, 10).doubted_percent == 0
    assert turned_found(replace(few, units=14), USUAL, SEED + 7, 10).doubted_percent > 50


def test_without_a_step_the_effects_are_those_of_the_whole_model() -> None:
    turned = turned_depots(Depots(units=40, clamps=2), USUAL, np.random.default_rng(SEED), 3)
    visits = visits_of(turned.series)
    found = stepped_effects(lambda: [visits], turned.meters)
    columns = (visits.unit, visits.meter, visits.years, visits.value_percent, visits.variance)
    whole = meter_effects(*columns, units=visits.units, meters=turned.meters)
    assert len(found.parts) == 0
    np.testing.assert_array_equal(found.effects.effect_percent, whole.effect_percent)
    np.testing.assert_array_equal(found.effects.u_percent, whole.u_percent)


def test_it_does_not_matter_how_the_units_are_cut_into_ranges() -> None:
    depots = replace(TURNED, units=60, step_percent=-4.0)
    turned = turned_depots(depots, USUAL, np.random.default_rng(SEED), 2)
    half = turned.series.installations // 2
    whole = [visits_of(turned.series)]
    ranges = [visits_of(turned.series.of(slice(0, half))), visits_of(turned.series.of(slice(half, 2 * half)))]
    one = stepped_effects(lambda: whole, turned.meters)
    with VisitSpool(lambda: ranges) as spool:
        two = stepped_effects(spool, turned.meters)
    assert one.parts.meter.tolist() == two.parts.meter.tolist() == [0, 2]
    np.testing.assert_array_equal(one.parts.since_years, two.parts.since_years)
    np.testing.assert_allclose(one.effects.effect_percent, two.effects.effect_percent, atol=1e-6)


def test_only_what_was_read_since_the_step_is_corrected() -> None:
    # One clamp all along: the decline that it made up stays the one it was, withdrawn.
    series = marked(one_unit(stepped(steady(4, 20), [1, 2, 3, 4], 7.0, 12)), "meters", range(20), value=0)
    since = MeterParts(np.array([0]), series.years[12])
    found = fit(series, Corrections(np.array([0.0, -7.0]), np.array([False, True]), since))
    assert told(fit(series)) == [("all_stages", 0, "confirmed")]
    assert told(found) == [("all_stages", 0, "withdrawn")]
    assert found.episodes.identities() == fit(series).episodes.identities()


@pytest.mark.parametrize(
    ("before_percent", "step_percent", "ends"),
    [(-3.0, 3.0, True), (-3.0, -2.0, False), (3.0, -3.0, False), (0.0, 2.0, False)],
)
def test_a_doubt_ends_what_makes_up_for_a_low_meter_and_else_changes_nothing(
    before_percent: float, step_percent: float, ends: bool
) -> None:
    of_one = MeterParts(np.array([0, 0]), np.array([1.0, 2.0]))
    taken_out = np.array([0.0, before_percent, 0.0])
    counts = parts_that_count(of_one, taken_out, np.array([True, False]), np.array([before_percent, step_percent]))
    assert counts.tolist() == [True, ends]


def test_visits_are_no_better_known_than_what_was_taken_out_of_them() -> None:
    series = marked(one_unit(steady(4, 20)), "meters", range(20), value=0)
    since = MeterParts(np.array([0]), series.years[12])
    taken_out = Corrections(np.array([0.0, -3.0]), np.array([False, True]), since, np.array([0.0, 0.4]))
    u = corrected(series, taken_out).u_shared_percent[:, 0]
    as_read = series.u_shared_percent[:, 0]
    np.testing.assert_array_equal(u[:12], as_read[:12])
    np.testing.assert_allclose(u[12:], np.hypot(as_read[12:], 0.4))


def test_parts_are_numbered_after_the_meters_by_meter_and_time() -> None:
    first, second = MeterParts(np.array([2]), np.array([1.5])), MeterParts(np.array([0, 2]), np.array([3.0, 1.0]))
    parts, came_from = first.beside(second)
    assert (parts.meter.tolist(), parts.since_years.tolist(), came_from.tolist()) == (
        [0, 2, 2],
        [3.0, 1.0, 1.5],
        [1, 2, 0],
    )
    assert parts.before(3).tolist() == [0, 2, 4]
    assert parts.part_of(3).tolist() == [-1, -1, -1, 0, 2, 2]
    meters, years = np.array([0, 0, 1, 2, 2, 2, 2]), np.array([2.9, 3.0, 9.0, 0.9, 1.0, 1.49, 1.5])
    assert parts.numbers(meters, years, 3).tolist() == [0, 3, 1, 2, 4, 4, 5]
