"""Release decisions: undecided and run out ones are said, once a night written down, and managers told."""

import datetime as dt

import pytest
from django.core import mail
from django.utils import timezone

from accounts.actors import Actor
from accounts.roles import Role
from fleet.models import CounterReading, UsageCounter
from inspections.models import Defect, DefectStep, ReleaseNotice
from inspections.releases import releases_to_decide, removed_units, with_release
from inspections.services.defect_life import decide_release
from inspections.services.night import run_night
from inspections.usage import km_since
from schedules.models import DueDate
from tests import builders
from tests.builders import Workshop
from tests.dashboard.reading import shown, signed_in
from tests.dashboard.taking import Taker

UNTIL = dt.date(2026, 3, 20)
LAST_DAY = dt.datetime(2026, 3, 20, 22, tzinfo=dt.UTC)
DAY_AFTER = dt.datetime(2026, 3, 21, 6, tzinfo=dt.UTC)


@pytest.fixture
def manager(workshop: Workshop) -> Actor:
    """Return a manager who can be reached by mail."""
    actor = builders.actor(workshop.organisation, Role.MANAGER)
    assert actor.user is not None
    actor.user.email = "manager@example.org"
    actor.user.save()
    return actor


@pytest.fixture
def defect(workshop: Workshop) -> Defect:
    return opened(workshop)


def opened(workshop: Workshop, **columns: object) -> Defect:
    return builders.defect(workshop, opened_at=dt.datetime(2026, 3, 1, 9, tzinfo=dt.UTC), **columns)


def to_decide(workshop: Workshop, now: dt.datetime) -> list[Defect]:
    return releases_to_decide(workshop.organisation, now=now)


def test_an_open_defect_is_to_be_decided_until_somebody_does_and_again_when_that_ends(
    workshop: Workshop, manager: Actor, defect: Defect
) -> None:
    assert to_decide(workshop, LAST_DAY) == [defect]
    decide_release(manager, defect, decision="isolated", until=UNTIL, reason="flat routes")
    assert to_decide(workshop, LAST_DAY) == []
    assert to_decide(workshop, DAY_AFTER) == [defect]


def test_a_decision_that_has_run_out_is_written_down_once_and_managers_are_told_once(
    workshop: Workshop, manager: Actor, defect: Defect
) -> None:
    decide_release(manager, defect, decision="isolated", until=UNTIL, reason="flat routes")
    reports = [run_night(as_of=at).releases_ended for at in (LAST_DAY, DAY_AFTER, DAY_AFTER + dt.timedelta(hours=1))]
    assert reports == [0, 1, 0]
    assert DefectStep.objects.filter(defect=defect, kind="release_ended").count() == 1
    notice = ReleaseNotice.objects.get(person__user=manager.user)
    assert notice.sent_at is not None
    (sent,) = [each for each in mail.outbox if each.to == ["manager@example.org"]]
    assert sent.subject == f"{workshop.installation.vehicle.fleet_number}: release decision ran out on 2026-03-20"


def test_told_says_who_heard_that_a_decision_ran_out(workshop: Workshop, manager: Actor, defect: Defect) -> None:
    decide_release(manager, defect, decision="isolated", until=UNTIL, reason="flat routes")
    heading = "Release decisions that ran out"
    assert heading not in shown(signed_in(workshop.organisation, Role.VIEWER), workshop.organisation, "told/")
    run_night(as_of=DAY_AFTER)
    html = shown(signed_in(workshop.organisation, Role.VIEWER), workshop.organisation, "told/")
    notice = ReleaseNotice.objects.get(person__user=manager.user)
    table = html.partition(heading)[2]
    assert f"/defects/{defect.uuid}/" in table
    assert f"<td>{manager.user}</td>" in table
    assert "20 Mar 2026" in table
    assert notice.sent_at is not None
    assert f"{notice.sent_at:%-d %b %Y}" in table.partition('data-label="delivered"')[2].partition("</td>")[0]


def test_a_new_decision_can_run_out_anew(workshop: Workshop, manager: Actor, defect: Defect) -> None:
    decide_release(manager, defect, decision="isolated", until=UNTIL, reason="flat routes")
    run_night(as_of=DAY_AFTER)
    decide_release(manager, defect, decision="isolated", until=UNTIL + dt.timedelta(days=7), reason="part on order")
    assert run_night(as_of=DAY_AFTER + dt.timedelta(days=1)).releases_ended == 0
    assert run_night(as_of=DAY_AFTER + dt.timedelta(days=7)).releases_ended == 1


def test_today_and_the_defect_say_what_has_run_out(workshop: Workshop, manager: Actor, defect: Defect) -> None:
    decide_release(manager, defect, decision="isolated", until=UNTIL, reason="flat routes")
    taker = Taker(workshop, Role.MANAGER)
    today = taker.get("today/").content.decode()
    assert "The decision (retarder isolated, driver told) ran out on 20 Mar 2026." in today
    assert "run out: decide anew" in taker.get(f"defects/{defect.uuid}/").content.decode()
    assert "run out" in taker.get("defects/").content.decode()


def test_an_isolated_unit_reaches_the_due_list_as_such_by_its_strictest_decision(
    workshop: Workshop, manager: Actor, defect: Defect
) -> None:
    until = timezone.now().date() + dt.timedelta(days=9)
    decide_release(manager, defect, decision="route_restricted", until=until, reason="flat routes")
    decide_release(manager, opened(workshop, stage=3), decision="isolated", until=until, reason="stage 3 dead")
    builders.check_plan(workshop.installation)
    run_night(as_of=timezone.now())
    due = with_release(DueDate.objects.of(workshop.organisation)).get()
    assert (due.release_decision, due.release_until) == ("isolated", until)
    assert "retarder isolated, driver told until" in Taker(workshop).get("due/").content.decode()


def test_a_removed_unit_stands_in_the_due_list_until_it_is_fitted_again(workshop: Workshop) -> None:
    first = workshop.installation
    assert removed_units(workshop.organisation) == []
    first.removed_on = dt.date(2026, 2, 2)
    first.save()
    assert removed_units(workshop.organisation) == [first]
    shown = Taker(workshop).get("due/").content.decode()
    assert f"serial {first.retarder.serial_number}: removed on 2 Feb 2026" in shown
    builders.installation(workshop.organisation, retarder=first.retarder, fitted_on=dt.date(2026, 2, 9))
    assert removed_units(workshop.organisation) == []


def test_km_since_come_from_the_odometers_and_are_left_out_where_these_cannot_tell(
    workshop: Workshop, defect: Defect
) -> None:
    assert km_since([defect]) == {}
    vehicle, owner = workshop.installation.vehicle, {"organisation": workshop.organisation}
    counter = UsageCounter.objects.create(**owner, vehicle=vehicle, kind="odometer")
    shown_km = {dt.date(2026, 2, 27): 1000.0, dt.date(2026, 3, 3): 1400.0, dt.date(2026, 3, 10): 2500.0}
    for on, km in shown_km.items():
        CounterReading.objects.create(**owner, counter=counter, read_on=on, value=km)
    # Half way between the first two readings when it was opened.
    assert km_since([defect]) == {defect.pk: pytest.approx(1300.0)}
    assert "1,300" in Taker(workshop).get("defects/").content.decode()
