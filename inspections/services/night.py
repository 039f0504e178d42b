"""The night's work: due states as of an instant, and what is owed to people.  Running it twice changes nothing."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from accounts.models import Organisation
from accounts.tenancy import organisation_transaction
from fleet.models import Installation
from inspections.queries import last_checks
from inspections.services.trends import refresh_trends
from schedules.queries import installations_in_service
from schedules.services.due_dates import refresh_due_dates
from schedules.services.outbox import send_owed_reminders
from schedules.services.reminders import queue_reminders

CHUNK = 500


@dataclass(frozen=True, slots=True)
class NightReport:
    """What one night did."""

    organisations: int
    installations: int
    trends_fitted: int
    declines_changed: int
    due_dates_changed: int
    reminders_queued: int
    reminders_sent: int


def run_night(*, as_of: dt.datetime) -> NightReport:
    """Refresh every due date, queue what is owed and send it: organisation by organisation, chunk by chunk."""
    organisations = list(Organisation.objects.filter(closed_at__isnull=True).order_by("pk"))
    installations = fitted = declines = changed = queued = 0
    for organisation in organisations:
        with organisation_transaction(organisation):
            trends = refresh_trends(organisation)
        fitted, declines = fitted + trends.fitted, declines + trends.declines_changed
        for chunk in _chunks(organisation):
            with organisation_transaction(organisation):
                changed += refresh_due_dates(chunk, last_checks, as_of=as_of)
            installations += len(chunk)
        with organisation_transaction(organisation):
            queued += queue_reminders(organisation, as_of=as_of)
    sent = send_owed_reminders().sent
    return NightReport(len(organisations), installations, fitted, declines, changed, queued, sent)


def _chunks(organisation: Organisation) -> Iterator[list[Installation]]:
    done = 0
    while True:
        with organisation_transaction(organisation):
            rows = installations_in_service(organisation).filter(pk__gt=done).select_related("vehicle__depot")
            chunk = list(rows.order_by("pk")[:CHUNK])
        if not chunk:
            return
        yield chunk
        done = chunk[-1].pk
