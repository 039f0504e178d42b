"""Queue what is owed to people."""

import datetime as dt
from collections.abc import Sequence

from django.db import transaction

from accounts.models import Member, Organisation
from schedules.models import Reminder
from schedules.queries import due_dates, people_to_tell

OWED_STATES = ["in_notice", "due", "overdue"]
CHUNK = 500


@transaction.atomic
def queue_reminders(organisation: Organisation, *, as_of: dt.datetime) -> int:
    """Queue each reminder that is owed and not queued yet, and return how many were new.

    A reminder is the same one whenever installation, plan, cycle, stage and person are the same, whatever the date.
    """
    people = list(people_to_tell(organisation, as_of.date()).select_related("user"))
    owed = [
        Reminder(
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
        for due in due_dates(organisation).filter(state__in=OWED_STATES).iterator()
        for person in people
    ]
    return sum(_stored(organisation, owed[start : start + CHUNK]) for start in range(0, len(owed), CHUNK))


def _stored(organisation: Organisation, owed: Sequence[Reminder]) -> int:
    """Store what nobody has queued yet, and count what of it is ours: another night may be running."""
    Reminder.objects.bulk_create(owed, ignore_conflicts=True)
    return Reminder.objects.of(organisation).filter(uuid__in=[reminder.uuid for reminder in owed]).count()


def _held(organisation: Organisation, person: Member) -> str:
    if organisation.is_demo:
        return "demo"
    return "" if person.user.email else "no_address"
