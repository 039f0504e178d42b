"""Cursors for statements that come again and again: PostgreSQL plans such a statement once a connection."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.conf import settings
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.backends.utils import CursorWrapper

# How often a statement has come before its plan is kept.
PLANNED_FROM = 2


@contextmanager
def cursor_for(connection: BaseDatabaseWrapper, *, planned_once: bool) -> Iterator[CursorWrapper]:
    """Yield a cursor; with `planned_once` for a statement that comes again in the same words."""
    # Of a planned statement the framework cannot tell the words to who logs or counts statements.
    if not planned_once or not _may_plan(connection) or connection.queries_logged:
        with connection.cursor() as cursor:
            yield cursor
        return
    # The driver is loaded only where PostgreSQL is used.
    from django.db.backends.postgresql.base import ServerBindingCursor

    connection.ensure_connection()
    driver: Any = connection.connection
    driver.prepare_threshold = PLANNED_FROM
    usual, driver.cursor_factory = driver.cursor_factory, ServerBindingCursor
    try:
        cursor = connection.cursor()
    finally:
        driver.cursor_factory = usual
    with cursor:
        yield cursor


def _may_plan(connection: BaseDatabaseWrapper) -> bool:
    # Who set the driver's threshold to None may have a pooler that keeps no statement.
    threshold = connection.settings_dict["OPTIONS"].get("prepare_threshold", PLANNED_FROM)
    return connection.vendor == "postgresql" and settings.PLANNED_STATEMENTS and threshold is not None
