"""Background work taken from a broker by a real worker, or done in process where there is none."""

import os
import uuid
from pathlib import Path

import pytest
from django.conf import settings

from accounts.models import WorkRun
from config.celery import app
from inspections.tasks import run_night
from tests.config.processes import manage, query, running, wait_until


@pytest.fixture
def queue() -> str:
    """Return a queue that only this test's worker reads."""
    if not settings.CELERY_BROKER_URL:
        pytest.skip("needs a broker")
    return f"{settings.CELERY_TASK_DEFAULT_QUEUE}-{uuid.uuid4().hex[:8]}"


def test_a_real_worker_takes_the_nights_work_from_the_broker(
    queue: str, process_environment: dict[str, str], tmp_path: Path
) -> None:
    environment, log = process_environment | {"COILBOOK_QUEUE": queue}, tmp_path / "log"
    runs = "SELECT job, state, error FROM accounts_workrun"
    query(environment, "DELETE FROM accounts_workrun")
    sent = manage(environment, "shell", "-c", "from inspections.tasks import run_night; run_night.delay()")
    assert sent.returncode == 0, sent.stderr
    worker = ("-m", "celery", "-A", "config", "worker", "--pool", "solo", "--loglevel", "INFO", "--without-mingle")
    with running(environment, log, *worker) as process:
        wait_until(lambda: query(environment, runs) == [("night", "done", "")], process, log, within_s=60)
        process.terminate()
        assert process.wait(timeout=20) == 0, log.read_text()
    assert "succeeded" in log.read_text()


def test_without_a_broker_work_is_done_in_process(db: None) -> None:
    assert bool(app.conf.task_always_eager) is not bool(os.environ.get("CELERY_BROKER_URL"))
    run_night.apply(throw=True)
    assert WorkRun.objects.get().state == "done"


def test_a_task_may_be_delivered_twice(db: None) -> None:
    for _ in range(2):
        run_night.apply(throw=True)
    assert WorkRun.objects.count() == 1
