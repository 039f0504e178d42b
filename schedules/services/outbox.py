"""Deliver what is owed: claimed by a conditional update, sent outside any transaction, tried again when that fails.

A worker that dies between claim and mark loses nothing: its claim lapses and another sends the reminder.  Should it
have been sent just before, it goes out again under the same Message-ID, which mail programs show once.
"""

import datetime as dt
from dataclasses import dataclass

from django.core.mail import EmailMessage
from django.db.models import Q, QuerySet
from django.utils import timezone

from accounts.actors import Actor
from accounts.models import Organisation
from accounts.tenancy import organisation_transaction
from schedules.models import Reminder
from schedules.notices import notice_body, notice_subject

CLAIM_LAPSES_AFTER = dt.timedelta(minutes=10)
TRY_AGAIN_AFTER = [dt.timedelta(minutes=minutes) for minutes in (1, 5, 30, 120, 600, 1440)]
MOST_IN_ONE_RUN = 500


@dataclass(frozen=True, slots=True)
class Delivery:
    """What one run of the outbox did."""

    sent: int
    failed: int


def send_owed_reminders() -> Delivery:
    """Send every reminder whose time has come, organisation by organisation."""
    sent = failed = 0
    for organisation in Organisation.objects.filter(closed_at__isnull=True, is_demo=False).order_by("pk"):
        delivery = _send_for(organisation)
        sent, failed = sent + delivery.sent, failed + delivery.failed
    return Delivery(sent, failed)


def _send_for(organisation: Organisation) -> Delivery:
    with organisation_transaction(organisation):
        waiting = list(_sendable(timezone.now()).filter(organisation=organisation).values_list("pk", flat=True))
    sent = failed = 0
    for pk in waiting[:MOST_IN_ONE_RUN]:
        reminder = _claim(organisation, pk)
        if reminder is None:
            continue
        if _deliver(organisation, reminder):
            sent += 1
        else:
            failed += 1
    return Delivery(sent, failed)


def _sendable(now: dt.datetime) -> QuerySet[Reminder]:
    unclaimed = Q(claimed_at__isnull=True) | Q(claimed_at__lt=now - CLAIM_LAPSES_AFTER)
    timely = Q(next_try_at__isnull=True) | Q(next_try_at__lte=now)
    return Reminder.objects.filter(unclaimed, timely, sent_at__isnull=True, held="").order_by("queued_at", "pk")


def _claim(organisation: Organisation, pk: int) -> Reminder | None:
    now = timezone.now()
    with organisation_transaction(organisation):
        if not _sendable(now).filter(pk=pk).update(claimed_at=now):
            return None
        return Reminder.objects.select_related(
            "installation__vehicle__depot", "installation__retarder__retarder_type", "person__user", "organisation"
        ).get(pk=pk)


def _deliver(organisation: Organisation, reminder: Reminder) -> bool:
    """Send one claimed reminder and mark it, unless its claim has passed to another meanwhile."""
    try:
        _mail(reminder).send()
    except OSError as error:
        again_at = timezone.now() + TRY_AGAIN_AFTER[min(reminder.attempts, len(TRY_AGAIN_AFTER) - 1)]
        _mark(organisation, reminder, error=f"{type(error).__name__}: {error}"[:500], next_try_at=again_at)
        return False
    _mark(organisation, reminder, error="", sent_at=timezone.now())
    return True


def _mark(organisation: Organisation, reminder: Reminder, **columns: object) -> None:
    with organisation_transaction(organisation):
        Reminder.objects.filter(pk=reminder.pk, claimed_at=reminder.claimed_at, sent_at__isnull=True).update(
            claimed_at=None, attempts=reminder.attempts + 1, changed_at=timezone.now(), **columns
        )


def _mail(reminder: Reminder) -> EmailMessage:
    return EmailMessage(
        subject=notice_subject(reminder),
        body=notice_body(reminder),
        to=[reminder.person.user.email],
        headers={"Message-ID": f"<{reminder.uuid}@coilbook>"},
    )


def mark_seen(actor: Actor, reminder: Reminder) -> bool:
    """Write down that the person a reminder is owed to has seen it; somebody else's look does not count."""
    if reminder.person.user != actor.user:
        return False
    now = timezone.now()
    unseen = Reminder.objects.of(actor.organisation).filter(pk=reminder.pk, seen_at__isnull=True)
    return bool(unseen.update(seen_at=now, changed_at=now))
