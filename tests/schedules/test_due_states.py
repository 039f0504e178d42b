"""The states of a due date, and the local midnight at which they change."""

import datetime as dt
from typing import Any

import pytest

from accounts.models import Organisation
from schedules.models import NEVER, DueDate
from tests import builders
from tests.schedules.units import counter, due, night, unit

FITTED_ON = dt.date(2026, 1, 31)
# Six months after the fitting, clipped to the month: 31 July.
DUE_ON = dt.date(2026, 7, 31)


@pytest.fixture
def owner(db: None) -> Organisation:
    """Return an organisation."""
    return builders.organisation()


def test_a_unit_without_a_plan_has_no_date(owner: Organisation) -> None:
    row = due(unit(owner, fitted_on=FITTED_ON), "2026-06-01T12:00:00Z")
    assert (row.state, row.due_on, row.limb, row.plan, row.sorts_on) == ("no_plan", None, None, None, NEVER)


def test_a_plan_that_has_ended_is_no_plan(owner: Organisation) -> None:
    of = unit(owner, fitted_on=FITTED_ON, months=6, ended_at=dt.datetime(2026, 2, 1, tzinfo=dt.UTC))
    assert due(of, "2026-06-01T12:00:00Z").state == "no_plan"


@pytest.mark.parametrize("limbs", [{"months": 6}, {"days": 90}, {"km": 30_000.0}, {"hours": 500.0}])
def test_without_check_fitting_date_or_usage_nothing_can_be_told(owner: Organisation, limbs: dict[str, Any]) -> None:
    row = due(unit(owner, **limbs), "2026-06-01T12:00:00Z")
    assert (row.state, row.due_on, row.limb) == ("cannot_tell", None, None)
    assert row.plan is not None


@pytest.mark.parametrize(
    ("at", "state", "overdue_days"),
    [
        ("2026-06-30T22:59:59Z", "not_due", 0),
        ("2026-06-30T23:00:00Z", "in_notice", 0),
        ("2026-07-30T22:59:59Z", "in_notice", 0),
        ("2026-07-30T23:00:00Z", "due", 0),
        ("2026-07-31T22:59:59Z", "due", 0),
        ("2026-07-31T23:00:00Z", "overdue", 1),
        ("2026-08-31T23:00:00Z", "overdue", 32),
    ],
)
def test_states_change_at_local_midnight(owner: Organisation, at: str, state: str, overdue_days: int) -> None:
    """London keeps summer time, so its midnight is 23:00 UTC."""
    row = due(unit(owner, fitted_on=FITTED_ON, months=6), at)
    assert (row.due_on, row.limb, row.state, row.overdue_days) == (DUE_ON, "months", state, overdue_days)


@pytest.mark.parametrize(
    ("at", "los_angeles", "auckland"),
    [
        ("2026-07-30T12:00:00Z", "in_notice", "due"),
        ("2026-07-31T02:00:00Z", "in_notice", "due"),
        ("2026-07-31T07:00:00Z", "due", "due"),
        ("2026-07-31T12:00:00Z", "due", "overdue"),
    ],
)
def test_one_instant_gives_two_depots_their_own_state(
    owner: Organisation, at: str, los_angeles: str, auckland: str
) -> None:
    west = unit(owner, time_zone="America/Los_Angeles", fitted_on=FITTED_ON, months=6)
    east = unit(owner, time_zone="Pacific/Auckland", fitted_on=FITTED_ON, months=6)
    assert (due(west, at).state, due(east, at).state) == (los_angeles, auckland)


def test_a_vehicle_moved_to_another_depot_takes_that_depots_date(owner: Organisation) -> None:
    of = unit(owner, time_zone="America/Los_Angeles", fitted_on=FITTED_ON, months=6)
    assert due(of, "2026-07-31T02:00:00Z").state == "in_notice"
    of.vehicle.depot = builders.depot(owner, "Europe/London")
    of.vehicle.save()
    row = due(of, "2026-07-31T02:00:00Z")
    assert (row.state, row.depot) == ("due", of.vehicle.depot)


def test_off_the_road_and_removed_units_are_left_alone(owner: Organisation) -> None:
    parked = unit(owner, fitted_on=FITTED_ON, months=6)
    parked.vehicle.in_service = False
    parked.vehicle.save()
    removed = unit(owner, fitted_on=FITTED_ON, months=6)
    removed.removed_on = dt.date(2026, 3, 1)
    removed.save()
    assert night("2026-08-31T12:00:00Z").installations == 0
    assert not DueDate.objects.exists()


def test_a_closed_organisation_has_no_nights(owner: Organisation) -> None:
    unit(owner, fitted_on=FITTED_ON, months=6)
    Organisation.objects.filter(pk=owner.pk).update(closed_at=dt.datetime(2026, 5, 1, tzinfo=dt.UTC))
    assert night("2026-08-31T12:00:00Z").organisations == 0
    assert not DueDate.objects.exists()


def test_every_unit_in_service_has_exactly_one_state(owner: Organisation) -> None:
    made = [
        unit(owner),
        unit(owner, months=6),
        unit(owner, fitted_on=FITTED_ON, months=6),
        unit(owner, fitted_on=FITTED_ON, days=10),
    ]
    counter(made[1], "odometer", (FITTED_ON, 10.0))
    assert night("2026-07-31T12:00:00Z").due_dates_changed == len(made)
    states = {row.installation_id: row.state for row in DueDate.objects.all()}
    assert states == dict(zip([each.pk for each in made], ["no_plan", "cannot_tell", "due", "overdue"], strict=True))
