"""Write the trends of many units at once, and only where they come out otherwise than they are stored."""

import datetime as dt
import os
import time
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from django.db import connection
from django.utils import timezone

from calc.arrays import Ints
from calc.trend import ATTRIBUTIONS, METHOD, METHOD_VERSION, TrendBatch, packed_stages
from calc.trend.packed import DAYS_PER_YEAR, EPOCH_DATE
from calc.trend.summary import NOTHING_OPEN
from inspections.series import Units

_COLUMNS = (
    "organisation_id, uuid, created_at, changed_at, installation_id, figures, attribution, next_check_on, method, "
    "method_version"
)
_COMPARED = ("figures", "attribution", "next_check_on", "method", "method_version")
_SET = ", ".join(f"{name} = excluded.{name}" for name in (*_COMPARED, "changed_at"))
# Where nothing differs, nothing is written: a night that runs twice changes no row.
_DIFFERS = " OR ".join(f"inspections_trend.{name} {{differs}} excluded.{name}" for name in _COMPARED)
_CONFLICT = f"ON CONFLICT (installation_id) DO UPDATE SET {_SET} WHERE {_DIFFERS}"
_INCOMING = """
CREATE TEMPORARY TABLE incoming_trend (
    uuid uuid, installation_id bigint, figures bytea, attribution text, next_check_on date)
"""
_FROM_INCOMING = f"""
INSERT INTO inspections_trend ({_COLUMNS})
SELECT %s, uuid, %s, %s, installation_id, figures, attribution, next_check_on, %s, %s FROM incoming_trend
{_CONFLICT.format(differs="IS DISTINCT FROM")}
"""  # noqa: S608
_ONE_BY_ONE = f"""
INSERT INTO inspections_trend ({_COLUMNS}) VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s, %s)
{_CONFLICT.format(differs="IS NOT")}
"""  # noqa: S608

Row = tuple[str, int, bytes, str | None, dt.date | None]


def store_trends(organisation_id: int, units: Units, found: TrendBatch, chosen: Ints) -> None:
    """Write the trends of the chosen columns of a fit."""
    rows = _rows(units, found, chosen)
    now = timezone.now()
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(_INCOMING)
            with cursor.copy("COPY incoming_trend FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)
            cursor.execute(_FROM_INCOMING, [organisation_id, now, now, METHOD, METHOD_VERSION])
            cursor.execute("DROP TABLE incoming_trend")
        else:
            shared = (organisation_id, now.replace(tzinfo=None), METHOD, METHOD_VERSION)
            cursor.executemany(_ONE_BY_ONE, [_whole_row(row, *shared) for row in rows])


def _whole_row(row: Row, organisation_id: int, now: dt.datetime, method: str, version: str) -> Sequence[Any]:
    uuid, installation_id, figures, attribution, next_check_on = row
    day = next_check_on and next_check_on.isoformat()
    return organisation_id, uuid, str(now), str(now), installation_id, figures, attribution, day, method, version


def _rows(units: Units, found: TrendBatch, chosen: Ints) -> Iterable[Row]:
    figures, stages = packed_stages(found), units.stages.tolist()
    attributions = [None if code == NOTHING_OPEN else ATTRIBUTIONS[code] for code in found.attribution.tolist()]
    next_checks = np.floor(found.next_check_at_years * DAYS_PER_YEAR)
    uuids = _fresh_ids(len(chosen))
    for uuid, one in zip(uuids, chosen.tolist(), strict=True):
        packed = figures[one, : stages[one]].tobytes()
        yield uuid, int(units.installations[one]), packed, attributions[one], _date(next_checks[one])


def _date(days: float) -> dt.date | None:
    return EPOCH_DATE + dt.timedelta(days=int(days)) if np.isfinite(days) else None


def _fresh_ids(count: int) -> list[str]:
    """Return ids of version 7 (RFC 9562), all of this millisecond, as 32 hexadecimal digits."""
    octets = np.frombuffer(os.urandom(16 * count), np.uint8).reshape(count, 16).copy()
    octets[:, :6] = np.frombuffer((time.time_ns() // 1_000_000).to_bytes(6, "big"), np.uint8)
    octets[:, 6] = octets[:, 6] & 0x0F | 0x70
    octets[:, 8] = octets[:, 8] & 0x3F | 0x80
    digits = octets.tobytes().hex()
    return [digits[start : start + 32] for start in range(0, len(digits), 32)]
