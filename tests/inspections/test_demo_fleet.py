"""The demonstration fleet hangs together, and its story is the same whenever it is loaded."""

import datetime as dt
from collections import Counter
from typing import Any

import pytest

from calc.due import Due, Plan, next_due
from calc.usage import CounterReading
from inspections.simulation.book import counter_readings, on_day
from tests.inspections.simulated_book import (
    FLEET,
    ROWS,
    SEED,
    STORY,
    UNTIL,
    book,
    verdict_of,
)


def test_every_row_named_by_another_exists() -> None:
    references = {
        "vehicles": {"depot": "depots"},
        "retarders": {"type": "retarder_types"},
        "installations": {"retarder": "retarders", "vehicle": "vehicles", "relay_box_type": "relay_box_types"},
        "counters": {"vehicle": "vehicles"},
        "plans": {"installation": "installations"},
    }
    for name, fields in references.items():
        for row in FLEET[name]:
            assert all(row[field] in ROWS[target] for field, target in fields.items())
    usernames = {user["username"] for user in FLEET["users"]}
    for visit in book():
        assert visit.username in usernames
        assert visit.installation in ROWS["installations"]
        assert [ROWS["meters"][visit.document[kind]]["kind"] for kind in ("ammeter", "voltmeter")] == [
            "ammeter",
            "voltmeter",
        ]
    for story in ("regular_visits", "told_visits", "faults", "repairs"):
        assert all(row["installation"] in ROWS["installations"] for row in STORY[story])


@pytest.mark.parametrize(
    ("rows", "field"),
    [
        ("vehicles", "fleet_number"),
        ("vehicles", "registration"),
        ("vehicles", "vin"),
        ("retarders", "serial_number"),
        ("meters", "serial_number"),
    ],
)
def test_what_tells_rows_apart_is_never_used_twice(rows: str, field: str) -> None:
    assert set(Counter(row[field] for row in FLEET[rows]).values()) == {1}


def test_vehicle_numbers_are_synthetic_european_ones() -> None:
    for vehicle in FLEET["vehicles"]:
        assert len(vehicle["vin"]) == 17
        assert vehicle["vin"].startswith("XX9")
        assert set(vehicle["vin"]) <= set("ABCDEFGHJKLMNPRSTUVWXYZ0123456789")


def test_a_retarder_is_in_one_vehicle_at_a_time_with_a_box_and_system_that_fit_it() -> None:
    for row in FLEET["installations"]:
        rating = ROWS["retarder_types"][ROWS["retarders"][row["retarder"]]["type"]]
        assert len(rating["rated_currents_a"]) == ROWS["relay_box_types"][row["relay_box_type"]]["stages"]
        assert rating["system_voltage_v"] == ROWS["vehicles"][row["vehicle"]]["system_voltage_v"]
        for other in FLEET["installations"]:
            if other is not row and (other["retarder"] == row["retarder"] or other["vehicle"] == row["vehicle"]):
                earlier, later = sorted((row, other), key=lambda each: each["fitted_on"])
                assert earlier["removed_on"] < later["fitted_on"]
    assert len({row["vehicle"] for row in FLEET["installations"] if row["retarder"] == "unit_moved"}) == 2


def due_now(plan: dict[str, Any], until: dt.date) -> Due:
    installation = ROWS["installations"][plan["installation"]]
    readings: dict[str, list[CounterReading]] = {"odometer": [], "engine_hours": []}
    for reading in counter_readings(FLEET, until=until, seed=SEED):
        counter = ROWS["counters"][reading.counter]
        if counter["vehicle"] == installation["vehicle"]:
            readings[counter["kind"]].append(CounterReading(reading.read_on, float(reading.value)))
    passed = [
        visit.performed_at.date()
        for visit in book(until)
        if visit.installation == plan["installation"] and verdict_of(visit) in ("pass", "conditional_pass")
    ]
    return next_due(
        Plan(plan["months"], plan["days"], plan["km"], plan["hours"], plan["lead_days"]),
        last_check_on=max(passed, default=None),
        fitted_on=on_day(until, installation["fitted_on"]),
        km_readings=readings["odometer"],
        hour_readings=readings["engine_hours"],
        as_of_on=until,
    )


@pytest.mark.parametrize("until", [UNTIL, dt.date(2027, 3, 1), dt.date(2027, 8, 31)])
def test_one_check_is_overdue_and_a_few_are_near_whenever_the_book_is_loaded(until: dt.date) -> None:
    in_service = [
        plan
        for plan in FLEET["plans"]
        if ROWS["installations"][plan["installation"]]["removed_on"] is None
        and ROWS["vehicles"][ROWS["installations"][plan["installation"]]["vehicle"]]["in_service"]
    ]
    due = {plan["installation"]: due_now(plan, until) for plan in in_service}
    assert [key for key, each in due.items() if each.state == "overdue"] == ["truck_23"]
    assert {"pump_5", "truck_22"} <= {key for key, each in due.items() if each.state == "in_notice"}
    assert due["truck_22"].limb == "km"
    assert due["truck_26"].state == "not_due"


def test_the_book_has_the_odd_ones_out_that_it_promises() -> None:
    assert len(FLEET["vehicles"]) == 24
    planned = {plan["installation"] for plan in FLEET["plans"]}
    assert len(set(ROWS["installations"]) - planned) == 2
    assert [row["key"] for row in FLEET["vehicles"] if not row["in_service"]] == ["coach_18"]
    unchecked = set(ROWS["installations"]) - {visit.installation for visit in book()}
    assert unchecked == {"truck_26"}
    assert ROWS["installations"]["truck_26"]["fitted_on"] > -30
    due_on = {meter["key"]: max(each["due_on"] for each in meter["calibrations"]) for meter in FLEET["meters"]}
    assert [key for key, offset in due_on.items() if offset < 0] == ["clamp_green"]
    bases = Counter(row["reference_voltage_basis"] for row in FLEET["retarder_types"])
    assert bases == {"stated": 3, "assumed_running": 1, "unknown": 1}
    assert [row["key"] for row in FLEET["retarder_types"] if row["tolerance_assumed"]] == ["willow"]
