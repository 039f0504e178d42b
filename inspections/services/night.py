"""The night's work: due states as of an instant, and what is owed to people.  Running it twice changes nothing."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from accounts.models import Organisation
from accounts.tenancy import organisation_transaction
from fleet.models import Installation
from inspections.queries import last_checks
from schedules.queries import installations_in_service
from schedules.services.due_dates import refresh_due_dates
from schedules.services.reminders import queue_reminders

CHUNK = 500


@dataclass(frozen=True, slots=True)
class NightReport:
    """What one night did."""

    organisations: int
    installations: int
    due_dates_changed: int
    reminders_queued: int


def run_night(*, as_of: dt.datetime) -> NightReport:
    """Refresh every due date and queue every reminder that is owed, organisation by organisation, chunk by chunk."""
    organisations = list(Organisation.objects.filter(closed_at__isnull=True).order_by("pk"))
    installations = changed = queued = 0
    for organisation in organisations:
        for chunk in _chunks(organisation):
            with organisation_transaction(organisation):
                changed += refresh_due_dates(chunk, last_checks([row.pk for row in chunk]), as_of=as_of)
            installations += len(chunk)
        with organisation_transaction(organisation):
            queued += queue_reminders(organisation, as_of=as_of)
    return NightReport(len(organisations), installations, changed, queued)


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
