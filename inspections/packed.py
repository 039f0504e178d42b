"""Columns of many rows read at once into arrays: COPY in binary on PostgreSQL, tuples elsewhere.

Every column is a whole number, so that a row has a fixed width: instants are microseconds and dates days since 2000.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
from django.db import connection

NOTHING = -2_147_483_648
MICROSECONDS_PER_DAY = 86_400_000_000
# COPY BINARY: signature, flags and extension in front, two bytes behind, and before each field its length.
_HEADER, _TRAILER = 19, 2

Kind = Literal["big", "int", "instant", "day"]
Rows = npt.NDArray[np.void]

_POSTGRESQL: dict[Kind, tuple[str, str]] = {
    "big": ("({})::bigint", ">i8"),
    "int": ("({})::int", ">i4"),
    "instant": ("{}", ">i8"),
    "day": ("{}", ">i4"),
}
_OTHERS: dict[Kind, str] = {
    "big": "{}",
    "int": "{}",
    "instant": "(CAST(strftime('%%s', {}) AS INTEGER) - 946684800) * 1000000",
    "day": "CAST(julianday({}) - 2451544.5 AS INTEGER)",
}


@dataclass(frozen=True, slots=True)
class Column:
    """A name in the result, the expression behind it, and what it is; what may be null reads as `NOTHING`."""

    name: str
    expression: str
    kind: Kind = "int"
    nullable: bool = False

    def sql(self) -> str:
        """Return the expression as the engine at hand has to be asked."""
        shape = _POSTGRESQL[self.kind][0] if connection.vendor == "postgresql" else _OTHERS[self.kind]
        expression = shape.format(self.expression)
        return f"COALESCE({expression}, {NOTHING})" if self.nullable else expression


def read_rows(columns: Sequence[Column], source: str, parameters: Sequence[Any]) -> Rows:
    """Return the rows of `SELECT columns source` as a structured array, whole numbers of eight bytes or four."""
    select = f"SELECT {', '.join(column.sql() for column in columns)} {source}"
    return (
        _copied(columns, select, parameters)
        if connection.vendor == "postgresql"
        else _fetched(columns, select, parameters)
    )


def _fetched(columns: Sequence[Column], select: str, parameters: Sequence[Any]) -> Rows:
    with connection.cursor() as cursor:
        cursor.execute(select, parameters)
        return np.array(cursor.fetchall(), dtype=[(column.name, np.int64) for column in columns])


def _copied(columns: Sequence[Column], select: str, parameters: Sequence[Any]) -> Rows:
    with connection.cursor() as cursor, cursor.copy(f"COPY ({select}) TO STDOUT (FORMAT BINARY)", parameters) as copy:
        raw = bytearray()
        for data in copy:
            raw += data
    fields = [("fields", ">i2")]
    for column in columns:
        fields += [(f"length of {column.name}", ">i4"), (column.name, _POSTGRESQL[column.kind][1])]
    shape = np.dtype(fields)
    count, rest = divmod(len(raw) - _HEADER - _TRAILER, shape.itemsize)
    if rest:
        raise ValueError("a column that was said to hold something holds nothing")
    return np.frombuffer(raw, shape, count, _HEADER)
