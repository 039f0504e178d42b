"""Many rows changed at once, each to values of its own."""

from collections.abc import Sequence
from typing import Any

from django.db import connections, router
from django.db.models import Model


def update_each(rows: Sequence[Model], names: Sequence[str]) -> None:
    """Write columns of many rows of one table, by one statement that is run with the values of each.

    `bulk_update` writes a case for every row of every column instead, whose making costs some thirty times as much as
    the database takes for it.
    """
    if not rows:
        return
    model = type(rows[0])
    connection = connections[router.db_for_write(model)]
    quoted = connection.ops.quote_name
    fields: list[Any] = [model._meta.get_field(name) for name in names]
    key: Any = model._meta.pk
    places = ", ".join(f"{quoted(field.column)} = %s" for field in fields)
    statement = f"UPDATE {quoted(model._meta.db_table)} SET {places} WHERE {quoted(key.column)} = %s"  # noqa: S608
    with connection.cursor() as cursor:
        cursor.executemany(
            statement,
            [
                [field.get_db_prep_save(getattr(row, field.attname), connection) for field in (*fields, key)]
                for row in rows
            ],
        )
        if cursor.rowcount != len(rows):
            raise RuntimeError(f"of {len(rows)} rows of {model._meta.db_table}, {cursor.rowcount} were changed")
