"""Queue what is owed to people."""

import datetime as dt
from collections.abc import Sequence

from django.db.models import Count, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from accounts.models import Member, Organisation
from accounts.tenancy import organisation_transaction
from schedules.models import DueDate, Reminder
from schedules.queries import due_dates, people_to_tell

OWED_STATES = ["in_notice", "due", "overdue"]
CHUNK = 500


def queue_reminders(organisation: Organisation, *, as_of: dt.datetime) -> int:
    """Queue each reminder that is owed and not queued yet, and return how many were new.

    A reminder is the same one whenever installation, plan, cycle, stage and person are the same, whatever the date.
    Each batch is kept by itself: what fails behind it loses nobody theirs.
    """
    with organisation_transaction(organisation):
        people = list(people_to_tell(organisation, as_of.date()).select_related("user"))
    queued = behind = 0
    while True:
        with organisation_transaction(organisation):
            owed = list(_not_told_to_all(organisation, people).filter(pk__gt=behind).order_by("pk")[:CHUNK])
            rows = [_reminder(organisation, due, person, as_of) for due in owed for person in people]
            queued += _stored(organisation, rows)
        if not owed:
            return queued
        behind = owed[-1].pk


def _not_told_to_all(organisation: Organisation, people: Sequence[Member]) -> QuerySet[DueDate]:
    """Return what is owed and not queued for everybody: most of what is overdue was told long ago."""
    told = Reminder.objects.filter(
        installation=OuterRef("installation"),
        plan=OuterRef("plan"),
        cycle_began_by=OuterRef("cycle_began_by"),
        lead_stage=OuterRef("state"),
        person__in=people,
    )
    counted = told.order_by().values("installation").annotate(count=Count("pk")).values("count")
    owed = due_dates(organisation).filter(state__in=OWED_STATES)
    return owed.annotate(told=Coalesce(Subquery(counted), 0)).filter(told__lt=len(people))


def _reminder(organisation: Organisation, due: DueDate, person: Member, as_of: dt.datetime) -> Reminder:
    return Reminder(
        organisation=organisation,
        installation=due.installation,
        plan=due.plan,
        cycle_began_by=due.cycle_began_by,
        lead_stage=due.state,
        person=person,
        due_on=due.sorts_on,
        held=_held(organisation, person),
        queued_at=as_of,
    )


def _stored(organisation: Organisation, owed: Sequence[Reminder]) -> int:
    """Store what nobody has queued yet, and count what of it is ours: another night may be running."""
    if not owed:
        return 0
    Reminder.objects.bulk_create(owed, ignore_conflicts=True)
    return Reminder.objects.of(organisation).filter(uuid__in=[reminder.uuid for reminder in owed]).count()


def _held(organisation: Organisation, person: Member) -> str:
    if organisation.is_demo:
        return "demo"
    return "" if person.user.email else "no_address"
