"""Raise, confirm, withdraw or resolve declines as the evidence stands; each is keyed to the check that raised it."""

import datetime as dt
from collections.abc import Iterable

from django.db.models import QuerySet
from django.utils import timezone

from calc.arrays import Ints
from calc.trend import ATTRIBUTIONS, ENDINGS, Episodes
from calc.trend.episodes import NEVER
from inspections.models import Decline
from inspections.series import Histories, Units

DECLINE_COLUMNS = ["installation_id", "rising", "state", "raised_at", "ended_at", "reason"]
SERIES_CHANGED = "series_changed"
EPOCH = dt.datetime(2000, 1, 1, tzinfo=dt.UTC)

Key = tuple[int, str, int | None]


def store_declines(
    organisation_id: int, units: Units, histories: Histories, episodes: Episodes, stored_rows: QuerySet[Decline]
) -> int:
    """Write what differs from what is stored of the same units, and return how many declines that were.

    A decline follows its unit to another vehicle, because its key is the check that raised it.
    """
    rows = {_key(row): row for row in _declines(organisation_id, units, histories, episodes)}
    stored = {_key(row): row for row in stored_rows}
    fresh = [row for key, row in rows.items() if key not in stored]
    changed = [_moved_on(stored[key], row) for key, row in rows.items() if key in stored]
    gone = [_withdrawn(row) for key, row in stored.items() if key not in rows and row.reason != SERIES_CHANGED]
    updated = [row for row in [*changed, *gone] if row is not None]
    now = timezone.now()
    for row in updated:
        row.changed_at = now
    columns = [name.removesuffix("_id") for name in DECLINE_COLUMNS]
    Decline.objects.bulk_create(fresh, batch_size=500)
    Decline.objects.bulk_update(updated, [*columns, "changed_at"], batch_size=500)
    return len(fresh) + len(updated)


def _key(row: Decline) -> Key:
    return row.raised_by_id, row.attribution, row.stage


def _moved_on(stored: Decline, row: Decline) -> Decline | None:
    if all(getattr(row, column) == getattr(stored, column) for column in DECLINE_COLUMNS):
        return None
    for column in DECLINE_COLUMNS:
        setattr(stored, column, getattr(row, column))
    return stored


def _withdrawn(row: Decline) -> Decline:
    """Withdraw what the evidence as it stands no longer says: late, replaced or re-judged visits have changed it."""
    row.state, row.reason, row.ended_at = "withdrawn", SERIES_CHANGED, timezone.now()
    return row


def _declines(organisation_id: int, units: Units, histories: Histories, episodes: Episodes) -> Iterable[Decline]:
    checks, performed_us = histories.checks, histories.performed_us
    columns: tuple[Ints, ...] = (episodes.installation, episodes.attribution, episodes.stage)
    ends = (episodes.raised, episodes.ended, episodes.ending)
    rows = zip(*(each.tolist() for each in (*columns, *ends)), episodes.rising.tolist(), episodes.state, strict=True)
    for column, attribution, stage, raised, ended, ending, rising, state in rows:
        yield Decline(
            organisation_id=organisation_id,
            installation_id=int(units.installations[column]),
            raised_by_id=int(checks[raised, column]),
            attribution=ATTRIBUTIONS[attribution],
            stage=stage or None,
            rising=rising,
            state=state,
            raised_at=_instant(performed_us[raised, column]),
            ended_at=None if ended == NEVER else _instant(performed_us[ended, column]),
            reason="" if ENDINGS[ending] == "open" else ENDINGS[ending],
        )


def _instant(microseconds: int) -> dt.datetime:
    return EPOCH + dt.timedelta(microseconds=int(microseconds))
