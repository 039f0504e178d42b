"""The id of the request at hand: an answer, its log lines and its audit entries name the same one."""

import re
from contextvars import ContextVar

import uuid6

# What a proxy or a client may name a request by: nothing that could break a line or a header.
WELL_FORMED = re.compile(r"[A-Za-z0-9._-]{8,64}")
_current: ContextVar[str] = ContextVar("request_id", default="")


def current_request_id() -> str:
    """Return the id of the request at hand, empty outside one."""
    return _current.get()


def begin_request(sent: str | None) -> str:
    """Take the id a request came with where it is well formed, or make one; return it."""
    named = sent if sent is not None and WELL_FORMED.fullmatch(sent) else str(uuid6.uuid7())
    _current.set(named)
    return named


def end_request() -> None:
    """Forget the id: the thread goes on to other work."""
    _current.set("")
