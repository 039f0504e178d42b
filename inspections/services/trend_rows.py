"""Write the trends of many units at once, and only where they come out otherwise than they are stored."""

import datetime as dt
import os
import time
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain
from typing import Any

import numpy as np
import numpy.typing as npt
from django.db import connection
from django.utils import timezone

from calc.trend import ATTRIBUTIONS, METHOD, METHOD_VERSION, TrendBatch, packed_stages
from calc.trend.packed import DAYS_PER_YEAR, EPOCH_DATE
from calc.trend.summary import NOTHING_OPEN
from inspections.packed import NOTHING, binary_rows, copy_in
from inspections.services.trend_fits import Chosen

_COLUMNS = (
    "organisation_id, uuid, created_at, changed_at, installation_id, figures, attribution, next_check_on, method, "
    "method_version"
)
_COMPARED = ("figures", "attribution", "next_check_on", "method", "method_version")
_SET = ", ".join(f"{name} = excluded.{name}" for name in (*_COMPARED, "changed_at"))
# Where nothing differs, nothing is written: a night that runs twice changes no row.
_DIFFERS = " OR ".join(f"inspections_trend.{name} {{differs}} excluded.{name}" for name in _COMPARED)
_CONFLICT = f"ON CONFLICT (installation_id) DO UPDATE SET {_SET} WHERE {_DIFFERS}"
# Whole numbers of a fixed width, so that an array can be sent as it lies in memory; the server makes codes and days of
# them.
_INCOMING = """
CREATE TEMPORARY TABLE incoming_trend (
    uuid uuid, installation_id bigint, attribution int, next_check int, figures bytea)
"""
_FROM_INCOMING = f"""
INSERT INTO inspections_trend ({_COLUMNS})
SELECT %s, uuid, %s, %s, installation_id, figures, (%s::text[])[attribution + 1],
    DATE '{EPOCH_DATE}' + NULLIF(next_check, {NOTHING}), %s, %s
FROM incoming_trend
{_CONFLICT.format(differs="IS DISTINCT FROM")}
"""  # noqa: S608
_ONE_BY_ONE = f"""
INSERT INTO inspections_trend ({_COLUMNS}) VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s, %s)
{_CONFLICT.format(differs="IS NOT")}
"""  # noqa: S608

Row = tuple[str, int, bytes, str | None, dt.date | None]


def store_trends(organisation_id: int, chosen: Sequence[Chosen]) -> None:
    """Write the trends of the chosen units of some fits."""
    now = timezone.now()
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_INCOMING)
            with cursor.copy("COPY incoming_trend FROM STDIN (FORMAT BINARY)") as copy:
                copy_in(copy, chain.from_iterable(map(_blocks, chosen)))
            codes = list(ATTRIBUTIONS)
            cursor.execute(_FROM_INCOMING, [organisation_id, now, now, codes, METHOD, METHOD_VERSION])
            cursor.execute("DROP TABLE incoming_trend")
        else:
            shared = (organisation_id, now.replace(tzinfo=None), METHOD, METHOD_VERSION)
            rows = chain.from_iterable(map(_rows, chosen))
            cursor.executemany(_ONE_BY_ONE, [_whole_row(row, *shared) for row in rows])


def _blocks(chosen: Chosen) -> Iterator[bytes]:
    """Return the rows as the server takes them, units of as many stages together."""
    units, found, places = chosen.fit.units, chosen.fit.found, chosen.places
    figures, next_checks = packed_stages(found), _whole_days(found)
    for stages in np.unique(units.stages[places]).tolist():
        some = places[units.stages[places] == stages]
        own = np.ascontiguousarray(figures[some, :stages])
        yield binary_rows(
            {
                "uuid": _fresh_octets(len(some)).view("V16").reshape(-1),
                "installation": units.installations[some],
                "attribution": found.attribution[some].astype(np.int32),
                "next_check": next_checks[some],
                "figures": own.reshape(len(some), -1).view(f"V{own[0].nbytes}").reshape(-1),
            }
        )


def _whole_days(found: TrendBatch) -> npt.NDArray[np.int32]:
    days = np.floor(found.next_check_at_years * DAYS_PER_YEAR)
    return np.where(np.isfinite(days), np.nan_to_num(days, posinf=0, neginf=0), NOTHING).astype(np.int32)


def _whole_row(row: Row, organisation_id: int, now: dt.datetime, method: str, version: str) -> Sequence[Any]:
    uuid, installation_id, figures, attribution, next_check_on = row
    day = next_check_on and next_check_on.isoformat()
    return organisation_id, uuid, str(now), str(now), installation_id, figures, attribution, day, method, version


def _rows(chosen: Chosen) -> Iterable[Row]:
    units, found, places = chosen.fit.units, chosen.fit.found, chosen.places
    figures, stages = packed_stages(found), units.stages.tolist()
    attributions = [None if code == NOTHING_OPEN else ATTRIBUTIONS[code] for code in found.attribution.tolist()]
    next_checks = _whole_days(found).tolist()
    uuids = [octets.tobytes().hex() for octets in _fresh_octets(len(places))]
    for uuid, one in zip(uuids, places.tolist(), strict=True):
        packed = figures[one, : stages[one]].tobytes()
        yield uuid, int(units.installations[one]), packed, attributions[one], _date(next_checks[one])


def _date(day: int) -> dt.date | None:
    return None if day == NOTHING else EPOCH_DATE + dt.timedelta(days=day)


def _fresh_octets(count: int) -> npt.NDArray[np.uint8]:
    """Return ids of version 7 (RFC 9562), all of this millisecond, shape (count, 16)."""
    octets = np.frombuffer(os.urandom(16 * count), np.uint8).reshape(count, 16).copy()
    octets[:, :6] = np.frombuffer((time.time_ns() // 1_000_000).to_bytes(6, "big"), np.uint8)
    octets[:, 6] = octets[:, 6] & 0x0F | 0x70
    octets[:, 8] = octets[:, 8] & 0x3F | 0x80
    return octets
