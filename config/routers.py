"""There is one database, seen through one or two roles."""

from typing import Any


class OneDatabase:
    """Keep every query on the application role; the owner's role only migrates the same database."""

    def db_for_read(self, model: Any, **hints: Any) -> str:
        """Read as the application role."""
        return "default"

    def db_for_write(self, model: Any, **hints: Any) -> str:
        """Write as the application role."""
        return "default"

    def allow_relation(self, first: Any, second: Any, **hints: Any) -> bool:
        """Both roles see the same rows."""
        return True
