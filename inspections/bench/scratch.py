"""A database of the bench's own on the server at hand, made by the owner's role and dropped again."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import psycopg
from django.conf import settings
from django.core.management import call_command
from django.db import connections


class NoScratchDatabase(Exception):
    """The bench needs PostgreSQL and a role that may make databases."""


@contextmanager
def scratch_database() -> Iterator[str]:
    """Make and migrate an empty database, let every connection use it, and drop it at the end.

    Raises
    ------
    NoScratchDatabase
        Says what is missing.
    """
    if connections["default"].vendor != "postgresql":
        raise NoScratchDatabase("the bench of the night needs PostgreSQL: set DATABASE_URL")
    before, name = str(connections["default"].settings_dict["NAME"]), f"coilbook_bench_{os.getpid()}"
    try:
        with _server() as server:
            server.execute(f'CREATE DATABASE "{name}"')
    except psycopg.errors.InsufficientPrivilege:
        raise NoScratchDatabase("the owner's role may not make databases: grant it CREATEDB") from None
    try:
        use_database(name)
        call_command("migrate", database=owner_alias(), verbosity=0, interactive=False)
        yield name
    finally:
        use_database(before)
        with _server() as server:
            server.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


def use_database(name: str) -> None:
    """Let every connection of this process go to another database of the same server."""
    for connection in connections.all():
        connection.close()
        connection.settings_dict["NAME"] = name


def owner_alias() -> str:
    """Return the connection of the role that owns the tables."""
    return "owner" if "owner" in settings.DATABASES else "default"


def _server() -> psycopg.Connection[Any]:
    owner = connections[owner_alias()].settings_dict
    return psycopg.connect(
        host=owner["HOST"] or None,
        port=owner["PORT"] or None,
        user=owner["USER"] or None,
        password=owner["PASSWORD"] or None,
        dbname="postgres",
        autocommit=True,
    )
