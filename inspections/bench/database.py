"""A database of a bench's own: what it stores is real, committed, and gone afterwards."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path

import psycopg
from django.core.management import call_command
from django.db import DEFAULT_DB_ALIAS, connections
from psycopg import sql

from accounts.owner import owner_alias, server_of_the_owner

_numbers = count(1)


class NoScratchDatabase(Exception):
    """The bench needs PostgreSQL and a role that may make databases."""


@contextmanager
def scratch_database() -> Iterator[str]:
    """Use a database of the bench's own as `database_of_its_own` does, on PostgreSQL only.

    Raises
    ------
    NoScratchDatabase
        Says what is missing.
    """
    if connections[DEFAULT_DB_ALIAS].vendor != "postgresql":
        raise NoScratchDatabase("the bench of the night needs PostgreSQL: set DATABASE_URL")
    with database_of_its_own() as name:
        yield name


@contextmanager
def database_of_its_own() -> Iterator[str]:
    """Use an empty migrated database on the engine that the settings name, and drop it afterwards.

    Raises
    ------
    NoScratchDatabase
        The owner's role may not make databases.
    """
    name = f"bench_coilbook_{os.getpid()}_{next(_numbers)}"
    if connections[DEFAULT_DB_ALIAS].vendor == "sqlite":
        with tempfile.TemporaryDirectory() as folder, _used(str(Path(folder) / f"{name}.sqlite3")):
            yield name
        return
    with server_of_the_owner() as server:
        try:
            server.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        except psycopg.errors.InsufficientPrivilege:
            raise NoScratchDatabase("the owner's role may not make databases: grant it CREATEDB") from None
        try:
            with _used(name):
                yield name
        finally:
            server.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))


@contextmanager
def _used(name: str) -> Iterator[None]:
    before = {connection.alias: connection.settings_dict["NAME"] for connection in connections.all()}
    _point_at(dict.fromkeys(before, name))
    try:
        call_command("migrate", database=owner_alias(), verbosity=0, interactive=False)
        yield
    finally:
        _point_at(before)


def use_database(name: str) -> None:
    """Let every connection of this process go to another database of the same server."""
    _point_at({connection.alias: name for connection in connections.all()})


def _point_at(names: dict[str, str]) -> None:
    for connection in connections.all():
        connection.close()
        connection.settings_dict["NAME"] = names[connection.alias]
