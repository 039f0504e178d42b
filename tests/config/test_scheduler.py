"""The embedded install's own clock: the same schedule as beat, each task once when its time has come."""

import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import time_machine
from django.conf import settings

from accounts.models import WorkRun
from config import scheduler
from config.celery import app
from inspections.tasks import run_night

ROOT = Path(__file__).parents[2]
BEFORE, AFTER = datetime(2026, 11, 25, 2, 16, 30, tzinfo=UTC), datetime(2026, 11, 25, 2, 17, 30, tzinfo=UTC)


KNOWN = "assert {entry['task'] for entry in settings.CELERY_BEAT_SCHEDULE.values()} <= set(app.tasks), set(app.tasks)"
WORKER = "from config.celery import app; app.loader.import_default_modules()"
SERVER = "import config.wsgi; from config.scheduler import app, start_scheduler; start_scheduler()"


@pytest.mark.parametrize(
    "process",
    [WORKER, SERVER],
    ids=["worker", "server"],
)
def test_every_scheduled_task_is_known_to_the_process_that_runs_it(process: str) -> None:
    code = f"{process}\nfrom django.conf import settings\n{KNOWN}"
    ended = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert ended.returncode == 0, ended.stderr


@pytest.fixture
def only_the_night(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """Schedule the night's work alone, on the test's own connection."""
    monkeypatch.setattr(settings, "CELERY_BEAT_SCHEDULE", {"night": settings.CELERY_BEAT_SCHEDULE["night"]})
    assert run_night.name in app.tasks
    monkeypatch.setattr(scheduler, "close_old_connections", lambda: None)


def test_a_due_task_runs_once(only_the_night: None) -> None:
    last_run_at = {"night": BEFORE}
    with time_machine.travel(BEFORE + timedelta(seconds=10), tick=False):
        assert scheduler.run_due_tasks(last_run_at) == []
    with time_machine.travel(AFTER, tick=False):
        assert scheduler.run_due_tasks(last_run_at) == ["night"]
        assert scheduler.run_due_tasks(last_run_at) == []
    assert last_run_at == {"night": AFTER}
    assert list(WorkRun.objects.values_list("job", "window", "state")) == [("night", "2026-11-25T02", "done")]


def test_hours_missed_are_made_up_for_by_one_run(only_the_night: None) -> None:
    last_run_at = {"night": AFTER - timedelta(days=3)}
    with time_machine.travel(AFTER, tick=False):
        assert [scheduler.run_due_tasks(last_run_at) for _ in range(2)] == [["night"], []]
    assert WorkRun.objects.count() == 1


def test_a_failed_task_is_logged_and_ends_nothing(
    only_the_night: None, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr("inspections.services.night_runs.run_night", lambda **_given: 1 / 0)
    # The first task in a process sets logging up anew, and takes the root's handlers away.
    monkeypatch.setattr(scheduler.logger, "handlers", [caplog.handler])
    with time_machine.travel(AFTER, tick=False):
        assert scheduler.run_due_tasks({"night": BEFORE}) == ["night"]
    assert "scheduled task inspections.tasks.run_night failed" in caplog.text
    assert WorkRun.objects.get().error == "ZeroDivisionError: division by zero"
