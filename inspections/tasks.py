"""What the worker runs: the same services as the commands."""

import logging

from celery import shared_task
from django.conf import settings
from django.utils import timezone

from accounts.models import Organisation
from accounts.queries import open_organisations
from inspections.services.chunks import take_on
from inspections.services.due_date_chunks import DUE_DATES
from inspections.services.night import HandOutOfPart, PartName
from inspections.services.night_runs import run_night_once
from inspections.services.rejudging_runs import run_asked_rejudgings
from inspections.services.trends import TRENDS

logger = logging.getLogger(__name__)


@shared_task(name="inspections.tasks.run_night")  # type: ignore[untyped-decorator]
def run_night() -> None:
    """Do this hour's share of the night's work, unless another worker has it already."""
    report = run_night_once(as_of=timezone.now(), hand_out=to_other_workers())
    if report is not None and report.failed:
        logger.error("the night left something undone: %s", report)


@shared_task(name="inspections.tasks.fit_trends")  # type: ignore[untyped-decorator]
def fit_trends(organisation_id: int, chunk_id: int) -> None:
    """Fit one chunk of a night, unless another worker has it already."""
    if organisation := _open_organisation(organisation_id):
        take_on(TRENDS, organisation, chunk_id)


@shared_task(name="inspections.tasks.work_out_due_dates")  # type: ignore[untyped-decorator]
def work_out_due_dates(organisation_id: int, chunk_id: int) -> None:
    """Work out one chunk of a night's due dates, unless another worker has it already."""
    if organisation := _open_organisation(organisation_id):
        take_on(DUE_DATES, organisation, chunk_id)


def _open_organisation(organisation_id: int) -> Organisation | None:
    return next((each for each in open_organisations() if each.pk == organisation_id), None)


@shared_task(name="inspections.tasks.judge_anew")  # type: ignore[untyped-decorator]
def judge_anew() -> None:
    """Go on with the sets that somebody wants judged anew."""
    run_asked_rejudgings()


def to_other_workers() -> HandOutOfPart | None:
    """Return how chunks are handed to other workers, None where there are none."""
    return _hand_out if settings.CELERY_BROKER_URL else None


def _hand_out(part: PartName, organisation_id: int, chunk_id: int) -> None:
    tasks = {"trends": fit_trends, "due_dates": work_out_due_dates}
    tasks[part].delay(organisation_id, chunk_id)
