"""The test databases, SQLite in a file or PostgreSQL used by the application role, and a client with a token."""

import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.contrib.auth.hashers import ScryptPasswordHasher
from django.db import connections
from django.test import Client
from pytest_django import DjangoDbBlocker

from accounts.models import Organisation
from accounts.roles import Role
from tests import builders, naming
from tests.config.expected_skips import (  # noqa: F401
    pytest_collectreport,
    pytest_runtest_logreport,
    pytest_sessionfinish,
    pytest_terminal_summary,
)
from tests.databases import Databases, databases_of_this_run, drop_originals, own_environment

ROOT = Path(__file__).parent.parent

# The service's own way of hashing passwords, with less work in it; server processes that tests start do all of it.
ScryptPasswordHasher.work_factor = 2**4

naming.watch_requests()
naming.watch_commands()


def pytest_report_header() -> str:
    """Say which engine and role the tests run on."""
    chosen = settings.DATABASES["default"]
    engine = chosen["ENGINE"].rpartition(".")[2]
    return f"engine: {engine}, role: {chosen.get('USER') or 'none'}, broker: {settings.CELERY_BROKER_URL or 'none'}"


def pytest_unconfigure() -> None:
    """Drop what the run's databases were copied from, once its workers have ended."""
    if "PYTEST_XDIST_WORKER" not in os.environ:
        drop_originals()


@pytest.fixture(scope="session")
def databases(tmp_path_factory: pytest.TempPathFactory) -> Databases:
    """Return what copies databases."""
    return databases_of_this_run(tmp_path_factory)


@pytest.fixture(scope="session")
def django_db_setup(django_db_blocker: DjangoDbBlocker, databases: Databases) -> Iterator[None]:
    """Use one migrated database for the session, migrated by the owner's role where there is one."""
    with django_db_blocker.unblock(), databases.migrated("test") as name:
        _use(name)
        yield
        connections.close_all()


def _use(name: str) -> None:
    for connection in connections.all():
        connection.close()
        connection.settings_dict["NAME"] = name


@pytest.fixture(scope="session")
def committed_database(django_db_setup: None, databases: Databases) -> Iterator[str]:
    """Make a second database for tests with real transactions: evidence that is committed cannot be cleared away."""
    with databases.migrated("committed") as name:
        yield name


@pytest.fixture
def committed_db(committed_database: str, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """Give real transactions, in a database where what is written stays: each test has its own organisation there."""
    with django_db_blocker.unblock():
        first = str(connections["default"].settings_dict["NAME"])
        _use(committed_database)
        yield
        _use(first)


@pytest.fixture(scope="module")
def process_environment(tmp_path_factory: pytest.TempPathFactory, databases: Databases) -> Iterator[dict[str, str]]:
    """Return the environment of a server or worker process, with a migrated database of the test file's own."""
    with databases.migrated("process") as name:
        yield own_environment(tmp_path_factory.mktemp("process"), name)


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
