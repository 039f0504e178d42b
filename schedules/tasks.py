"""What the worker runs: the same services as the commands."""

from celery import shared_task

from schedules.services.outbox import send_owed_reminders


@shared_task(name="schedules.tasks.send_reminders")  # type: ignore[untyped-decorator]
def send_reminders() -> None:
    """Send what is owed."""
    send_owed_reminders()
