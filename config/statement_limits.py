"""No statement of a web process runs on and on: the database cuts it short, and the client is told to try again."""

from django.conf import settings


def limit_statements() -> None:
    """Let the connections that this process opens from now on give up after the time that the settings name.

    SQLite has no such limit; there a writer waits for its turn as long as the connection's timeout says.
    """
    entry = settings.DATABASES["default"]
    if "postgresql" in entry["ENGINE"]:
        options = entry.setdefault("OPTIONS", {})
        given = [options["options"]] if options.get("options") else []
        options["options"] = " ".join([*given, f"-c statement_timeout={settings.STATEMENT_TIMEOUT_MS}"])
