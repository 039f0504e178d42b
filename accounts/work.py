"""Background work as rows: claimed by a conditional update, so that one window has one runner on any database."""

import datetime as dt
from collections.abc import Mapping
from typing import Any

from django.db.models import Q
from django.utils import timezone

from accounts.models import WorkRun

# A runner that died holds its claim no longer than this; after that another may take the window over.
CLAIM_LAPSES_AFTER = dt.timedelta(hours=1)


def claim_work(job: str, window: str) -> WorkRun | None:
    """Return the window's row if this caller is the one to do it, else None."""
    now = timezone.now()
    WorkRun.objects.bulk_create([WorkRun(job=job, window=window)], ignore_conflicts=True)
    free = Q(state__in=["queued", "failed"]) | Q(state="running", claimed_at__lt=now - CLAIM_LAPSES_AFTER)
    claimed = WorkRun.objects.filter(free, job=job, window=window).update(
        state="running", claimed_at=now, finished_at=None
    )
    return WorkRun.objects.get(job=job, window=window) if claimed else None


def finish_work(run: WorkRun, counts: Mapping[str, Any]) -> None:
    """Write down what the run did, unless its claim has passed to another runner."""
    _finish(run, state="done", counts=dict(counts), error="")


def fail_work(run: WorkRun, error: str) -> None:
    """Write down why the run failed, so that the window can be tried again."""
    _finish(run, state="failed", counts={}, error=error)


def _finish(run: WorkRun, **columns: Any) -> None:
    mine = WorkRun.objects.filter(pk=run.pk, state="running", claimed_at=run.claimed_at)
    mine.update(finished_at=timezone.now(), **columns)
