"""Months, km and engine hours: whichever comes first, from counters read now and then."""

import datetime as dt
from typing import Any

import pytest

from accounts.models import Organisation
from tests import builders
from tests.schedules.units import counter, due, read, unit

FITTED_ON = dt.date(2025, 1, 31)
# 6 months, 30,000 km, 500 h from 31 January 2025, 100,000 km, 4,000 h: due on 31 July, at 130,000 km, at 4,500 h.
PLAN: dict[str, Any] = {"months": 6, "km": 30_000.0, "hours": 500.0}


@pytest.fixture
def owner(db: None) -> Organisation:
    """Return an organisation."""
    return builders.organisation()


# Designed cases, worked out by hand; 80,778 miles are 129,999.589632 km, 80,779 are 130,001.198976 km.
@pytest.mark.parametrize(
    ("on", "km", "hours", "state", "limb", "due_on"),
    [
        ("2025-06-01", 129_999.0, 4_499.0, "in_notice", None, None),
        ("2025-06-01", 130_000.0, 4_200.0, "due", "km", dt.date(2025, 6, 1)),
        ("2025-06-01", None, 4_500.0, "due", "hours", dt.date(2025, 6, 1)),
        ("2025-07-30", 110_000.0, 4_100.0, "in_notice", "months", dt.date(2025, 7, 31)),
        ("2025-07-31", 110_000.0, 4_100.0, "due", "months", dt.date(2025, 7, 31)),
        ("2025-08-01", 110_000.0, 4_100.0, "overdue", "months", dt.date(2025, 7, 31)),
        ("2025-06-01", 99_000.0, 4_100.0, "not_due", "months", dt.date(2025, 7, 31)),
        ("2025-06-01", 129_999.589632, 4_100.0, "in_notice", "km", None),
        ("2025-06-01", 130_001.198976, 4_100.0, "due", "km", dt.date(2025, 6, 1)),
    ],
)
def test_the_first_limb_reached_makes_it_due(
    owner: Organisation,
    on: str,
    km: float | None,
    hours: float,
    state: str,
    limb: str | None,
    due_on: dt.date | None,
) -> None:
    of = unit(owner, fitted_on=FITTED_ON, **PLAN)
    today = dt.date.fromisoformat(on)
    for kind, start, value in (("odometer", 100_000.0, km), ("engine_hours", 4_000.0, hours)):
        readings = [(FITTED_ON, start)] + ([] if value is None else [(today, value)])
        counter(of, kind, *readings)
    row = due(of, f"{on}T12:00:00Z")
    assert row.state == state
    assert limb is None or row.limb == limb
    assert due_on is None or row.due_on == due_on


@pytest.mark.parametrize(("limb", "kind"), [("km", "odometer"), ("hours", "engine_hours")])
def test_usage_makes_a_check_due_on_the_day_of_the_reading_and_overdue_the_next(
    owner: Organisation, limb: str, kind: str
) -> None:
    plan: dict[str, Any] = {limb: 500.0}
    of = unit(owner, fitted_on=FITTED_ON, **plan)
    counter(of, kind, (FITTED_ON, 0.0), (dt.date(2025, 3, 10), 500.0))
    assert due(of, "2025-03-10T12:00:00Z").state == "due"
    row = due(of, "2025-03-12T12:00:00Z")
    assert (row.state, row.limb, row.due_on, row.overdue_days) == ("overdue", limb, dt.date(2025, 3, 10), 2)


def test_a_replaced_counter_goes_on_from_its_offset(owner: Organisation) -> None:
    of = unit(owner, fitted_on=FITTED_ON, km=30_000.0)
    replaced_on = dt.date(2025, 3, 1)
    counter(of, "odometer", (FITTED_ON, 100_000.0), (replaced_on, 110_000.0), removed_on=replaced_on)
    fresh = counter(of, "odometer", (dt.date(2025, 3, 20), 19_999.0), offset=110_000.0)
    assert due(of, "2025-03-20T12:00:00Z").state == "in_notice"
    read(fresh, (dt.date(2025, 3, 21), 20_000.0))
    row = due(of, "2025-03-21T12:00:00Z")
    assert (row.state, row.limb) == ("due", "km")


def test_of_several_plans_the_earliest_wins_and_is_named(owner: Organisation) -> None:
    of = unit(owner, fitted_on=FITTED_ON)
    builders.check_plan(of, months=12, source="maker")
    law = builders.check_plan(of, months=3, source="law")
    builders.check_plan(of, months=6, source="workshop")
    row = due(of, "2025-02-01T12:00:00Z")
    assert (row.plan, row.due_on) == (law, dt.date(2025, 4, 30))


def test_a_plan_that_can_be_told_wins_over_one_that_cannot(owner: Organisation) -> None:
    of = unit(owner, fitted_on=FITTED_ON)
    builders.check_plan(of, hours=500.0)
    months = builders.check_plan(of, months=6)
    row = due(of, "2025-02-01T12:00:00Z")
    assert (row.plan, row.state) == (months, "not_due")


@pytest.mark.parametrize(
    ("plan", "due_on"),
    [
        ({"days": 90}, dt.date(2025, 5, 1)),
        ({"months": 3}, dt.date(2025, 4, 30)),
        ({"months": 3, "days": 90}, dt.date(2025, 4, 30)),
        ({"months": 6, "anchor_on": dt.date(2024, 12, 31)}, dt.date(2025, 6, 30)),
    ],
)
def test_calendar_limbs_are_counted_from_the_fitting(
    owner: Organisation, plan: dict[str, Any], due_on: dt.date
) -> None:
    assert due(unit(owner, fitted_on=FITTED_ON, **plan), "2025-02-01T12:00:00Z").due_on == due_on
