"""The application role's rights, given by the role that owns the tables.

The owner migrates; the application reads and writes rows and can change no table, no trigger and no policy.
"""

from typing import Any

from django.conf import settings
from django.db import migrations


def grant_application_role() -> migrations.RunPython:
    """Let the application role use every table of now and later; nothing to do where one role plays both parts."""
    return migrations.RunPython(_grant, migrations.RunPython.noop)


def _grant(apps: Any, schema_editor: Any) -> None:
    connection = schema_editor.connection
    role = settings.DATABASES["default"].get("USER")
    if connection.vendor != "postgresql" or connection.settings_dict["USER"] == role:
        return
    name = connection.ops.quote_name(role)
    for statement in (
        f"GRANT USAGE ON SCHEMA public TO {name}",
        f"GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO {name}",
        f"GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA public TO {name}",
        f"ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES TO {name}",
        f"ALTER DEFAULT PRIVILEGES IN SCHEMA public GRANT USAGE, SELECT ON SEQUENCES TO {name}",
    ):
        schema_editor.execute(statement)
