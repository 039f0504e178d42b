"""What the worker runs: the same services as the commands."""

from celery import shared_task
from django.utils import timezone

from inspections.services.night_runs import run_night_once


@shared_task(name="inspections.tasks.run_night")  # type: ignore[untyped-decorator]
def run_night() -> None:
    """Do this hour's share of the night's work, unless another worker has it already."""
    run_night_once(as_of=timezone.now())
