"""What the worker runs: the same services as the commands."""

import logging

from celery import shared_task
from django.conf import settings
from django.utils import timezone

from accounts.queries import open_organisations
from inspections.services.night_runs import run_night_once
from inspections.services.rejudging_runs import run_asked_rejudgings
from inspections.services.trends import HandOut, fit_chunk

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
    for organisation in open_organisations():
        if organisation.pk == organisation_id:
            fit_chunk(organisation, chunk_id)


@shared_task(name="inspections.tasks.judge_anew")  # type: ignore[untyped-decorator]
def judge_anew() -> None:
    """Go on with the sets that somebody wants judged anew."""
    run_asked_rejudgings()


def to_other_workers() -> HandOut | None:
    """Return how chunks are handed to other workers, None where there are none."""
    return fit_trends.delay if settings.CELERY_BROKER_URL else None
