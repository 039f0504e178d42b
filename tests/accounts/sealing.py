"""In every test, every entry fits its row at the moment it is written: a service that tells before it writes, or of a
row that is stale in its hands, fails there and not in some check of the record months later."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import connection

from accounts import audit
from accounts.actors import Actor
from accounts.audit import Deed
from accounts.tracking import content, content_hash, is_tracked


@pytest.fixture(autouse=True)
def every_entry_fits_its_row(monkeypatch: pytest.MonkeyPatch) -> None:
    """Hold each row to its entry as soon as that is written."""
    append = audit._append

    def checked(actor: Actor, deeds: Sequence[Deed]) -> None:
        append(actor, deeds)
        with _uncounted():
            _hold_to_their_rows(deeds)

    monkeypatch.setattr(audit, "_append", checked)


def _hold_to_their_rows(deeds: Sequence[Deed]) -> None:
    for deed in deeds:
        row: Any = deed.row
        if not is_tracked(type(row)) or deed.gone:
            continue
        stored = type(row)._base_manager.get(pk=row.pk)
        told, there = content(row), content(stored)
        different = [name for name in there if told[name] != there[name]]
        assert content_hash(stored) == content_hash(row), f"{deed.action} {row!r}: not as stored in {different}"


@contextmanager
def _uncounted() -> Iterator[None]:
    """Keep these queries out of what a test counts."""
    counted, connection.force_debug_cursor = connection.force_debug_cursor, False
    try:
        yield
    finally:
        connection.force_debug_cursor = counted
