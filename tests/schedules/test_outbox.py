"""Delivering what is owed: once, to the right person, again when it failed."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

import pytest
import time_machine
from django.core import mail
from django.utils import timezone

from accounts import outbox
from accounts.actors import member_actor
from accounts.models import Member
from accounts.outbox import CLAIM_LAPSES_AFTER, TRY_AGAIN_AFTER
from accounts.roles import Role
from inspections.services.night import run_night
from schedules.models import Reminder
from schedules.services.outbox import mark_seen, send_owed_reminders
from schedules.services.reminders import queue_reminders
from tests import builders

NOW = dt.datetime(2026, 11, 25, 9, 0, tzinfo=dt.UTC)


@dataclass
class Owed:
    manager: Member
    reminder: Reminder


def owed(*, email: str = "manager@works.test", **columns: Any) -> Owed:
    """Return a reminder of an overdue check, owed to one manager."""
    owner = builders.organisation(**columns)
    manager = builders.member(owner, Role.MANAGER)
    manager.user.email = email
    manager.user.save(update_fields=["email"])
    builders.check_plan(builders.installation(owner))
    run_night(as_of=NOW)
    return Owed(manager, Reminder.objects.get(organisation=owner))


@pytest.fixture
def outgoing(db: None, settings: Any, mailoutbox: list[mail.EmailMessage]) -> list[mail.EmailMessage]:
    """Collect the mail that goes out."""
    return mailoutbox


def test_a_reminder_goes_out_once_with_what_the_reader_needs(outgoing: list[mail.EmailMessage]) -> None:
    sent = owed()
    send_owed_reminders()
    (message,) = outgoing
    vehicle = sent.reminder.installation.vehicle
    assert message.to == ["manager@works.test"]
    assert vehicle.fleet_number in message.subject
    assert "overdue" in message.body
    assert sent.reminder.due_on.isoformat() in message.body
    assert "local codes, and licensed practice" in message.body
    assert sent.reminder.sent_at is not None


def test_two_reminders_under_one_cycle_carry_ids_of_their_own(outgoing: list[mail.EmailMessage]) -> None:
    first, second = owed(), owed()
    ids = {message.extra_headers["Message-ID"] for message in outgoing}
    assert ids == {f"<{each.reminder.uuid}@coilbook>" for each in (first, second)}


def test_a_demo_and_a_person_without_an_address_are_sent_nothing(outgoing: list[mail.EmailMessage]) -> None:
    demo, silent = owed(is_demo=True), owed(email="")
    assert outgoing == []
    assert [demo.reminder.held, silent.reminder.held] == ["demo", "no_address"]


def test_a_line_break_in_a_fleet_number_starts_no_header(outgoing: list[mail.EmailMessage]) -> None:
    reminder = owed().reminder
    vehicle = reminder.installation.vehicle
    vehicle.fleet_number = "V 1\nBcc: somebody@else.test"
    vehicle.save(update_fields=["fleet_number"])
    Reminder.objects.filter(pk=reminder.pk).update(sent_at=None, claimed_at=None)
    outgoing.clear()
    send_owed_reminders()
    (message,) = outgoing
    assert "\n" not in message.subject
    assert message.bcc == []


def test_a_mail_that_cannot_be_written_keeps_no_other_from_going_out(outgoing: list[mail.EmailMessage]) -> None:
    with time_machine.travel(NOW, tick=False):
        bad = owed(email="line\nbreak@works.test").reminder
        good = owed(email="later@works.test").reminder
    assert (bad.attempts, bad.sent_at, bad.claimed_at) == (1, None, None)
    assert "BadHeaderError" in bad.error
    assert good.sent_at is not None
    assert [message.to for message in outgoing] == [["later@works.test"]]


def test_a_dead_mail_server_loses_nothing_and_is_tried_again_later(
    outgoing: list[mail.EmailMessage], settings: Any
) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 9
    with time_machine.travel(NOW, tick=False):
        reminder = owed().reminder
        assert (reminder.attempts, reminder.sent_at) == (1, None)
        assert "ConnectionRefusedError" in reminder.error
        assert reminder.next_try_at == NOW + TRY_AGAIN_AFTER[0]
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    with time_machine.travel(NOW + TRY_AGAIN_AFTER[0] - dt.timedelta(seconds=1)):
        assert send_owed_reminders().sent == 0
    with time_machine.travel(NOW + TRY_AGAIN_AFTER[0]):
        assert send_owed_reminders().sent == 1
    reminder.refresh_from_db()
    assert reminder.sent_at is not None
    assert reminder.error == ""
    assert len(outgoing) == 1


def test_a_claim_of_a_dead_worker_lapses_and_another_sends(outgoing: list[mail.EmailMessage]) -> None:
    reminder = owed().reminder
    outgoing.clear()
    Reminder.objects.filter(pk=reminder.pk).update(sent_at=None, claimed_at=timezone.now())
    assert send_owed_reminders().sent == 0
    Reminder.objects.filter(pk=reminder.pk).update(
        claimed_at=timezone.now() - CLAIM_LAPSES_AFTER - dt.timedelta(seconds=1)
    )
    assert send_owed_reminders().sent == 1
    assert len(outgoing) == 1


def test_a_worker_whose_claim_has_passed_on_marks_nothing(outgoing: list[mail.EmailMessage]) -> None:
    reminder = owed().reminder
    Reminder.objects.filter(pk=reminder.pk).update(sent_at=None, claimed_at=NOW)
    reminder.claimed_at = NOW - dt.timedelta(hours=1)
    outbox._mark(reminder.organisation, reminder, error="", sent_at=timezone.now())
    reminder.refresh_from_db()
    assert reminder.sent_at is None


def test_only_the_person_it_is_owed_to_can_have_seen_it(outgoing: list[mail.EmailMessage]) -> None:
    sent = owed()
    colleague = builders.actor(sent.reminder.organisation, Role.MANAGER)
    assert not mark_seen(colleague, sent.reminder)
    assert mark_seen(member_actor(sent.manager, source="test"), sent.reminder)
    assert not mark_seen(member_actor(sent.manager, source="test"), sent.reminder)
    assert queue_reminders(sent.reminder.organisation, as_of=NOW) == 1
