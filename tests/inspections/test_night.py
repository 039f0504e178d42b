"""The night's work: run twice, run at once, run by one, and run from the command line."""

import datetime as dt
import re
from functools import partial
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from accounts.instants import instant
from accounts.models import Organisation, WorkRun
from accounts.roles import Role
from inspections import tasks
from inspections.models import DueDateChunk
from inspections.services import night as night_module
from inspections.services import night_runs
from inspections.services.due_date_chunks import refresh_due_dates_of_all
from inspections.services.night import run_night
from inspections.services.trends import TrendReport, refresh_trends
from schedules.models import DueDate, Reminder
from tests import builders
from tests.accounts.threads import at_once
from tests.builders import Workshop
from tests.inspections.losing_fleet import losing_fleet
from tests.inspections.tables import every_row_of_the_book
from tests.inspections.visits import recorded
from tests.schedules.units import night, unit

FITTED_ON = dt.date(2026, 1, 31)
DUE = "2026-07-31T12:00:00Z"


def test_a_second_night_changes_no_row_at_all(workshop: Workshop) -> None:
    builders.member(workshop.organisation, Role.MANAGER)
    builders.check_plan(workshop.installation)
    unit(workshop.organisation, fitted_on=FITTED_ON, months=6)
    unit(workshop.organisation)
    recorded(workshop, "2026-01-10T09:30:00Z")
    first = night(DUE)
    assert (first.due_dates_changed, first.reminders_queued) == (3, 2)
    before = every_row_of_the_book()
    second = night(DUE)
    assert (second.installations, second.due_dates_changed, second.reminders_queued) == (3, 0, 0)
    assert every_row_of_the_book() == before


def test_chunks_leave_no_unit_out(workshop: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("inspections.services.due_date_chunks.UNITS_PER_CHUNK", 2)
    made = [workshop.installation, *(unit(workshop.organisation) for _ in range(4))]
    assert night(DUE).installations == len(made)
    assert set(DueDate.objects.values_list("installation", flat=True)) == {each.pk for each in made}


@pytest.mark.committed
def test_two_nights_at_once_queue_each_reminder_once(committed_db: None) -> None:
    # Books of earlier tests may still have somebody to tell; theirs are queued before anything is counted.
    run_night(as_of=instant(DUE))
    organisation = builders.organisation()
    for role in (Role.MANAGER, Role.ADMINISTRATOR):
        builders.member(organisation, role)
    units = [unit(organisation, fitted_on=FITTED_ON, months=6) for _ in range(20)]
    before = Reminder.objects.count()
    reports = at_once([partial(run_night, as_of=instant(DUE))] * 4)
    assert sum(report.reminders_queued for report in reports) == Reminder.objects.count() - before
    mine = Reminder.objects.of(organisation)
    assert mine.count() == 2 * len(units)
    assert mine.values("installation", "person").distinct().count() == 2 * len(units)
    assert set(DueDate.objects.of(organisation).values_list("state", flat=True)) == {"due"}


@pytest.mark.committed
def test_one_hour_has_one_night_however_many_runners(committed_db: None) -> None:
    as_of = instant("2031-07-31T12:34:56Z")
    reports = at_once([partial(night_runs.run_night_once, as_of=as_of)] * 6)
    assert len([report for report in reports if report is not None]) == 1
    run = WorkRun.objects.get(job="night", window="2031-07-31T12")
    assert run.state == "done"


def test_a_night_is_written_down_and_its_hour_is_not_done_again(db: None) -> None:
    unit(builders.organisation(), fitted_on=FITTED_ON, months=6)
    report = night_runs.run_night_once(as_of=instant("2026-07-31T12:00:00Z"))
    assert report is not None
    assert night_runs.run_night_once(as_of=instant("2026-07-31T13:59:59+01:00")) is None
    run = WorkRun.objects.get()
    assert (run.job, run.window, run.state, run.error) == ("night", "2026-07-31T12", "done", "")
    assert run.counts == {
        "organisations": 1,
        "installations": 1,
        "trends_fitted": 0,
        "declines_changed": 0,
        "due_dates_changed": 1,
        "reminders_queued": 0,
        "reminders_sent": 0,
        "releases_ended": 0,
        "trends_failed": 0,
        "due_dates_failed": 0,
        "steps_failed": 0,
    }
    assert night_runs.run_night_once(as_of=instant("2026-07-31T13:00:00Z")) is not None


def test_a_failed_night_says_why_and_can_be_tried_again(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*, as_of: dt.datetime, hand_out: object) -> None:
        raise RuntimeError("the disk is full")

    with monkeypatch.context() as patched:
        patched.setattr(night_runs, "run_night", broken)
        with pytest.raises(RuntimeError):
            night_runs.run_night_once(as_of=instant(DUE))
    run = WorkRun.objects.get()
    assert (run.state, run.error, run.counts) == ("failed", "RuntimeError: the disk is full", {})
    assert night_runs.run_night_once(as_of=instant(DUE)) is not None
    run.refresh_from_db()
    assert (run.state, run.error) == ("done", "")


def test_the_command_moves_states_as_of_an_instant_and_says_what_it_did(db: None) -> None:
    organisation = builders.organisation()
    builders.member(organisation, Role.MANAGER)
    of = unit(organisation, fitted_on=FITTED_ON, months=6)
    said = []
    for as_of in ("2026-07-31T00:00:00+01:00", "2026-08-01T00:00:00+01:00", "2026-08-01T00:00:00+01:00"):
        out = StringIO()
        call_command("nightly", as_of=as_of, stdout=out)
        said.append(out.getvalue())
    line = (
        "Night's work: 1 installations in 1 organisation, 0 trends fitted, 0 declines changed, "
        "{} due dates changed, {} reminders queued, 0 sent.\n"
    )
    assert said == [line.format(1, 1), line.format(1, 1), line.format(0, 0)]
    assert DueDate.objects.get(installation=of).state == "overdue"


def test_the_command_says_how_far_each_part_is_until_it_is_done(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    for module in ("trend_chunks", "due_date_chunks"):
        monkeypatch.setattr(f"inspections.services.{module}.UNITS_PER_CHUNK", 2)
    losing_fleet(3)
    err = StringIO()
    call_command("nightly", as_of=DUE, stdout=StringIO(), stderr=err)
    trends, due_dates = err.getvalue().splitlines()
    pace = r", [\d,]+ a second, about \d+ s left\."
    assert re.fullmatch("Trends: 2 of 3 units fitted" + pace, trends)
    assert re.fullmatch("Due dates: 2 of 3 installations worked out" + pace, due_dates)


def test_a_night_that_a_later_one_overtakes_leaves_the_due_dates_as_the_later_one_has_them(
    db: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    of = unit(builders.organisation(), fitted_on=FITTED_ON, months=6)

    def fit_and_be_overtaken(organisation: Organisation, **shared: Any) -> TrendReport:
        refresh_due_dates_of_all(organisation, as_of=instant(DUE) + dt.timedelta(days=1))
        return refresh_trends(organisation, **shared)

    monkeypatch.setattr(night_module, "refresh_trends", fit_and_be_overtaken)
    assert night(DUE).installations == 1
    assert DueDate.objects.get(installation=of).state == "overdue"


def test_each_part_is_handed_out_as_the_task_that_does_it(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("django.conf.settings.CELERY_BROKER_URL", "redis://nobody.invalid")
    handed: dict[str, list[tuple[int, int]]] = {}
    for module, task in (("trend_chunks", tasks.fit_trends), ("due_date_chunks", tasks.work_out_due_dates)):
        monkeypatch.setattr(f"inspections.services.{module}.UNITS_PER_CHUNK", 2)
        note = handed.setdefault(module, [])
        monkeypatch.setattr(task, "delay", lambda *chunk, note=note: note.append(chunk))
    organisation = losing_fleet(5).organisation
    run_night(as_of=instant(DUE), hand_out=tasks.to_other_workers())
    assert [len(chunks) for chunks in handed.values()] == [3, 3]
    due_date_chunks = DueDateChunk.objects.of(organisation).order_by("first_unit")
    assert handed["due_date_chunks"] == [(organisation.pk, chunk.pk) for chunk in due_date_chunks]


def test_the_command_without_an_instant_works_as_of_now(db: None) -> None:
    of = unit(builders.organisation(), fitted_on=dt.date(2020, 1, 1), days=1)
    call_command("nightly", stdout=StringIO())
    assert DueDate.objects.get(installation=of).state == "overdue"


@pytest.mark.parametrize("as_of", ["yesterday", "2026-07-31", "2026-07-31T12:00:00", "2026-02-30T12:00:00Z", ""])
def test_a_bad_instant_is_refused_in_one_line_that_says_what_is_allowed(db: None, as_of: str) -> None:
    with pytest.raises(CommandError) as refusal:
        call_command("nightly", as_of=as_of)
    (line,) = str(refusal.value).splitlines()
    assert line.startswith(f"--as-of: {as_of!r} is not an RFC 3339 date and time with offset, such as ")
