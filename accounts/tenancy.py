"""Each request and each chunk of work runs in one transaction that names its organisation.

On PostgreSQL the name is a setting of that transaction, so that row-level security can stand on it; SQLite has no such
setting, and there the querysets alone keep organisations apart.
"""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection, transaction

from accounts.models import Organisation


def name_organisation(organisation: Organisation) -> None:
    """Name the organisation for the rest of the running transaction."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT set_config('app.organisation', %s, true)", [str(organisation.pk)])


@contextmanager
def organisation_transaction(organisation: Organisation) -> Iterator[None]:
    """Open one transaction that names the organisation."""
    with transaction.atomic():
        name_organisation(organisation)
        yield
