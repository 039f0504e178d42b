"""A lock on a row keeps other writers of it out, and not those who only point to it.

A lock of the whole row, key included, would make every check of an organisation wait while somebody changes its name,
and two transactions that each point to what the other has locked would wait for each other (PostgreSQL, Explicit
Locking: FOR NO KEY UPDATE beside FOR KEY SHARE, which foreign keys take).
"""

import ast
from collections.abc import Iterator

import pytest

from tests.config.test_doors_write_nothing import ROOT

ROOMS = ("accounts", "api", "dashboard", "fleet", "inspections", "schedules")


def locks(source: str) -> Iterator[ast.Call]:
    """Return each lock that a module takes."""
    for node in ast.walk(ast.parse(source)):
        match node:
            case ast.Call(func=ast.Attribute(attr="select_for_update")):
                yield node


def test_the_rooms_take_locks() -> None:
    assert sum(len(list(locks(path.read_text("utf-8")))) for path in (ROOT / "accounts").rglob("*.py")) > 5


@pytest.mark.parametrize("room", ROOMS)
def test_a_lock_leaves_the_key_free(room: str) -> None:
    whole = [
        f"{path.relative_to(ROOT)}:{lock.lineno}"
        for path in (ROOT / room).rglob("*.py")
        for lock in locks(path.read_text("utf-8"))
        if "no_key" not in {keyword.arg for keyword in lock.keywords}
    ]
    assert whole == []
