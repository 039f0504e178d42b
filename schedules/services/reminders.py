"""Queue what is owed to people."""

import datetime as dt

from django.db import transaction

from accounts.models import Organisation
from schedules.models import Reminder
from schedules.queries import due_dates, people_to_tell

OWED_STATES = ["in_notice", "due", "overdue"]


@transaction.atomic
def queue_reminders(organisation: Organisation, *, as_of: dt.datetime) -> int:
    """Queue each reminder that is owed and not queued yet, and return how many were new.

    A reminder is the same one whenever installation, plan, cycle, stage and person are the same, whatever the date.
    """
    people = list(people_to_tell(organisation, as_of.date()))
    owed = [
        Reminder(
            organisation=organisation,
            installation=due.installation,
            plan=due.plan,
            cycle_began_by=due.cycle_began_by,
            lead_stage=due.state,
            person=person,
            due_on=due.sorts_on,
            queued_at=as_of,
        )
        for due in due_dates(organisation).filter(state__in=OWED_STATES).iterator()
        for person in people
    ]
    before = Reminder.objects.of(organisation).count()
    Reminder.objects.bulk_create(owed, ignore_conflicts=True, batch_size=500)
    return Reminder.objects.of(organisation).count() - before
