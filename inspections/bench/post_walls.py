"""What row-level security costs: the same requests as the application and as the owner, whom no policy binds."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from django.db import DEFAULT_DB_ALIAS, connections

from accounts.owner import owner_alias

Ways = dict[str, tuple[Callable[[Any], None], int]]


def can_go_past_the_walls() -> bool:
    """Tell whether there are policies, and a role that they do not bind."""
    return connections[DEFAULT_DB_ALIAS].vendor == "postgresql" and owner_alias() != DEFAULT_DB_ALIAS


def past_the_walls(send: Callable[[Any], None], owner: Any) -> Callable[[Any], None]:
    """Return the same, sent while the service is connected as the owner of the tables."""

    def sent(documents: Any) -> None:
        with _default(owner):
            send(documents)

    return sent


@contextmanager
def connection_as_owner() -> Iterator[Any]:
    """Give the owner's connection, and close it."""
    connection = connections.create_connection(DEFAULT_DB_ALIAS)
    of_owner = connections[owner_alias()].settings_dict
    who = {name: of_owner[name] for name in ("USER", "PASSWORD")}
    connection.settings_dict = {**connections[DEFAULT_DB_ALIAS].settings_dict, **who}
    try:
        yield connection
    finally:
        connection.close()


@contextmanager
def _default(connection: Any) -> Iterator[None]:
    usual = connections[DEFAULT_DB_ALIAS]
    connections[DEFAULT_DB_ALIAS] = connection
    try:
        yield
    finally:
        connections[DEFAULT_DB_ALIAS] = usual
