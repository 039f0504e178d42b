"""Change rows as somebody would who has the database itself: guards off, raw SQL, guards on."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.db import connections, transaction

from accounts.owner import owner_alias


@contextmanager
def past_the_guards(table: str) -> Iterator[Any]:
    """Give a cursor of the table's owner for which no trigger fires; what it did is committed at the end."""
    owner = connections[owner_alias()]
    with transaction.atomic(using=owner.alias), owner.cursor() as cursor:
        if owner.vendor == "postgresql":
            cursor.execute(f'ALTER TABLE "{table}" DISABLE TRIGGER USER')
            yield cursor
            # What the statements left to be checked at commit has to be checked before the table is altered again.
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            cursor.execute(f'ALTER TABLE "{table}" ENABLE TRIGGER USER')
        else:
            cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = %s", [table])
            triggers = cursor.fetchall()
            for trigger, _sql in triggers:
                cursor.execute(f'DROP TRIGGER "{trigger}"')
            yield cursor
            for _trigger, sql in triggers:
                cursor.execute(sql)
