"""What the bench's own worker processes run; a fresh process sets Django up before it imports any room."""

import resource
from pathlib import Path

import django


def begin(database: str) -> None:
    """Set a fresh process up to work in a database."""
    django.setup()
    from inspections.bench.database import use_database

    use_database(database)


def settle(number: int) -> None:
    """Connect and import, so that neither is measured, and take long enough that every process gets one of these."""
    from django.db import connection

    from inspections.services import trends  # noqa: F401

    with connection.cursor() as cursor:
        # From a certain size of chunk on, the server would have a second process of its own read along: then a worker
        # is no longer one worker, and a unit of the larger fleet seems cheaper than one of the smaller.
        cursor.execute("SET max_parallel_workers_per_gather = 0")
        cursor.execute("SELECT pg_sleep(1)")


def work(organisation_id: int) -> float:
    """Work through the organisation's open chunks and return this process's peak memory. [MB]"""
    from accounts.models import Organisation
    from inspections.services.chunks import work_through
    from inspections.services.trends import TRENDS

    work_through(TRENDS, Organisation(pk=organisation_id))
    return _peak_mb()


def _peak_mb() -> float:
    """Return the most memory that this process has held; what `getrusage` tells includes the process it came from."""
    status = Path("/proc/self/status")
    if not status.exists():
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    held = dict(line.split(":", 1) for line in status.read_text().splitlines())
    return int(held["VmHWM"].split()[0]) / 1024
