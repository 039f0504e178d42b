"""Ids that sort by time, and instants as RFC 3339 writes them."""

import datetime as dt
from uuid import UUID

import pytest

from accounts.identity import new_id
from accounts.instants import instant


def milliseconds(made: UUID) -> int:
    """Return the first 48 bits."""
    return made.int >> 80


def test_the_published_uuid_of_version_7_reads_as_the_layout_here_says() -> None:
    """RFC 9562 A.6: 2022-02-22T19:22:22.000Z is 1645557742000 ms."""
    published = UUID("017f22e2-79b0-7cc3-98c4-dc0c0c07398f")
    assert (published.version, published.variant) == (7, "specified in RFC 4122")
    assert milliseconds(published) == 1_645_557_742_000


def test_ids_made_here_are_version_7_and_sort_as_they_were_made() -> None:
    before = int(dt.datetime.now(dt.UTC).timestamp() * 1000)
    made = [new_id() for _ in range(1_000)]
    assert {(each.version, each.variant) for each in made} == {(7, "specified in RFC 4122")}
    assert made == sorted(made)
    assert len(set(made)) == len(made)
    # No upper bound: so that they sort, ids made faster than one a millisecond run ahead of the clock.
    assert milliseconds(made[0]) >= before


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        # RFC 3339 5.8, its own examples.
        ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.520000+00:00"),
        ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57+00:00"),
        ("1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.870000+00:00"),
        # RFC 3339 4.3: the offset is unknown, the instant is not; 5.6: T and Z may be small.
        ("2026-03-02T09:30:00-00:00", "2026-03-02T09:30:00+00:00"),
        ("2026-03-02t09:30:00z", "2026-03-02T09:30:00+00:00"),
        ("2026-03-02T09:30:00.123456789Z", "2026-03-02T09:30:00.123456+00:00"),
    ],
)
def test_an_instant_is_read_as_rfc_3339_writes_it(text: str, utc: str) -> None:
    assert instant(text).isoformat() == utc


@pytest.mark.parametrize(
    "text",
    [
        "2025-01-31T10:00:00",
        "2025-01-31 10:00:00Z",
        "2025-01-31",
        "2025-02-29T10:00:00Z",
        "2025-01-31T24:00:00Z",
        "2025-01-31T10:00:60Z",
        "2025-W05-5T10:00:00Z",
        "20250131T100000Z",
        "2025-01-31T10:00Z",
        "2025-01-31T10:00:00,5Z",
        "2025-01-31T10:00:00+01",
        "2025-01-31T10:00:00+25:00",
        "2025-01-31T10:00:00+01:60",
        "٢٠٢٥-01-31T10:00:00Z",
        "0001-01-01T00:00:00+14:00",
        "2025-01-31T10:00:00Z\n",
        "",
    ],
)
def test_anything_else_is_refused_by_its_text(text: str) -> None:
    with pytest.raises(ValueError, match="RFC 3339") as refusal:
        instant(text)
    assert repr(text) in str(refusal.value)
