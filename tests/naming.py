"""Which organisation a test acts for: its own rows stand behind the same walls as everybody's.

The builders name the organisation they build for, and the name stays for what the test reads or calls next, as a door
would have named it.  A request of the test client and a command begin without a name, as on a server.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from django.core.handlers.base import BaseHandler
from django.core.management.base import BaseCommand
from django.core.signals import request_finished, request_started
from django.db import connection, connections

from accounts.models import Organisation


def name(organisation: Organisation) -> None:
    """Name the organisation until another is named."""
    _set(str(organisation.pk))


@contextmanager
def nameless() -> Iterator[None]:
    """Go on without a name, as a command or a worker begins."""
    if connections["default"].connection is None:
        yield
        return
    before = _set("")
    try:
        yield
    finally:
        _set(before)


def begin_request(**_signal: Any) -> None:
    """Take the name away; a test's own comes back when the request is over."""
    _names().append(_set(""))


def end_request(**_signal: Any) -> None:
    """Give the test its name back."""
    if _names():
        _set(_names().pop())


def watch_commands() -> None:
    """Let each command begin without a name, as in a process of its own."""
    execute = BaseCommand.execute

    def execute_nameless(command: BaseCommand, *arguments: Any, **options: Any) -> Any:
        with nameless():
            return execute(command, *arguments, **options)

    BaseCommand.execute = execute_nameless  # type: ignore[assignment, method-assign]


def watch_requests() -> None:
    """Let each request of the test client begin as one begins on a server, and end its name with its transaction.

    A test has a transaction of its own around the request's, which would keep the name: a page that is made too late
    would find its rows here and none on a server.
    """
    request_started.connect(begin_request)
    request_finished.connect(end_request)
    make_atomic = BaseHandler.make_view_atomic

    def make_atomic_and_forget(handler: BaseHandler, view: Callable[..., Any]) -> Callable[..., Any]:
        in_transaction = make_atomic(handler, view)

        def view_and_forget(*arguments: Any, **named: Any) -> Any:
            try:
                return in_transaction(*arguments, **named)
            finally:
                _set("")

        return view_and_forget

    BaseHandler.make_view_atomic = make_atomic_and_forget  # type: ignore[method-assign,assignment]


def _names() -> list[str]:
    """Return the names that wait for requests of this thread to end."""
    names: list[str] = connections["default"].__dict__.setdefault("names_of_test", [])
    return names


def _set(organisation: str) -> str:
    """Set the name for the running transaction, or for the connection where none runs; return what it was.

    What a door names before it knows the organisation ends with each change.
    """
    if connection.vendor != "postgresql" or connection.needs_rollback:
        return ""
    local = connection.in_atomic_block
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT current_setting('app.organisation', true), set_config('app.organisation', %s, %s), "
            "set_config('app.person', '', %s), set_config('app.key', '', %s)",
            [organisation, local, local, local],
        )
        before, *_set_now = cursor.fetchone() or ("",)
    return before or ""
