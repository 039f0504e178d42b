"""The night's work list: units whose evidence has changed since their trend was fitted."""

import secrets
from collections.abc import Iterable

from django.db import connection

from accounts.models import Organisation
from accounts.statements import cursor_for
from calc.trend import METHOD_VERSION

AT_ONCE = 1000
_NOTED = """
INSERT INTO inspections_trendnews (organisation_id, retarder_id, mark) VALUES {rows}
ON CONFLICT (retarder_id) DO UPDATE SET mark = EXCLUDED.mark
"""
# Units in service without a trend of this method, that have a check to fit one to.  A unit that was moved has none yet.
_UNFITTED = """
INSERT INTO inspections_trendnews (organisation_id, retarder_id, mark)
SELECT i.organisation_id, i.retarder_id, %s
FROM fleet_installation i JOIN fleet_vehicle v ON v.id = i.vehicle_id
LEFT JOIN inspections_trend t ON t.installation_id = i.id
WHERE i.organisation_id = %s AND i.removed_on IS NULL AND v.in_service
AND (t.id IS NULL OR t.method_version <> %s)
AND EXISTS (
    SELECT 1 FROM fleet_installation o JOIN inspections_inspection c ON c.installation_id = o.id
    WHERE o.retarder_id = i.retarder_id AND c.superseded_by_id IS NULL AND c.signed_at IS NOT NULL)
ON CONFLICT (retarder_id) DO NOTHING
"""


def note_news(organisation_id: int, retarder_ids: Iterable[int]) -> None:
    """Put units on the list, or mark them anew, in the transaction that changes their evidence."""
    retarders = sorted(set(retarder_ids))
    for first in range(0, len(retarders), AT_ONCE):
        together = retarders[first : first + AT_ONCE]
        values = [value for pk in together for value in (organisation_id, pk, _mark())]
        with cursor_for(connection, planned_once=len(together) == 1) as cursor:
            cursor.execute(_NOTED.format(rows=", ".join(["(%s, %s, %s)"] * len(together))), values)


def note_unfitted(organisation: Organisation) -> None:
    """Put on the list what no change of evidence has put there: units moved, and trends of another method."""
    with connection.cursor() as cursor:
        cursor.execute(_UNFITTED, [_mark(), organisation.pk, METHOD_VERSION])


def _mark() -> int:
    return secrets.randbits(62)
