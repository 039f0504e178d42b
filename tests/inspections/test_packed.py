"""Rows that come and go as arrays: read whole, refused with the server's words, and taken as they lie in memory."""

from typing import Any

import numpy as np
import psycopg
import pytest
from django.db import DatabaseError, connection, transaction

from inspections.packed import NOTHING, Column, binary_rows, copy_in, read_rows

NUMBERS = "FROM generate_series(1, %s) n"


@pytest.fixture
def postgresql(db: None) -> None:
    if connection.vendor != "postgresql":
        pytest.skip("needs PostgreSQL and Redis")


@pytest.mark.parametrize("count", [0, 1, 5, 60_000])
def test_every_row_is_read_whatever_it_ends_with(postgresql: None, count: int) -> None:
    # Minus one is written like the mark behind the last row.
    columns = [Column("n", "n", "big"), Column("none", "NULL::int", nullable=True), Column("last", "-1")]
    rows = read_rows(columns, NUMBERS, [count])
    assert rows["n"].tolist() == list(range(1, count + 1))
    assert rows["none"].tolist() == [NOTHING] * count
    assert rows["last"].tolist() == [-1] * count


@pytest.mark.parametrize("fails_at", [1, 5, 40_000])
def test_what_fails_on_the_way_is_refused_with_the_servers_words(postgresql: None, fails_at: int) -> None:
    with pytest.raises((DatabaseError, psycopg.Error), match="division by zero"), transaction.atomic():
        read_rows([Column("n", f"1 / (n - {fails_at})")], NUMBERS, [50_000])
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
        assert cursor.fetchone() == (1,)


def test_an_array_is_taken_as_it_lies_in_memory(postgresql: None) -> None:
    numbers = np.array([7, -1, 2**40])
    octets = np.array([[1, 2, 3], [0, 0, 0], [255, 255, 255]], np.uint8)
    columns: dict[str, Any] = {"number": numbers, "small": np.array([6, 7, 8], np.int32)}
    columns["octets"] = octets.view("V3").reshape(-1)
    with connection.cursor() as cursor:
        cursor.execute("CREATE TEMPORARY TABLE taken (number bigint, small int, octets bytea)")
        with cursor.copy("COPY taken FROM STDIN (FORMAT BINARY)") as copy:
            copy_in(copy, [binary_rows(columns)])
        cursor.execute("SELECT number, small, octets FROM taken")
        rows = cursor.fetchall()
        cursor.execute("DROP TABLE taken")
    assert [(number, small, bytes(held)) for number, small, held in rows] == [
        (7, 6, b"\1\2\3"),
        (-1, 7, b"\0\0\0"),
        (2**40, 8, b"\xff\xff\xff"),
    ]
