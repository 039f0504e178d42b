"""What the worker runs: the same services as the commands."""

from celery import shared_task

from accounts.services.record_checks import run_asked_checks


@shared_task(name="accounts.tasks.check_asked_records")  # type: ignore[untyped-decorator]
def check_asked_records() -> None:
    """Do the checks of the record that somebody has asked for."""
    run_asked_checks()
