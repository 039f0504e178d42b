"""Each request and each chunk of work runs in one transaction that names its organisation.

On PostgreSQL the name is a setting of that transaction, and row-level security stands on it (`accounts/walls.py`): what
names no organisation finds no row.  SQLite has no such setting, and there the querysets alone keep organisations apart.

Before an organisation is known, a door names what it does know: the person who signed in, which shows that person's
memberships, or the key that a caller holds, which shows the row of that key.  Commands and the night's work look at the
list of organisations as a role that can read that list and nothing else.
"""

from collections.abc import Iterator
from contextlib import contextmanager

from django.conf import settings
from django.db import connection, transaction

from accounts.models import Organisation, User
from accounts.statements import cursor_for

ORGANISATION = "app.organisation"
PERSON = "app.person"
KEY = "app.key"


def name_organisation(organisation: Organisation) -> None:
    """Name the organisation for the rest of the running transaction."""
    _set(ORGANISATION, str(organisation.pk))


def name_organisation_by_key(organisation_id: int) -> None:
    """Name the organisation of a row that a key has shown, before the organisation itself can be read."""
    _set(ORGANISATION, str(organisation_id))


def name_person(person: User) -> None:
    """Name who signed in: for the rest of the transaction that person's memberships can be read."""
    _set(PERSON, str(person.pk))


def name_key(key: str) -> None:
    """Name the key a caller holds: for the rest of the transaction the row of that key can be read."""
    _set(KEY, key)


@contextmanager
def organisation_transaction(organisation: Organisation) -> Iterator[None]:
    """Open one transaction that names the organisation; inside another one, that one's name comes back at the end."""
    inside_another = connection.in_atomic_block
    with transaction.atomic():
        before = _set(ORGANISATION, str(organisation.pk))
        yield
        if inside_another:
            # After an error the rollback brings the name back.
            _set(ORGANISATION, before)


@contextmanager
def organisations_in_sight() -> Iterator[None]:
    """Let every organisation be read, and nothing else, as the role of the night's work; for commands and the night."""
    if connection.vendor != "postgresql" or not settings.NIGHTLY_ROLE:
        yield
        return
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"SET LOCAL ROLE {connection.ops.quote_name(settings.NIGHTLY_ROLE)}")
        yield
        cursor.execute("SET LOCAL ROLE NONE")


@contextmanager
def founding_transaction(organisation: Organisation) -> Iterator[None]:
    """Open one transaction that begins with a new organisation, inserted under its own name."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT nextval(pg_get_serial_sequence('accounts_organisation', 'id'))")
            (organisation.pk,) = cursor.fetchone() or (None,)
    with organisation_transaction(organisation):
        organisation.save(force_insert=True)
        yield


def _set(setting: str, value: str) -> str:
    """Set the setting until the transaction ends, and return what it was."""
    if connection.vendor != "postgresql":
        return ""
    with cursor_for(connection, planned_once=True) as cursor:
        cursor.execute("SELECT current_setting(%s, true), set_config(%s, %s, true)", [setting, setting, value])
        before, _now = cursor.fetchone() or ("", "")
    return before or ""
