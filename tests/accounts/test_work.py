"""Windows of background work: claimed once, taken over when a runner has died, tried again after a failure."""

import datetime as dt
from functools import partial

import pytest
from django.utils import timezone

from accounts.models import WorkRun
from accounts.work import CLAIM_LAPSES_AFTER, claim_work, fail_work, finish_work
from tests.accounts.threads import at_once

JOB, WINDOW = "night", "2026-07-31T12"


def claimed() -> WorkRun:
    run = claim_work(JOB, WINDOW)
    assert run is not None
    return run


def claimed_long_ago(run: WorkRun, ago: dt.timedelta) -> None:
    WorkRun.objects.filter(pk=run.pk).update(claimed_at=timezone.now() - ago)


@pytest.mark.committed
def test_claims_at_once_give_one_winner(committed_db: None) -> None:
    claims = at_once([partial(claim_work, "race", "2031-01-01T00")] * 8)
    (winner,) = [claim for claim in claims if claim is not None]
    assert winner.state == "running"
    assert WorkRun.objects.filter(job="race").count() == 1


def test_a_second_claim_of_a_running_or_finished_window_gets_nothing(db: None) -> None:
    run = claimed()
    assert claim_work(JOB, WINDOW) is None
    finish_work(run, {"installations": 3})
    assert claim_work(JOB, WINDOW) is None
    run.refresh_from_db()
    assert (run.state, run.counts) == ("done", {"installations": 3})
    assert run.finished_at is not None


def test_windows_and_jobs_are_claimed_apart(db: None) -> None:
    claimed()
    assert claim_work(JOB, "2026-07-31T13") is not None
    assert claim_work("outbox", WINDOW) is not None


def test_a_lapsed_claim_is_taken_over_and_the_first_runner_writes_nothing_more(db: None) -> None:
    first = claimed()
    claimed_long_ago(first, CLAIM_LAPSES_AFTER - dt.timedelta(minutes=1))
    assert claim_work(JOB, WINDOW) is None
    claimed_long_ago(first, CLAIM_LAPSES_AFTER + dt.timedelta(minutes=1))
    second = claimed()
    first.claimed_at = timezone.now() - CLAIM_LAPSES_AFTER - dt.timedelta(minutes=1)
    finish_work(first, {"by": "first"})
    fail_work(first, "first")
    second.refresh_from_db()
    assert (second.state, second.counts, second.error) == ("running", {}, "")
    finish_work(second, {"by": "second"})
    second.refresh_from_db()
    assert (second.state, second.counts) == ("done", {"by": "second"})


def test_a_failed_window_can_be_claimed_again(db: None) -> None:
    fail_work(claimed(), "ValueError: no depot")
    failed = WorkRun.objects.get()
    assert (failed.state, failed.error) == ("failed", "ValueError: no depot")
    again = claimed()
    assert (again.pk, again.state, again.finished_at) == (failed.pk, "running", None)
