"""Raise, confirm, withdraw or resolve declines as the evidence stands; each is keyed to the check that raised it."""

import datetime as dt
from collections.abc import Collection, Iterable
from typing import Any

import numpy as np
from django.utils import timezone

from calc.arrays import Ints
from calc.trend import ATTRIBUTIONS, ENDINGS
from calc.trend.episodes import NEVER
from inspections.models import Decline, TrendChunk
from inspections.services.trend_fits import Chosen

KEY = ["raised_by_id", "attribution", "stage"]
DECLINE_COLUMNS = ["installation_id", "rising", "state", "raised_at", "ended_at", "reason"]
DECLINE_FIELDS = [name.removesuffix("_id") for name in DECLINE_COLUMNS]
SERIES_CHANGED = "series_changed"
EPOCH = dt.datetime(2000, 1, 1, tzinfo=dt.UTC)

Row = tuple[Any, ...]


def declines_of_listed(chunk: TrendChunk, units: Collection[int]) -> list[Row]:
    """Return what is stored of these units of a chunk, all of them on the list, as `store_declines` takes it.

    The list is joined, since a statement that names thousands of units takes longer to read than their declines.
    """
    ends = {"gte": chunk.first_unit, "lte": chunk.last_unit}
    unit = "installation__retarder"
    rows = Decline.objects.filter(
        organisation=chunk.organisation_id,
        **{f"{unit}__{end}": key for end, key in ends.items()},
        **{f"{unit}__trend_news__retarder__{end}": key for end, key in ends.items()},
    )
    wanted = set(units)
    return [row[1:] for row in rows.values_list(unit, "pk", *KEY, *DECLINE_COLUMNS) if row[0] in wanted]


def store_declines(organisation_id: int, chosen: Iterable[Chosen], stored_rows: Iterable[Row]) -> int:
    """Write what differs from what is stored of the same units, and return how many declines that were.

    A decline follows its unit to another vehicle, because its key is the check that raised it.
    """
    rows = dict(row for each in chosen for row in _declines(each))
    stored = {_key(row): row for row in stored_rows}
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


def _declines(chosen: Chosen) -> Iterable[tuple[Row, Row]]:
    """Return key and columns of each decline."""
    checks, performed_us = chosen.fit.checks, chosen.fit.performed_us
    installations, every = chosen.fit.units.installations, chosen.fit.found.episodes
    episodes = every.where(np.isin(every.installation, chosen.places))
    columns: tuple[Ints, ...] = (episodes.installation, episodes.attribution, episodes.stage)
    ends = (episodes.raised, episodes.ended, episodes.ending)
    rows = zip(*(each.tolist() for each in (*columns, *ends)), episodes.rising.tolist(), episodes.state, strict=True)
    for column, attribution, stage, raised, ended, ending, rising, state in rows:
        yield (
            (int(checks[raised, column]), ATTRIBUTIONS[attribution], stage or None),
            (
                int(installations[column]),
                rising,
                state,
                _instant(performed_us[raised, column]),
                None if ended == NEVER else _instant(performed_us[ended, column]),
                "" if ENDINGS[ending] == "open" else ENDINGS[ending],
            ),
        )


def _instant(microseconds: int) -> dt.datetime:
    return EPOCH + dt.timedelta(microseconds=int(microseconds))
