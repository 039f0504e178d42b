"""The test databases, SQLite in a file or PostgreSQL used by the application role, and a client with a token."""

import json
import os
import subprocess
import sys
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import connections
from django.test import Client
from pytest_django import DjangoDbBlocker

from accounts.models import Organisation
from accounts.roles import Role
from config.starting import owner_alias
from tests import builders, naming
from tests.config.expected_skips import (  # noqa: F401
    pytest_collectreport,
    pytest_runtest_logreport,
    pytest_sessionfinish,
    pytest_terminal_summary,
)

ROOT = Path(__file__).parent.parent

naming.watch_requests()
naming.watch_commands()


def pytest_report_header() -> str:
    """Say which engine and role the tests run on."""
    chosen = settings.DATABASES["default"]
    engine = chosen["ENGINE"].rpartition(".")[2]
    return f"engine: {engine}, role: {chosen.get('USER') or 'none'}, broker: {settings.CELERY_BROKER_URL or 'none'}"


@contextmanager
def postgresql_database(name: str) -> Iterator[None]:
    """Make an empty database owned by the owner's role, and drop it afterwards."""
    owner = connections[owner_alias()].settings_dict
    server = psycopg.connect(
        host=owner["HOST"],
        port=owner["PORT"] or None,
        user=owner["USER"],
        password=owner["PASSWORD"] or None,
        dbname="postgres",
        autocommit=True,
    )
    with server:
        server.execute(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')
        server.execute(f'CREATE DATABASE "{name}"')
        yield
        server.execute(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')
    server.close()


@pytest.fixture(scope="session")
def django_db_setup(django_db_blocker: DjangoDbBlocker, tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Make one migrated database for the session, migrated by the owner's role where there is one."""
    with django_db_blocker.unblock():
        if connections["default"].vendor == "sqlite":
            _use(str(tmp_path_factory.mktemp("database") / "test.sqlite3"))
            yield from _migrated()
        else:
            name = f"test_coilbook_{os.getpid()}"
            with postgresql_database(name):
                _use(name)
                yield from _migrated()


def _use(name: str) -> None:
    for connection in connections.all():
        connection.close()
        connection.settings_dict["NAME"] = name


def _migrated() -> Iterator[None]:
    call_command("migrate", database=owner_alias(), verbosity=0, interactive=False)
    yield
    connections.close_all()


@pytest.fixture(scope="session")
def committed_database(
    django_db_setup: None, django_db_blocker: DjangoDbBlocker, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[str]:
    """Make a second database for tests with real transactions: evidence that is committed cannot be cleared away."""
    with django_db_blocker.unblock():
        first = str(connections["default"].settings_dict["NAME"])
        if connections["default"].vendor == "sqlite":
            name = str(tmp_path_factory.mktemp("committed") / "test.sqlite3")
            _migrate_into(name, first)
            yield name
        else:
            name = f"committed_coilbook_{os.getpid()}"
            with postgresql_database(name):
                _migrate_into(name, first)
                yield name


def _migrate_into(name: str, back_to: str) -> None:
    _use(name)
    call_command("migrate", database=owner_alias(), verbosity=0, interactive=False)
    _use(back_to)


@pytest.fixture
def committed_db(committed_database: str, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """Give real transactions, in a database where what is written stays: each test has its own organisation there."""
    with django_db_blocker.unblock():
        first = str(connections["default"].settings_dict["NAME"])
        _use(committed_database)
        yield
        _use(first)


@pytest.fixture(scope="module")
def process_environment(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, str]]:
    """Return the environment of a server or worker process, with a migrated database of the test file's own."""
    folder = tmp_path_factory.mktemp("process")
    environment = os.environ | {
        "COILBOOK_NO_BOOTSTRAP": "1",
        "COILBOOK_VAR_DIR": str(folder),
        # Tests run side by side: each process of theirs has its own queue and keys.
        "COILBOOK_QUEUE": f"{settings.CELERY_TASK_DEFAULT_QUEUE}-{os.getpid()}",
        "COILBOOK_KEY_PREFIX": f"{settings.KEY_PREFIX}-{os.getpid()}",
    }
    if "postgresql" not in settings.DATABASES["default"]["ENGINE"]:
        environment["DATABASE_URL"] = f"sqlite:///{folder / 'coilbook.sqlite3'}"
        yield _prepared(environment)
        return
    name = f"process_coilbook_{os.getpid()}_{uuid.uuid4().hex[:8]}"
    with postgresql_database(name):
        for variable in ("DATABASE_URL", "DATABASE_OWNER_URL"):
            if variable in environment:
                environment[variable] = environment[variable].rpartition("/")[0] + f"/{name}"
        yield _prepared(environment)


def _prepared(environment: dict[str, str]) -> dict[str, str]:
    command = [sys.executable, "manage.py", "migrate", "-v0", f"--database={owner_alias()}"]
    subprocess.run(command, cwd=ROOT, env=environment, check=True)
    return environment


class Api:
    """A client of the machines' door, with one member's token."""

    def __init__(self, organisation: Organisation, role: Role = Role.TECHNICIAN) -> None:
        """Make a member with the role and a token."""
        self.member = builders.member(organisation, role)
        self.token = builders.token(self.member)
        self.client = Client(raise_request_exception=False, headers={"authorization": f"Bearer {self.token}"})

    def get(self, path: str, **query: Any) -> Any:
        """Read an address under /api/v1/."""
        return self.client.get(f"/api/v1/{path}", query or None)

    def post(self, path: str, document: Any) -> Any:
        """Post a document, or bytes as they are, to an address under /api/v1/."""
        body = document if isinstance(document, bytes) else json.dumps(document)
        return self.client.post(f"/api/v1/{path}", body, content_type="application/json")


@pytest.fixture
def workshop(db: None) -> builders.Workshop:
    """Return an organisation with one unit to check."""
    return builders.workshop()


@pytest.fixture
def api(workshop: builders.Workshop) -> Api:
    """Return a technician's client in the workshop."""
    return Api(workshop.organisation)
