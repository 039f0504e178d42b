"""What the bench's own worker processes run; a fresh process sets Django up before it imports any room."""

import resource

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
        cursor.execute("SELECT pg_sleep(1)")


def work(organisation_id: int) -> float:
    """Work through the organisation's open chunks and return this process's peak memory. [MB]"""
    from accounts.models import Organisation
    from inspections.services.trends import work_through

    work_through(Organisation(pk=organisation_id))
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
