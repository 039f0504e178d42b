"""Deliver what is owed: claimed by a conditional update, sent outside any transaction, tried again when that fails.

A worker that dies between claim and mark loses nothing: its claim lapses and another sends the message.  Should it
have been sent just before, it goes out again under the same Message-ID, which mail programs show once.
"""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.core.mail import EmailMessage
from django.db.models import Q, QuerySet
from django.utils import timezone

from accounts.models import Organisation
from accounts.queries import open_organisations
from accounts.tenancy import organisation_transaction

CLAIM_LAPSES_AFTER = dt.timedelta(minutes=10)
TRY_AGAIN_AFTER = [dt.timedelta(minutes=minutes) for minutes in (1, 5, 30, 120, 600, 1440)]
MOST_IN_ONE_RUN = 500

MailOf = Callable[[Any], EmailMessage]


@dataclass(frozen=True, slots=True)
class Delivery:
    """What one run of the outbox did."""

    sent: int
    failed: int

    def __add__(self, other: "Delivery") -> "Delivery":
        """Count two runs as one."""
        return Delivery(self.sent + other.sent, self.failed + other.failed)


NOTHING = Delivery(0, 0)


def send_owed(rows: QuerySet[Any], mail_of: MailOf) -> Delivery:
    """Send what of the rows is ripe, organisation by organisation; `rows` joins what the mail is made of."""
    organisations = [organisation for organisation in open_organisations() if not organisation.is_demo]
    return sum((_send_for(organisation, rows, mail_of) for organisation in organisations), NOTHING)


def _send_for(organisation: Organisation, rows: QuerySet[Any], mail_of: MailOf) -> Delivery:
    with organisation_transaction(organisation):
        waiting = list(_sendable(rows, timezone.now()).filter(organisation=organisation).values_list("pk", flat=True))
    sent = failed = 0
    for pk in waiting[:MOST_IN_ONE_RUN]:
        row = _claim(organisation, rows, pk)
        if row is None:
            continue
        if _deliver(organisation, row, mail_of):
            sent += 1
        else:
            failed += 1
    return Delivery(sent, failed)


def _sendable(rows: QuerySet[Any], now: dt.datetime) -> QuerySet[Any]:
    unclaimed = Q(claimed_at__isnull=True) | Q(claimed_at__lt=now - CLAIM_LAPSES_AFTER)
    timely = Q(next_try_at__isnull=True) | Q(next_try_at__lte=now)
    return rows.filter(unclaimed, timely, sent_at__isnull=True, held="").order_by("queued_at", "pk")


def _claim(organisation: Organisation, rows: QuerySet[Any], pk: int) -> Any | None:
    now = timezone.now()
    with organisation_transaction(organisation):
        if not _sendable(rows, now).filter(pk=pk).update(claimed_at=now):
            return None
        return rows.get(pk=pk)


def _deliver(organisation: Organisation, row: Any, mail_of: MailOf) -> bool:
    """Send one claimed message and mark it, unless its claim has passed to another meanwhile."""
    try:
        mail_of(row).send()
    except (OSError, ValueError) as error:
        # A mail that cannot be written, such as to an address that is none, must not keep the others from going out.
        again_at = timezone.now() + TRY_AGAIN_AFTER[min(row.attempts, len(TRY_AGAIN_AFTER) - 1)]
        _mark(organisation, row, error=f"{type(error).__name__}: {error}"[:500], next_try_at=again_at)
        return False
    _mark(organisation, row, error="", sent_at=timezone.now())
    return True


def _mark(organisation: Organisation, row: Any, **columns: object) -> None:
    with organisation_transaction(organisation):
        type(row).objects.filter(pk=row.pk, claimed_at=row.claimed_at, sent_at__isnull=True).update(
            claimed_at=None, attempts=row.attempts + 1, changed_at=timezone.now(), **columns
        )
