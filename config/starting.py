"""What a start checks before it touches the database."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from django.conf import settings
from django.core.management.base import CommandError
from django.db import OperationalError, connections
from django.db.migrations.loader import MigrationLoader

from accounts.owner import owner_alias
from bootstrap import try_to_hold, wait_for


@contextmanager
def only_one_start(say: Callable[[str], object]) -> Iterator[None]:
    """Let one start at a time prepare the database; a second one says so and waits."""
    settings.VAR_DIR.mkdir(mode=0o700, parents=True, exist_ok=True)
    with (settings.VAR_DIR / "start.lock").open("a") as lock:
        if not try_to_hold(lock):
            say("Another start is preparing the database; waiting for it ...")
            wait_for(lock)
        yield


def refuse_newer_database() -> None:
    """Refuse a database that holds migrations this code does not know: it was written by a newer version."""
    connection = connections[owner_alias()]
    try:
        loader = MigrationLoader(connection, ignore_no_migrations=True)
    except OperationalError as error:
        raise CommandError(f"The database cannot be reached: {str(error).splitlines()[0]}") from None
    unknown = sorted(set(loader.applied_migrations) - set(loader.disk_migrations))
    known_apps = {app for app, _name in loader.disk_migrations}
    ahead = [f"{app}.{name}" for app, name in unknown if app in known_apps]
    if ahead:
        raise CommandError(
            f"The database is newer than this code (it holds {', '.join(ahead)}); start the newer version."
        )
