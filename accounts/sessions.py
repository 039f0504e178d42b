"""Where sessions are kept: Django's rows, with who, when, from where and by which browser beside them."""

import datetime as dt
from typing import Any

from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore as DatabaseStore
from django.utils import timezone

from accounts.models.signing_in import Session

SEEN_STEP = dt.timedelta(minutes=1)
# Kept in the session's data, because a store writes its whole row each time.
STARTED_AT, ADDRESS, BROWSER = "_started_at", "_address", "_browser"
LONGEST_BROWSER = 300
SHORTEST_KEY = 8


class SessionStore(DatabaseStore):
    """Sessions in the database, each with the columns that its owner is shown."""

    seen_at: dt.datetime | None = None

    @classmethod
    def get_model_class(cls) -> Any:
        """Return the rows' model."""
        return Session

    def _validate_session_key(self, key: Any) -> bool:
        # A cookie may hold anything, such as a character that PostgreSQL takes in no text; a key of ours never does.
        return isinstance(key, str) and len(key) >= SHORTEST_KEY and key.isascii() and key.isalnum()

    def create_model_instance(self, data: Any) -> Any:
        """Return the row of the session, with the columns that stand in its data."""
        row: Any = super().create_model_instance(data)
        row.user_id = int(data[SESSION_KEY]) if SESSION_KEY in data else None
        row.last_seen_at = timezone.now()
        if STARTED_AT in data:
            row.started_at = dt.datetime.fromisoformat(data[STARTED_AT])
        row.address, row.browser = data.get(ADDRESS, ""), data.get(BROWSER, "")
        return row

    def _get_session_from_db(self) -> Any:
        row = super()._get_session_from_db()  # type: ignore[misc]
        self.seen_at = row.last_seen_at if row is not None and row.user_id is not None else None
        return row

    def note_seen(self) -> None:
        """Keep when the session was last seen, to the minute."""
        now = timezone.now()
        if self.seen_at is not None and now - self.seen_at > SEEN_STEP:
            Session.objects.filter(session_key=self.session_key).update(last_seen_at=now)


def note_origin(session: Any, *, address: str, browser: str) -> None:
    """Write into a session that begins when, from where and by which browser it does."""
    session[STARTED_AT] = timezone.now().isoformat()
    session[ADDRESS], session[BROWSER] = address[:64], browser[:LONGEST_BROWSER]
