"""Whether the database's roles are apart, as `manage.py check --deploy` asks: the walls hold for no owner of tables."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Warning
from django.db import DEFAULT_DB_ALIAS, connections

HINT = "See DATABASE_OWNER_URL and DATABASE_NIGHTLY_ROLE in the README."
WHAT_UNBINDS = {
    "is a superuser": "SELECT rolsuper FROM pg_roles WHERE rolname = current_user",
    "may bypass row-level security": "SELECT rolbypassrls FROM pg_roles WHERE rolname = current_user",
    "owns tables, or is a member of who owns them": """
        SELECT coalesce(bool_or(pg_has_role(current_user, relowner, 'MEMBER')), false) FROM pg_class
        WHERE relkind IN ('r', 'p') AND relnamespace = current_schema()::regnamespace
    """,
}


def roles_are_apart(app_configs: object = None, **options: Any) -> Sequence[CheckMessage]:
    """Return a warning for each part on PostgreSQL that is played by the application's own role."""
    databases: Mapping[str, Mapping[str, Any]] = settings.DATABASES
    application = databases["default"]
    if "postgresql" not in application["ENGINE"]:
        return []
    name, owner = application.get("USER"), databases.get("owner", application).get("USER")
    found = []
    if owner == name:
        message = f"The application connects as {name}, which owns the tables: row-level security does not hold for it."
        found.append(Warning(message, hint=HINT, id="accounts.W001"))
    if settings.NIGHTLY_ROLE in ("", name, owner):
        message = "No role of its own may list the organisations: whoever can, can read more than that list."
        found.append(Warning(message, hint=HINT, id="accounts.W002"))
    return found


def role_is_bound(
    app_configs: object = None, databases: Sequence[str] | None = None, **options: Any
) -> Sequence[CheckMessage]:
    """Return a warning for each power by which the application's role passes the walls; asks the database itself."""
    connection = connections[DEFAULT_DB_ALIAS]
    if DEFAULT_DB_ALIAS not in (databases or ()) or connection.vendor != "postgresql":
        return []
    found = []
    with connection.cursor() as cursor:
        for power, question in WHAT_UNBINDS.items():
            cursor.execute(question)
            (has_power,) = cursor.fetchone()
            if has_power:
                message = f"The application's role {power}: row-level security does not hold for it."
                found.append(Warning(message, hint=HINT, id="accounts.W004"))
    return found
