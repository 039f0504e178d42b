"""What is owed to whom: once for each person, plan, cycle and stage, whatever happens to the date."""

import datetime as dt

import pytest

from accounts.models import Member, Organisation
from accounts.roles import Role
from schedules.models import DueDate, Reminder
from schedules.queries import due_dates
from tests import builders
from tests.builders import Workshop
from tests.inspections.visits import recorded
from tests.naming import name
from tests.schedules.units import counter, night, read, unit

FITTED_ON = dt.date(2026, 1, 31)
IN_NOTICE, DUE, OVERDUE = "2026-07-10T12:00:00Z", "2026-07-31T12:00:00Z", "2026-08-05T12:00:00Z"


@pytest.fixture
def owner(db: None) -> Organisation:
    """Return an organisation with one manager."""
    made = builders.organisation()
    builders.member(made, Role.MANAGER)
    return made


def stages() -> list[str]:
    return list(Reminder.objects.order_by("pk").values_list("lead_stage", flat=True))


def test_each_stage_of_a_cycle_is_told_once(owner: Organisation) -> None:
    of = unit(owner, fitted_on=FITTED_ON, months=6)
    assert night("2026-06-30T12:00:00Z").reminders_queued == 0
    queued = [night(at).reminders_queued for at in (IN_NOTICE, IN_NOTICE, DUE, DUE, OVERDUE, "2026-09-05T12:00:00Z")]
    assert queued == [1, 0, 1, 0, 1, 0]
    assert stages() == ["in_notice", "due", "overdue"]
    reminder = Reminder.objects.first()
    assert reminder is not None
    assert (reminder.installation, reminder.cycle_began_by) == (of, of.uuid)
    assert (reminder.due_on, reminder.sent_at) == (dt.date(2026, 7, 31), None)


def test_days_without_a_night_tell_the_stage_of_the_day_and_no_earlier_one(owner: Organisation) -> None:
    unit(owner, fitted_on=FITTED_ON, months=6)
    night(OVERDUE)
    assert stages() == ["overdue"]


def test_a_date_moved_inside_the_same_cycle_tells_nobody_twice(owner: Organisation) -> None:
    of = unit(owner, fitted_on=FITTED_ON, km=30_000.0)
    odometer = counter(of, "odometer", (FITTED_ON, 0.0), (dt.date(2026, 7, 1), 28_000.0))
    assert night("2026-07-02T12:00:00Z").reminders_queued == 1
    before = DueDate.objects.get(installation=of).due_on
    read(odometer, (dt.date(2026, 7, 8), 28_100.0))
    assert night("2026-07-09T12:00:00Z").reminders_queued == 0
    after = DueDate.objects.get(installation=of)
    assert after.state == "in_notice"
    assert after.due_on != before


def test_a_new_cycle_is_told_anew(workshop: Workshop) -> None:
    builders.member(workshop.organisation, Role.MANAGER)
    builders.check_plan(workshop.installation)
    first = recorded(workshop, "2026-01-31T09:30:00Z").inspection
    assert night(IN_NOTICE).reminders_queued == 1
    second = recorded(workshop, "2026-07-20T09:30:00Z").inspection
    assert night("2026-07-21T12:00:00Z").reminders_queued == 0
    assert night("2027-01-10T12:00:00Z").reminders_queued == 1
    cycles = Reminder.objects.order_by("pk").values_list("cycle_began_by", "lead_stage")
    assert list(cycles) == [(first.uuid, "in_notice"), (second.uuid, "in_notice")]


def test_a_late_older_check_begins_no_new_cycle(workshop: Workshop) -> None:
    builders.member(workshop.organisation, Role.MANAGER)
    builders.check_plan(workshop.installation)
    recorded(workshop, "2026-01-31T09:30:00Z")
    assert night(IN_NOTICE).reminders_queued == 1
    recorded(workshop, "2026-01-15T09:30:00Z")
    assert night(IN_NOTICE).reminders_queued == 0


def test_only_managers_and_administrators_with_running_access_are_told(owner: Organisation) -> None:
    unit(owner, fitted_on=FITTED_ON, months=6)
    last_day = dt.date(2026, 7, 10)
    builders.member(owner, Role.ADMINISTRATOR)
    builders.member(owner, Role.MANAGER, ends_on=last_day)
    told = set(Member.objects.of(owner).values_list("pk", flat=True))
    for role in (Role.VIEWER, Role.TRAINEE, Role.TECHNICIAN):
        builders.member(owner, role)
    builders.member(owner, Role.MANAGER, ends_on=last_day - dt.timedelta(days=1))
    gone = builders.member(owner, Role.ADMINISTRATOR).user
    gone.is_active = False
    gone.save()
    elsewhere = builders.member(builders.organisation(), Role.ADMINISTRATOR)
    assert night(IN_NOTICE).reminders_queued == len(told)
    assert not Reminder.objects.filter(organisation=elsewhere.organisation).exists()
    name(owner)
    assert set(Reminder.objects.values_list("person", flat=True)) == told


@pytest.mark.parametrize("change", ["vehicle off the road", "unit removed", "plan ended"])
def test_what_left_service_is_neither_listed_nor_told(owner: Organisation, change: str) -> None:
    of = unit(owner, fitted_on=FITTED_ON, months=6)
    night("2026-06-30T12:00:00Z")
    if change == "vehicle off the road":
        of.vehicle.in_service = False
        of.vehicle.save()
    elif change == "unit removed":
        of.removed_on = dt.date(2026, 7, 5)
        of.save()
    else:
        of.check_plans.update(ended_at=dt.datetime(2026, 7, 5, tzinfo=dt.UTC))
    assert night(DUE).reminders_queued == 0
    listed = list(due_dates(owner).values_list("state", flat=True))
    assert listed == (["no_plan"] if change == "plan ended" else [])


def test_a_vehicle_back_on_the_road_is_told_of_again(owner: Organisation) -> None:
    of = unit(owner, fitted_on=FITTED_ON, months=6)
    of.vehicle.in_service = False
    of.vehicle.save()
    assert night(IN_NOTICE).reminders_queued == 0
    of.vehicle.in_service = True
    of.vehicle.save()
    assert night(IN_NOTICE).reminders_queued == 1


def test_two_units_and_two_people_make_four_reminders(owner: Organisation) -> None:
    builders.member(owner, Role.ADMINISTRATOR)
    for _ in range(2):
        unit(owner, fitted_on=FITTED_ON, months=6)
    assert night(DUE).reminders_queued == 4
