"""The night's work of the embedded install: a thread that reads the same schedule as Celery's beat.

Missed hours are not made up for one by one: each task does whatever is not done yet, whenever it runs.
"""

import logging
import threading
import time
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from django.conf import settings
from django.db import close_old_connections

from config.celery import app

LOOK_EVERY_S = 20.0

logger = logging.getLogger(__name__)


def start_scheduler() -> threading.Thread:
    """Start the thread; it ends with the process."""
    # Only a worker imports the rooms' tasks by itself.
    app.loader.import_default_modules()
    thread = threading.Thread(target=_run_for_ever, name="scheduler", daemon=True)
    thread.start()
    return thread


def _run_for_ever() -> None:
    last_run_at = dict.fromkeys(settings.CELERY_BEAT_SCHEDULE, datetime.now(UTC))
    while True:
        time.sleep(LOOK_EVERY_S)
        run_due_tasks(last_run_at)


def run_due_tasks(last_run_at: dict[str, datetime]) -> list[str]:
    """Run each scheduled task that is due since its last run, and return their names."""
    due = [name for name, entry in settings.CELERY_BEAT_SCHEDULE.items() if _is_due(entry, last_run_at[name])]
    for name in due:
        last_run_at[name] = datetime.now(UTC)
        _run(settings.CELERY_BEAT_SCHEDULE[name]["task"])
    return due


def _is_due(entry: Mapping[str, Any], last_run_at: datetime) -> bool:
    return bool(entry["schedule"].is_due(last_run_at).is_due)


def _run(task: str) -> None:
    close_old_connections()
    try:
        app.tasks[task].apply(throw=True)
    except Exception:
        # The thread has to outlive a failed night; the failure stands in the log and in the night's own row.
        logger.exception("scheduled task %s failed", task)
    finally:
        close_old_connections()
