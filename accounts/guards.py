"""Migration operations that make evidence append-only in the database itself, on both engines.

SQLite rebuilds a table when a later migration alters it and drops its triggers on the way: such a migration ends with
the same guard again, and a test over all guarded tables finds one that was forgotten.
"""

from collections.abc import Sequence
from typing import Any

from django.db import migrations

REFUSAL = "evidence is append-only"


def guard(table: str, *, columns: Sequence[str] = (), set_once: Sequence[str] = ()) -> migrations.RunPython:
    """Refuse DELETE, UPDATE of `columns` (of all where none are named), and a second value in `set_once`."""

    def install(apps: Any, schema_editor: Any) -> None:
        vendor = schema_editor.connection.vendor
        names = list(columns) or [column.name for column in _described(schema_editor, table)]
        statements = _postgresql(table, names, set_once) if vendor == "postgresql" else _sqlite(table, names, set_once)
        for statement in statements:
            schema_editor.execute(statement)

    return migrations.RunPython(install, migrations.RunPython.noop)


def _described(schema_editor: Any, table: str) -> Any:
    with schema_editor.connection.cursor() as cursor:
        return schema_editor.connection.introspection.get_table_description(cursor, table)


def _sqlite(table: str, columns: Sequence[str], set_once: Sequence[str]) -> list[str]:
    changed = " OR ".join(
        [f'OLD."{name}" IS NOT NEW."{name}"' for name in columns]
        + [f'(OLD."{name}" IS NOT NULL AND OLD."{name}" IS NOT NEW."{name}")' for name in set_once]
    )
    refuse = f"BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"
    return [
        f'DROP TRIGGER IF EXISTS "{table}_no_update"',
        f'DROP TRIGGER IF EXISTS "{table}_no_delete"',
        f'CREATE TRIGGER "{table}_no_update" BEFORE UPDATE ON "{table}" WHEN {changed} {refuse}',
        f'CREATE TRIGGER "{table}_no_delete" BEFORE DELETE ON "{table}" {refuse}',
    ]


def _postgresql(table: str, columns: Sequence[str], set_once: Sequence[str]) -> list[str]:
    changed = " OR ".join(
        [f'OLD."{name}" IS DISTINCT FROM NEW."{name}"' for name in columns]
        + [f'(OLD."{name}" IS NOT NULL AND OLD."{name}" IS DISTINCT FROM NEW."{name}")' for name in set_once]
    )
    return [
        "CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{REFUSAL}' USING ERRCODE = 'integrity_constraint_violation'; END $$",
        f'DROP TRIGGER IF EXISTS "{table}_no_update" ON "{table}"',
        f'DROP TRIGGER IF EXISTS "{table}_no_delete" ON "{table}"',
        f'DROP TRIGGER IF EXISTS "{table}_no_truncate" ON "{table}"',
        f'CREATE TRIGGER "{table}_no_update" BEFORE UPDATE ON "{table}" FOR EACH ROW WHEN ({changed}) '
        "EXECUTE FUNCTION refuse_change()",
        f'CREATE TRIGGER "{table}_no_delete" BEFORE DELETE ON "{table}" FOR EACH ROW EXECUTE FUNCTION refuse_change()',
        f'CREATE TRIGGER "{table}_no_truncate" BEFORE TRUNCATE ON "{table}" FOR EACH STATEMENT '
        "EXECUTE FUNCTION refuse_change()",
    ]
