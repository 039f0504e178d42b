"""The night's work: due states as of an instant, and what is owed to people.  Running it twice changes nothing."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from accounts.models import Organisation
from accounts.queries import open_organisations
from accounts.repeats import forget_old_answers
from accounts.tenancy import organisation_transaction
from fleet.models import Installation
from inspections.queries import last_checks
from inspections.services.releases import end_releases, send_release_notices
from inspections.services.trends import HandOut, Tell, refresh_trends
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
    releases_ended: int = 0


def run_night(*, as_of: dt.datetime, hand_out: HandOut | None = None, tell: Tell | None = None) -> NightReport:
    """Fit what has news, refresh every due date, queue what is owed and send it, organisation by organisation.

    `hand_out` offers chunks of the fitting to other workers, `tell` is told how far it is.
    """
    organisations = open_organisations()
    installations = fitted = declines = changed = queued = ended = 0
    for organisation in organisations:
        trends = refresh_trends(organisation, hand_out=hand_out, tell=tell)
        fitted, declines = fitted + trends.fitted, declines + trends.declines_changed
        for chunk in _chunks(organisation):
            with organisation_transaction(organisation):
                changed += refresh_due_dates(chunk, last_checks, as_of=as_of)
            installations += len(chunk)
        with organisation_transaction(organisation):
            queued += queue_reminders(organisation, as_of=as_of)
        with organisation_transaction(organisation):
            ended += end_releases(organisation, as_of=as_of)
        with organisation_transaction(organisation):
            forget_old_answers(organisation, as_of=as_of)
    sent = send_owed_reminders().sent + send_release_notices().sent
    return NightReport(len(organisations), installations, fitted, declines, changed, queued, sent, ended)


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
