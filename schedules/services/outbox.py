"""Deliver the reminders that are owed, and take the word of who has seen one."""

from django.core.mail import EmailMessage
from django.utils import timezone

from accounts.actors import Actor
from accounts.outbox import Delivery, send_owed
from schedules.models import Reminder
from schedules.notices import notice_body, notice_subject


def send_owed_reminders() -> Delivery:
    """Send every reminder whose time has come, organisation by organisation."""
    rows = Reminder.objects.select_related(
        "installation__vehicle__depot", "installation__retarder__retarder_type", "person__user", "organisation"
    )
    return send_owed(rows, _mail)


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
