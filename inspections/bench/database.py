"""A database of a bench's own: what it stores is real, committed, and gone afterwards."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
from django.core.management import call_command
from django.db import DEFAULT_DB_ALIAS, connections
from psycopg import sql


def owner_alias() -> str:
    """Return the connection of the role that may make tables."""
    return "owner" if "owner" in connections else DEFAULT_DB_ALIAS


@contextmanager
def database_of_its_own() -> Iterator[None]:
    """Use an empty migrated database on the engine that the settings name, and drop it afterwards."""
    if connections[DEFAULT_DB_ALIAS].vendor == "sqlite":
        with tempfile.TemporaryDirectory() as folder, _used(str(Path(folder) / "bench.sqlite3")):
            yield
        return
    name = sql.Identifier(f"bench_coilbook_{os.getpid()}")
    with server_of_the_owner() as server:
        server.execute(sql.SQL("CREATE DATABASE {}").format(name))
        try:
            with _used(f"bench_coilbook_{os.getpid()}"):
                yield
        finally:
            server.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(name))


def server_of_the_owner() -> psycopg.Connection:
    """Return a connection, to close, on which the owner's role makes and drops databases."""
    owner = connections[owner_alias()].settings_dict
    return psycopg.connect(
        host=owner["HOST"],
        port=owner["PORT"] or None,
        user=owner["USER"],
        password=owner["PASSWORD"] or None,
        dbname="postgres",
        autocommit=True,
    )


@contextmanager
def _used(name: str) -> Iterator[None]:
    before = {connection.alias: connection.settings_dict["NAME"] for connection in connections.all()}
    _point_at(dict.fromkeys(before, name))
    try:
        call_command("migrate", database=owner_alias(), verbosity=0, interactive=False)
        yield
    finally:
        _point_at(before)


def _point_at(names: dict[str, str]) -> None:
    for connection in connections.all():
        connection.close()
        connection.settings_dict["NAME"] = names[connection.alias]
