"""The role that owns the tables: its connection, and its way to make and drop whole databases."""

import psycopg
from django.conf import settings
from django.db import DEFAULT_DB_ALIAS, connections


def owner_alias() -> str:
    """Return the connection of the role that may create tables."""
    return "owner" if "owner" in settings.DATABASES else DEFAULT_DB_ALIAS


def server_of_the_owner() -> psycopg.Connection:
    """Return a connection, to close, on which the owner's role makes and drops databases."""
    owner = connections[owner_alias()].settings_dict
    return psycopg.connect(
        host=owner["HOST"] or None,
        port=owner["PORT"] or None,
        user=owner["USER"] or None,
        password=owner["PASSWORD"] or None,
        dbname="postgres",
        autocommit=True,
    )
