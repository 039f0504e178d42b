"""The simulated book reads like a workshop's and shows what was planted."""

import datetime as dt
from collections import Counter
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from inspections.simulation.book import Visit, counter_readings, on_day, simulated_visits
from tests.inspections.simulated_book import (
    FLEET,
    ROWS,
    SEED,
    STORY,
    UNTIL,
    book,
    shares,
    type_of,
    verdict_of,
    visits_of,
)

VISIT_FIELDS = {
    "installation", "performed_at", "purpose", "engine_state", "ammeter", "voltmeter", "coil_temperature_method",
    "coil_temperature_c", "coil_temperature_bound_c", "rest", "stage_readings", "extra_readings", "notes",
}  # fmt: skip
STAGE_READING_FIELDS = {
    "stage", "energised", "supply_voltage_v", "current_a", "seconds_on", "outputs_live", "lamps_lit",
}  # fmt: skip
EXTRA_READING_FIELDS = {"kind", "stage", "value", "energised", "over_range"}


def test_equal_seed_and_date_give_equal_books_and_another_seed_another() -> None:
    assert list(simulated_visits(FLEET, until=UNTIL, seed=SEED)) == list(book())
    assert list(counter_readings(FLEET, until=UNTIL, seed=5)) == list(counter_readings(FLEET, until=UNTIL, seed=5))
    assert book(seed=SEED + 1) != book()


@pytest.mark.parametrize("until", [UNTIL + dt.timedelta(days=day) for day in range(7)] + [dt.date(2027, 1, 2)])
def test_every_visit_is_in_order_on_a_working_day_in_working_hours_while_the_unit_is_fitted(until: dt.date) -> None:
    visits = book(until)
    assert all(earlier.performed_at <= later.performed_at for earlier, later in pairwise(visits))
    for visit in visits:
        installation = ROWS["installations"][visit.installation]
        on, time = visit.performed_at.date(), visit.performed_at.time()
        assert on.weekday() < 5
        assert dt.time(7, 30) <= time < dt.time(15, 30)
        assert on_day(until, installation["fitted_on"]) < on <= on_day(until, installation["removed_on"] or -1)
        assert visit.performed_at == dt.datetime.fromisoformat(visit.document["performed_at"])
    assert visits[0].performed_at.date() < on_day(until, -700)


def test_documents_use_the_names_of_the_interface_and_no_others() -> None:
    for visit in book():
        document = visit.document
        assert set(document) - {"extra_readings"} == VISIT_FIELDS - {"extra_readings"}
        assert set(document["rest"]) == {"supply_voltage_v", "current_a"}
        assert all(set(reading) <= STAGE_READING_FIELDS for reading in document["stage_readings"])
        assert all(set(reading) <= EXTRA_READING_FIELDS for reading in document.get("extra_readings", []))
    assert set().union(*(visit.document for visit in book())) == VISIT_FIELDS


def test_every_reading_has_the_digits_of_its_meter_and_lies_within_its_range() -> None:
    for visit in book():
        document = visit.document
        for reading in [*document["stage_readings"], document["rest"]]:
            for kind, name in (("ammeter", "current_a"), ("voltmeter", "supply_voltage_v")):
                meter = ROWS["meters"][document[kind]]
                assert reading[name].as_tuple().exponent == {0.1: -1, 0.01: -2}[meter["resolution"]]
                assert abs(reading[name]) <= meter["range_max"]


def test_a_visit_covers_every_stage_and_a_retest_the_stages_it_answers() -> None:
    for visit in book():
        stages = {reading["stage"] for reading in visit.document["stage_readings"] if len(reading["energised"]) == 1}
        assert stages == set(visit.retested_stages or range(1, len(type_of(visit)["rated_currents_a"]) + 1))


def is_healthy(visit: Visit) -> bool:
    faulty = {fault["installation"] for fault in STORY["faults"]}
    dropped_on = on_day(UNTIL, -75) - dt.timedelta(days=5)
    low_clamp = visit.document["ammeter"] == "clamp_blue" and visit.performed_at.date() >= dropped_on
    return visit.installation not in faulty and not low_clamp and visit.document["coil_temperature_c"] is not None


def test_healthy_units_draw_their_rated_current_within_meters_spread_and_temperature() -> None:
    single = [
        share
        for visit in book()
        if is_healthy(visit)
        for energised, share in shares(visit).items()
        if len(energised) == 1
    ]
    assert len(single) > 300
    assert np.abs(np.array(single) - 1).max() < 0.055
    assert np.mean(single) == pytest.approx(1.0, abs=0.01)


def test_healthy_units_pass_or_pass_conditionally() -> None:
    judged = [visit for visit in book() if is_healthy(visit) and visit.installation not in ("truck_29", "truck_30")]
    verdicts = Counter(verdict_of(visit) for visit in judged)
    assert set(verdicts) <= {"pass", "conditional_pass"}
    assert verdicts["pass"] > 0.9 * len(judged)


def test_a_type_without_a_reference_voltage_and_an_electronic_box_get_no_verdict() -> None:
    assert {verdict_of(visit) for visit in visits_of("truck_29") + visits_of("truck_30")} == {"undetermined"}


@pytest.mark.parametrize(("installation", "stage", "fall_percent"), [("pump_3", 2, (4, 9)), ("coach_12", 4, (9, 15))])
def test_a_growing_contact_resistance_makes_one_stage_lose_current(
    installation: str, stage: int, fall_percent: tuple[float, float]
) -> None:
    def against_the_others(visit: Visit) -> float:
        found = shares(visit)
        return found[(stage,)] / float(np.mean([found[k,] for k in (1, 2, 3, 4) if k != stage]))

    first, last = visits_of(installation)[0], visits_of(installation)[-1]
    fall = (1 - against_the_others(last) / against_the_others(first)) * 100
    assert fall_percent[0] < fall < fall_percent[1]


def test_a_poor_shared_ground_shows_in_the_cumulative_pass_and_hardly_one_by_one() -> None:
    found = shares(visits_of("coach_15")[-1])
    assert [found[k,] for k in (1, 2, 3, 4)] == pytest.approx([0.96] * 4, abs=0.03)
    steps = [found[tuple(range(1, k + 1))] for k in (1, 2, 3, 4)]
    assert all(later < earlier - 0.02 for earlier, later in pairwise(steps))
    assert steps[3] < 0.89


def test_a_blown_fuse_fails_and_its_retest_passes_after_the_repair() -> None:
    failed, retest = visits_of("truck_24")[-2:]
    assert shares(failed)[(3,)] == pytest.approx(0.0, abs=0.02)
    output = failed.document["extra_readings"][0]
    assert output["kind"] == "output_voltage"
    assert output["value"] < 1
    assert (verdict_of(failed), verdict_of(retest)) == ("fail", "pass")
    assert retest.retested_stages == (3,)
    repaired_on = on_day(UNTIL, STORY["repairs"][0]["repaired_on"])
    assert failed.performed_at.date() < repaired_on <= retest.performed_at.date()


def test_the_dropped_clamp_reads_four_percent_low_on_every_vehicle_it_is_used_on() -> None:
    low, before = [], []
    for installation in ("coach_11", "coach_13", "coach_17", "truck_25"):
        *earlier, last = (
            float(np.mean([shares(visit)[k,] for k in (1, 2, 3, 4)])) for visit in visits_of(installation)
        )
        assert visits_of(installation)[-1].document["ammeter"] == "clamp_blue"
        low.append(last)
        before.append(float(np.mean(earlier)))
    assert np.mean(np.array(low) / before) == pytest.approx(0.96, abs=0.012)


def test_a_hot_unit_is_judged_right_with_its_temperature_and_not_without() -> None:
    hot = visits_of("pump_2")[-1]
    raw = float(hot.document["stage_readings"][0]["current_a"]) / float(
        hot.document["stage_readings"][0]["supply_voltage_v"]
    )
    assert raw * 12 / 35 < 0.9
    assert verdict_of(hot) in ("pass", "conditional_pass")
    not_recorded, cold_again = visits_of("truck_21")[-2:]
    assert not_recorded.document["coil_temperature_c"] is None
    assert verdict_of(not_recorded) in ("conditional_fail", "fail")
    assert verdict_of(cold_again) in ("pass", "conditional_pass")


def test_counters_are_read_about_monthly_and_never_fall() -> None:
    by_counter: dict[str, list[Any]] = {}
    for reading in counter_readings(FLEET, until=UNTIL, seed=SEED):
        by_counter.setdefault(reading.counter, []).append(reading)
    assert set(by_counter) == set(ROWS["counters"])
    for readings in by_counter.values():
        assert all(28 <= (later.read_on - earlier.read_on).days <= 33 for earlier, later in pairwise(readings))
        assert all(later.value > earlier.value for earlier, later in pairwise(readings))
        assert UNTIL - dt.timedelta(days=33) <= readings[-1].read_on < UNTIL
