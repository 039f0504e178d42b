"""One way to write a document down, so that equal content has equal bytes wherever it is hashed.

References
----------
RFC 8785 (canonical JSON).  Measured values enter as decimal strings, because canonical JSON has one form of number and
would lose their resolution.
"""

import datetime as dt
import hashlib
import re
from collections.abc import Mapping
from decimal import Decimal
from math import isfinite
from typing import Any
from uuid import UUID

import orjson
import rfc8785

# Beyond it canonical JSON has no whole numbers.
LARGEST_INTEGER = 2**53 - 1
BEYOND_THE_BASIC_PLANE = re.compile("[\U00010000-\U0010ffff]")
UNCHANGED = frozenset({str, bool, type(None)})


def plain(value: Any) -> Any:
    """Return the value in the words of canonical JSON: measured numbers as strings, instants UTC, bytes a digest."""
    # Every check that is stored goes through here twice, and nearly all of it is of these kinds.
    kind = type(value)
    if kind in UNCHANGED:
        return value
    if kind is dict:
        return {
            name if type(name) is str else str(name): item if type(item) in UNCHANGED else plain(item)
            for name, item in value.items()
        }
    if kind is list:
        return [item if type(item) in UNCHANGED else plain(item) for item in value]
    if kind is float:
        return _plain_float(value)
    if kind is int:
        return _plain_number(value)
    return _plain_other(value)


def _plain_other(value: Any) -> Any:
    if isinstance(value, Mapping):
        return plain(dict(value))
    if isinstance(value, list | tuple):
        return plain(list(value))
    if isinstance(value, str):
        return str(value)
    return _plain_number(value) if isinstance(value, int | float) else _plain_word(value)


def _plain_number(value: float) -> int | str:
    if isinstance(value, int) and abs(value) <= LARGEST_INTEGER:
        return value
    return _plain_float(float(value))


def _plain_float(value: float) -> str:
    if not isfinite(value):
        # The encoder of what is stored would write null, and the row no longer be what was hashed.
        raise ValueError(f"{value} is no number that can be stored")
    # A database keeps no negative zero, and may give a large number back without its exponent.
    return repr(value + 0.0)


def _plain_word(value: Any) -> str:
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, Decimal | UUID | dt.date):
        return str(value)
    if isinstance(value, bytes | memoryview):
        return hashlib.sha256(value).hexdigest()
    raise TypeError(f"the audit stream cannot hold a {type(value).__name__}")


def canonical(value: Any) -> bytes:
    """Return the RFC 8785 text of a value that `plain` has been over.

    The quick encoder writes the same bytes; only the order of keys differs, and only where a character lies beyond the
    basic plane.
    """
    text = orjson.dumps(value, option=orjson.OPT_SORT_KEYS)
    if not text.isascii() and BEYOND_THE_BASIC_PLANE.search(text.decode()):
        return rfc8785.dumps(value)
    return text


def digest(value: Any) -> str:
    """Return SHA-256 over the canonical text of a value that `plain` has been over, in hexadecimal."""
    return hashlib.sha256(canonical(value)).hexdigest()
