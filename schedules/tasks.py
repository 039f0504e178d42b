"""What the worker runs: the same services as the commands."""

from celery import shared_task

from accounts.services.invitations import send_owed_invitations
from schedules.services.outbox import send_owed_reminders


@shared_task(name="schedules.tasks.send_reminders")  # type: ignore[untyped-decorator]
def send_reminders() -> None:
    """Send what is owed: reminders, and invitations to the book."""
    send_owed_reminders()
    send_owed_invitations()
