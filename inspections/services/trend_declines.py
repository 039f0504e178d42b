"""Raise, confirm, withdraw or resolve declines as the evidence stands; each is keyed to the check that raised it."""

import datetime as dt
from collections.abc import Iterable
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from calc.arrays import Ints
from calc.trend import ATTRIBUTIONS, ENDINGS, Episodes
from calc.trend.episodes import NEVER
from inspections.models import Decline
from inspections.series import Histories, Units

KEY = ["raised_by_id", "attribution", "stage"]
DECLINE_COLUMNS = ["installation_id", "rising", "state", "raised_at", "ended_at", "reason"]
DECLINE_FIELDS = [name.removesuffix("_id") for name in DECLINE_COLUMNS]
SERIES_CHANGED = "series_changed"
EPOCH = dt.datetime(2000, 1, 1, tzinfo=dt.UTC)

Row = tuple[Any, ...]


def store_declines(
    organisation_id: int, units: Units, histories: Histories, episodes: Episodes, stored_rows: QuerySet[Decline]
) -> int:
    """Write what differs from what is stored of the same units, and return how many declines that were.

    A decline follows its unit to another vehicle, because its key is the check that raised it.
    """
    rows = dict(_declines(units, histories, episodes))
    stored = {_key(row): row for row in stored_rows.values_list("pk", *KEY, *DECLINE_COLUMNS)}
    now = timezone.now()
    shared = {"organisation_id": organisation_id}
    fresh = [
        Decline(**shared, **dict(zip(KEY, key, strict=True)), **_columns(row))
        for key, row in rows.items()
        if key not in stored
    ]
    changed = [
        Decline(pk=stored[key][0], **_columns(row), changed_at=now)
        for key, row in rows.items()
        if key in stored and row != _values(stored[key])
    ]
    gone = [_withdrawn(row, now) for key, row in stored.items() if key not in rows and row[-1] != SERIES_CHANGED]
    Decline.objects.bulk_create(fresh, batch_size=500)
    Decline.objects.bulk_update(changed, [*DECLINE_FIELDS, "changed_at"], batch_size=500)
    Decline.objects.bulk_update(gone, ["state", "reason", "ended_at", "changed_at"], batch_size=500)
    return len(fresh) + len(changed) + len(gone)


def _key(stored: Row) -> Row:
    return stored[1 : 1 + len(KEY)]


def _values(stored: Row) -> Row:
    return stored[1 + len(KEY) :]


def _columns(values: Row) -> dict[str, Any]:
    return dict(zip(DECLINE_COLUMNS, values, strict=True))


def _withdrawn(stored: Row, now: dt.datetime) -> Decline:
    """Withdraw what the evidence as it stands no longer says: late, replaced or re-judged visits have changed it."""
    return Decline(pk=stored[0], state="withdrawn", reason=SERIES_CHANGED, ended_at=now, changed_at=now)


def _declines(units: Units, histories: Histories, episodes: Episodes) -> Iterable[tuple[Row, Row]]:
    """Return key and columns of each decline."""
    checks, performed_us = histories.checks, histories.performed_us
    columns: tuple[Ints, ...] = (episodes.installation, episodes.attribution, episodes.stage)
    ends = (episodes.raised, episodes.ended, episodes.ending)
    rows = zip(*(each.tolist() for each in (*columns, *ends)), episodes.rising.tolist(), episodes.state, strict=True)
    for column, attribution, stage, raised, ended, ending, rising, state in rows:
        yield (
            (int(checks[raised, column]), ATTRIBUTIONS[attribution], stage or None),
            (
                int(units.installations[column]),
                rising,
                state,
                _instant(performed_us[raised, column]),
                None if ended == NEVER else _instant(performed_us[ended, column]),
                "" if ENDINGS[ending] == "open" else ENDINGS[ending],
            ),
        )


def _instant(microseconds: int) -> dt.datetime:
    return EPOCH + dt.timedelta(microseconds=int(microseconds))
