"""Instants as RFC 3339 writes them: a date, a time and always an offset."""

import datetime as dt
import re

PATTERN = re.compile(
    r"\d{4}-\d{2}-\d{2}[Tt]([01]\d|2[0-3]):[0-5]\d:[0-5]\d(?P<fraction>\.\d{1,9})?([Zz]|[+-]\d{2}:[0-5]\d)",
    re.ASCII,
)
MICROSECOND_DIGITS = 6


def instant(text: str) -> dt.datetime:
    """Return the instant in UTC, or raise ValueError with the text and what is allowed.

    Python's own parser also takes a missing offset, week dates and the basic form, so the form is checked first.

    >>> instant("1996-12-19T16:39:57-08:00")
    datetime.datetime(1996, 12, 20, 0, 39, 57, tzinfo=datetime.timezone.utc)
    """
    refusal = f"{text!r} is not an RFC 3339 date and time with offset, such as 2026-11-25T09:30:00+01:00"
    match = PATTERN.fullmatch(text)
    if match is None:
        raise ValueError(refusal)
    fraction = match["fraction"] or ""
    shortened = text.replace(fraction, fraction[: 1 + MICROSECOND_DIGITS], 1) if fraction else text
    try:
        return dt.datetime.fromisoformat(shortened.upper()).astimezone(dt.UTC)
    except (ValueError, OverflowError):
        raise ValueError(refusal) from None
