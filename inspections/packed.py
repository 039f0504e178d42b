"""Columns of many rows read at once into arrays: COPY in binary on PostgreSQL, tuples elsewhere.

Every column is a whole number, so that a row has a fixed width: instants are microseconds and dates days since 2000.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
from django.db import DatabaseError, connection

NOTHING = -2_147_483_648
MICROSECONDS_PER_DAY = 86_400_000_000
# COPY BINARY: signature, flags and extension in front, two bytes behind, and before each field its length.
_SIGNATURE = b"PGCOPY\n\xff\r\n\0" + bytes(8)
_END = b"\xff\xff"

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
        raw = _drained(copy)
    shape = binary_shape([(column.name, _POSTGRESQL[column.kind][1]) for column in columns])
    count, rest = divmod(len(raw) - len(_SIGNATURE) - len(_END), shape.itemsize)
    if rest:
        raise ValueError("a column that was said to hold something holds nothing")
    return np.frombuffer(raw, shape, count, len(_SIGNATURE))


def _drained(copy: Any) -> bytearray:
    """Return all that a COPY sends: rows that are here already are taken without waiting for each."""
    raw = bytearray()
    take = copy.connection.pgconn.get_copy_data
    while data := copy.read():
        raw += data
        # Behind the last row nothing may be taken, so that the library sees the end itself.
        while data[-2:] != _END:
            size, data = take(1)
            if size < 0:
                result = copy.connection.pgconn.get_result()
                raise DatabaseError("" if result is None else result.get_error_message())
            if size == 0:
                break
            raw += data
    return raw


def binary_shape(columns: Sequence[tuple[str, Any]]) -> np.dtype[np.void]:
    """Return how a row of COPY in binary lies in memory, from names and types of its columns, none of them null."""
    fields: list[tuple[str, Any]] = [("fields", ">i2")]
    for name, kind in columns:
        fields += [(f"length of {name}", ">i4"), (name, kind)]
    return np.dtype(fields)


def binary_rows(columns: Mapping[str, npt.NDArray[Any]]) -> bytes:
    """Return rows as COPY takes them in binary: each column an array of whole numbers or of octets of one length."""
    kinds = {
        name: values.dtype if values.dtype.kind == "V" else values.dtype.newbyteorder(">")
        for name, values in columns.items()
    }
    shape = binary_shape(list(kinds.items()))
    rows = np.zeros(len(next(iter(columns.values()))), shape)
    rows["fields"] = len(columns)
    for name, values in columns.items():
        rows[f"length of {name}"] = values.dtype.itemsize
        rows[name] = values
    return rows.tobytes()


def copy_in(copy: Any, blocks: Iterable[bytes]) -> None:
    """Send blocks of rows made by `binary_rows` into a COPY in binary."""
    copy.write(_SIGNATURE)
    for block in blocks:
        copy.write(block)
    copy.write(_END)
