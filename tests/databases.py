"""Databases of a test's own: each kind is made once a run, by whichever worker needs it first, and copied from then on.

Migrating takes seconds and loading the demo book many, so neither is done again for every file that wants a database.
"""

import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
from django.conf import settings

from accounts.owner import owner_alias, server_of_the_owner
from bootstrap import try_to_hold, wait_for
from tests.config.processes import manage

Environment = dict[str, str]
# Loading the demo book is most of it; a machine with others on it takes several times as long.
LONGEST_FIRST_START_S = 180.0


@dataclass(frozen=True)
class Databases:
    """Where the databases of one run lie, which its workers share."""

    folder: Path

    @contextmanager
    def empty(self, label: str) -> Iterator[str]:
        """Make a database without tables and drop it afterwards; its name is a file's path on SQLite."""
        if not on_postgresql():
            yield str(self.folder / f"{label}_{os.getpid()}.sqlite3")
            return
        name = f"{label}_coilbook_{os.getpid()}"
        _on_the_server(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)', f'CREATE DATABASE "{name}"')
        yield name
        _on_the_server(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')

    @contextmanager
    def migrated(self, label: str) -> Iterator[str]:
        """Copy a database with every table and no rows."""
        original = self._original("migrated", _migrate)
        with self.empty(label) as name:
            _copy(original, name)
            yield name

    @contextmanager
    def with_demo_book(self, label: str) -> Iterator[str]:
        """Copy a database as a first `up --once` left it."""
        original = self._original("demo", _start_first)
        with self.empty(label) as name:
            _copy(original, name)
            yield name

    def said_by_the_first_start(self) -> str:
        """Return what the first `up --once` printed."""
        self._original("demo", _start_first)
        return (self.folder / "demo.made").read_text("utf-8")

    def _original(self, kind: str, make: Callable[[Environment], str]) -> str:
        """Return the name of a database to copy, made if this is the first call of the run."""
        name = _original_name(kind) if on_postgresql() else str(self.folder / f"{kind}.sqlite3")
        made = self.folder / f"{kind}.made"
        with (self.folder / f"{kind}.lock").open("a") as lock:
            if not try_to_hold(lock):
                wait_for(lock)
            if not made.exists():
                if on_postgresql():
                    _on_the_server(f'CREATE DATABASE "{name}"')
                made.write_text(make(own_environment(self.folder / kind, name)), "utf-8")
        return name


def databases_of_this_run(factory: pytest.TempPathFactory) -> Databases:
    """Return the databases of the run that this process is a worker of, or all of."""
    base = factory.getbasetemp()
    folder = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "databases"
    folder.mkdir(exist_ok=True)
    return Databases(folder)


def drop_originals() -> None:
    """Drop what a server kept for copying; files go with the run's folder."""
    if on_postgresql():
        _on_the_server(*(f'DROP DATABASE IF EXISTS "{_original_name(kind)}"' for kind in ("migrated", "demo")))


def on_postgresql() -> bool:
    """Tell which engine the tests run on."""
    return "postgresql" in settings.DATABASES["default"]["ENGINE"]


def own_environment(folder: Path, database: str) -> Environment:
    """Return the environment of processes with a folder and a database of their own."""
    environment = os.environ | {
        "COILBOOK_NO_BOOTSTRAP": "1",
        "COILBOOK_VAR_DIR": str(folder),
        # Tests run side by side: each process of theirs has its own queue and keys.
        "COILBOOK_QUEUE": f"{settings.CELERY_TASK_DEFAULT_QUEUE}-{os.getpid()}",
        "COILBOOK_KEY_PREFIX": f"{settings.KEY_PREFIX}-{os.getpid()}",
    }
    if not on_postgresql():
        return environment | {"DATABASE_URL": f"sqlite:///{database}"}
    for variable in {"DATABASE_URL", "DATABASE_OWNER_URL"} & environment.keys():
        environment[variable] = environment[variable].rpartition("/")[0] + f"/{database}"
    return environment


def _migrate(environment: Environment) -> str:
    return _said(environment, "migrate", "-v0", f"--database={owner_alias()}")


def _start_first(environment: Environment) -> str:
    return _said(environment, "up", "--once")


def _said(environment: Environment, *words: str) -> str:
    ended = manage(environment, *words, within_s=LONGEST_FIRST_START_S)
    assert ended.returncode == 0, ended.stderr
    return ended.stdout


def _copy(original: str, name: str) -> None:
    if on_postgresql():
        _on_the_server(f'DROP DATABASE "{name}"', f'CREATE DATABASE "{name}" TEMPLATE "{original}"')
        return
    with closing(sqlite3.connect(original)) as source, closing(sqlite3.connect(name)) as copy:
        source.backup(copy)


def _original_name(kind: str) -> str:
    """Name the server's database by the process that started the run: a worker's parent."""
    run = os.getppid() if "PYTEST_XDIST_WORKER" in os.environ else os.getpid()
    return f"{kind}_coilbook_{run}"


def _on_the_server(*statements: str) -> None:
    """Have the owner's role make or drop databases."""
    with server_of_the_owner() as server:
        for statement in statements:
            server.execute(statement)
