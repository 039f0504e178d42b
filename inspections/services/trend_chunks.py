"""The night's list cut into ranges of units, each claimed by a conditional update: any number of workers share it.

A chunk is no promise: what a dead worker left is still on the list, and another takes its chunk over once the claim has
lapsed, or finds the units on the list of the next night.
"""

import datetime as dt

from django.db import connection
from django.db.models import Count, Min, Q, Sum
from django.utils import timezone

from accounts.models import Organisation
from accounts.tenancy import organisation_transaction
from inspections.models import TrendChunk
from inspections.progress import Progress

# So many that a message costs nothing beside the work, so few that a write holds its rows for under half a second.
UNITS_PER_CHUNK = 10_000
# A chunk takes seconds; whoever has held one for so long is dead, or slow and harmless.
CLAIM_LAPSES_AFTER = dt.timedelta(minutes=2)

# Only units in service: the news of others stays on the list until they are back.
_RANGES = """
SELECT min(retarder_id), max(retarder_id), count(*) FROM (
    SELECT n.retarder_id, (row_number() OVER (ORDER BY n.retarder_id) - 1) / %s AS chunk
    FROM inspections_trendnews n
    JOIN fleet_installation i ON i.retarder_id = n.retarder_id AND i.removed_on IS NULL
    JOIN fleet_vehicle v ON v.id = i.vehicle_id AND v.in_service
    WHERE n.organisation_id = %s) numbered
GROUP BY chunk ORDER BY 1
"""


def plan_chunks(organisation: Organisation) -> None:
    """Cut the list into chunks beside those that another night has left open."""
    with organisation_transaction(organisation):
        with connection.cursor() as cursor:
            cursor.execute(_RANGES, [UNITS_PER_CHUNK, organisation.pk])
            ranges = cursor.fetchall()
        TrendChunk.objects.of(organisation).filter(finished_at__isnull=False).delete()
        now = timezone.now()
        chunks = [
            TrendChunk(organisation=organisation, first_unit=first, last_unit=last, units=units, planned_at=now)
            for first, last, units in ranges
        ]
        TrendChunk.objects.bulk_create(chunks, ignore_conflicts=True)


def open_chunks(organisation: Organisation) -> list[int]:
    """Return the chunks that nobody has finished, in order."""
    with organisation_transaction(organisation):
        chunks = TrendChunk.objects.of(organisation).filter(finished_at__isnull=True)
        return list(chunks.order_by("first_unit").values_list("pk", flat=True))


def claim_chunk(organisation: Organisation, chunk_id: int) -> TrendChunk | None:
    """Return the chunk if this caller is the one to do it, else None."""
    now = timezone.now()
    free = Q(claimed_at__isnull=True) | Q(claimed_at__lt=now - CLAIM_LAPSES_AFTER)
    with organisation_transaction(organisation):
        chunks = TrendChunk.objects.of(organisation).filter(pk=chunk_id)
        claimed = chunks.filter(free, finished_at__isnull=True).update(claimed_at=now)
        return chunks.first() if claimed else None


def forget_finished(organisation: Organisation) -> None:
    """Forget the chunks of a night that is over."""
    with organisation_transaction(organisation):
        TrendChunk.objects.of(organisation).filter(finished_at__isnull=False).delete()


def progress_of(organisation: Organisation) -> Progress | None:
    """Return how far the fitting of trends is, None where none is under way; the caller names the organisation."""
    found = TrendChunk.objects.of(organisation).aggregate(
        chunks=Count("pk"),
        total=Sum("units", default=0),
        done=Sum("units", default=0, filter=Q(finished_at__isnull=False)),
        began_at=Min("claimed_at"),
    )
    if not found["chunks"]:
        return None
    began_at = found["began_at"] or timezone.now()
    return Progress(found["done"], found["total"], (timezone.now() - began_at).total_seconds())
