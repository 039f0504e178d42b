"""The rights of the application role and of the nightly role, given by the role that owns the tables.

The owner migrates; the application reads and writes rows and can change no table, no trigger and no policy.  What the
nightly role is for stands in `accounts/walls.py`.
"""

from typing import Any

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.db import migrations


def grant_application_role() -> migrations.RunPython:
    """Let the application role use every table of now and later; nothing to do where one role plays both parts."""
    return migrations.RunPython(_grant, migrations.RunPython.noop)


def _grant(apps: Any, schema_editor: Any) -> None:
    connection = schema_editor.connection
    if connection.vendor != "postgresql" or not _separate_roles(connection):
        return
    name = connection.ops.quote_name(settings.DATABASES["default"].get("USER"))
    for statement in (
        f"GRANT USAGE ON SCHEMA public TO {name}",
        f"GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO {name}",
        f"GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA public TO {name}",
        f"ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES TO {name}",
        f"ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT USAGE, SELECT ON SEQUENCES TO {name}",
    ):
        schema_editor.execute(statement)


def grant_nightly_role(organisations: str) -> migrations.RunPython:
    """Let the nightly role read the list of organisations, and nothing else."""

    def grant(apps: Any, schema_editor: Any) -> None:
        if schema_editor.connection.vendor != "postgresql":
            return
        if _separate_roles(schema_editor.connection):
            _refuse_missing_nightly_role(schema_editor.connection)
        if not settings.NIGHTLY_ROLE:
            return
        name = schema_editor.connection.ops.quote_name(settings.NIGHTLY_ROLE)
        schema_editor.execute(f"GRANT USAGE ON SCHEMA public TO {name}")
        schema_editor.execute(f'GRANT SELECT ON "{organisations}" TO {name}')

    return migrations.RunPython(grant, migrations.RunPython.noop)


def _separate_roles(connection: Any) -> bool:
    return bool(connection.settings_dict["USER"] != settings.DATABASES["default"].get("USER"))


def _refuse_missing_nightly_role(connection: Any) -> None:
    """Raise ImproperlyConfigured unless the application can take the nightly role, and has to take it to use it."""
    application, nightly = settings.DATABASES["default"].get("USER"), settings.NIGHTLY_ROLE
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", [nightly])
        if cursor.fetchone() is not None:
            cursor.execute(
                "SELECT pg_has_role(%(app)s, %(nightly)s, 'MEMBER') AND NOT pg_has_role(%(app)s, %(nightly)s, 'USAGE')",
                {"app": application, "nightly": nightly},
            )
            if cursor.fetchone() == (True,):
                return
    role = nightly or "coilbook_nightly"
    raise ImproperlyConfigured(
        f"The role {application} needs a role beside it that may read the list of organisations: set "
        f"DATABASE_NIGHTLY_ROLE={role} and, as the database's superuser, run: CREATE ROLE {role} NOLOGIN; "
        f"ALTER ROLE {application} NOINHERIT; GRANT {role} TO {application};"
    )
