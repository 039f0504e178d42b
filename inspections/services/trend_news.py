"""The night's work list: units whose evidence has changed since their trend was fitted."""

import json
import secrets
from collections.abc import Iterable

from django.db import connection

from accounts.models import Organisation
from accounts.statements import cursor_for
from calc.trend import METHOD_VERSION
from inspections.models import TrendChunk

AT_ONCE = 1000
_NOTED = """
INSERT INTO inspections_trendnews (organisation_id, retarder_id, mark) VALUES {rows}
ON CONFLICT (retarder_id) DO UPDATE SET mark = EXCLUDED.mark
"""
# Units in service without a trend of this method, that have a check to fit one to.  A unit that was moved has none yet.
# Of the trends only what an index holds is asked for: the whole fleet is looked through every night.
_UNFITTED = """
INSERT INTO inspections_trendnews (organisation_id, retarder_id, mark)
SELECT i.organisation_id, i.retarder_id, %s
FROM fleet_installation i JOIN fleet_vehicle v ON v.id = i.vehicle_id
WHERE i.organisation_id = %s AND i.removed_on IS NULL AND v.in_service
AND NOT EXISTS (SELECT 1 FROM inspections_trend t WHERE t.installation_id = i.id AND t.method_version = %s)
AND EXISTS (
    SELECT 1 FROM fleet_installation o JOIN inspections_inspection c ON c.installation_id = o.id
    WHERE o.retarder_id = i.retarder_id AND c.superseded_by_id IS NULL AND c.signed_at IS NOT NULL)
ON CONFLICT (retarder_id) DO NOTHING
"""
# The names as one value: thousands of them one by one take longer to read than the rows they name.
_TAKEN_OFF = """
DELETE FROM inspections_trendnews WHERE organisation_id = %s AND retarder_id BETWEEN %s AND %s AND retarder_id {among}
"""
_AMONG = {"postgresql": "= ANY(%s)", "sqlite": "IN (SELECT value FROM json_each(%s))"}


def note_news(organisation_id: int, retarder_ids: Iterable[int]) -> None:
    """Put units on the list, or mark them anew, in the transaction that changes their evidence."""
    retarders = sorted(set(retarder_ids))
    for first in range(0, len(retarders), AT_ONCE):
        together = retarders[first : first + AT_ONCE]
        values = [value for pk in together for value in (organisation_id, pk, _mark())]
        with cursor_for(connection, planned_once=len(together) == 1) as cursor:
            cursor.execute(_NOTED.format(rows=", ".join(["(%s, %s, %s)"] * len(together))), values)


def take_off(chunk: TrendChunk, retarder_ids: list[int]) -> None:
    """Take units of a chunk off the list, in the transaction that stores what was found of them."""
    names = json.dumps(retarder_ids) if connection.vendor == "sqlite" else retarder_ids
    with connection.cursor() as cursor:
        cursor.execute(
            _TAKEN_OFF.format(among=_AMONG[connection.vendor]),
            [chunk.organisation_id, chunk.first_unit, chunk.last_unit, names],
        )


def note_unfitted(organisation: Organisation) -> None:
    """Put on the list what no change of evidence has put there: units moved, and trends of another method."""
    with connection.cursor() as cursor:
        cursor.execute(_UNFITTED, [_mark(), organisation.pk, METHOD_VERSION])


def _mark() -> int:
    return secrets.randbits(62)
