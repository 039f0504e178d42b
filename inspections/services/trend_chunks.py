"""The night's list cut into ranges of units, each claimed by a conditional update: any number of workers share it.

A chunk is no promise: what a dead worker left is still on the list, and another takes its chunk over once the claim has
lapsed, or finds the units on the list of the next night.  A chunk that cannot be fitted is cut in two until the unit
that is the cause stands alone; that one keeps its error, and its place on the list, and the others are fitted.
"""

import datetime as dt
from itertools import dropwhile

from django.db import connection
from django.db.models import Count, Min, Q, QuerySet, Sum
from django.utils import timezone

from accounts.models import Organisation
from accounts.tenancy import organisation_transaction
from fleet.models import Retarder
from inspections.cutting import cuts_on
from inspections.models import TrendChunk, TrendNews
from inspections.progress import Progress

# So many that a message costs nothing beside the work, so few that a write holds its rows for under half a second.
UNITS_PER_CHUNK = 10_000
# A smaller fleet is cut smaller, so that several workers end together, but not so small that messages count.
LEAST_UNITS_PER_CHUNK, CHUNKS_WISHED = 2_000, 16
# A chunk takes seconds; whoever has held one for so long is dead, or slow and harmless.
CLAIM_LAPSES_AFTER = dt.timedelta(minutes=2)

# Only units in service: the news of others stays on the list until they are back.  What another worker is at is left
# to it: two chunks cannot begin with the same unit, and a narrow one would stand in the way of a wider.
_RANGES = """
SELECT min(retarder_id), max(retarder_id), count(*) FROM (
    SELECT n.retarder_id, (row_number() OVER (ORDER BY n.retarder_id) - 1) / %s AS chunk
    FROM inspections_trendnews n
    JOIN fleet_installation i ON i.retarder_id = n.retarder_id AND i.removed_on IS NULL
    JOIN fleet_vehicle v ON v.id = i.vehicle_id AND v.in_service
    WHERE n.organisation_id = %s AND NOT EXISTS (
        SELECT 1 FROM inspections_trendchunk c
        WHERE c.organisation_id = n.organisation_id AND n.retarder_id BETWEEN c.first_unit AND c.last_unit)) numbered
GROUP BY chunk ORDER BY 1
"""


def plan_chunks(organisation: Organisation) -> None:
    """Cut the list into chunks beside those that somebody is at work on."""
    now = timezone.now()
    with organisation_transaction(organisation):
        TrendChunk.objects.of(organisation).filter(_free(now) | Q(finished_at__isnull=False)).delete()
        with connection.cursor() as cursor:
            cursor.execute(_RANGES, [_units_per_chunk(organisation), organisation.pk])
            ranges = cursor.fetchall()
        chunks = [
            TrendChunk(organisation=organisation, first_unit=first, last_unit=last, units=units, planned_at=now)
            for first, last, units in ranges
        ]
        TrendChunk.objects.bulk_create(chunks, ignore_conflicts=True)


def _units_per_chunk(organisation: Organisation) -> int:
    listed = TrendNews.objects.of(organisation).count()
    return min(UNITS_PER_CHUNK, max(LEAST_UNITS_PER_CHUNK, -(-listed // CHUNKS_WISHED)))


def _free(now: dt.datetime) -> Q:
    return Q(claimed_at__isnull=True) | Q(claimed_at__lt=now - CLAIM_LAPSES_AFTER)


def open_chunks(organisation: Organisation) -> list[int]:
    """Return the chunks that nobody has finished, in order."""
    with organisation_transaction(organisation):
        chunks = TrendChunk.objects.of(organisation).filter(finished_at__isnull=True)
        return list(chunks.order_by("first_unit").values_list("pk", flat=True))


def claim_chunk(organisation: Organisation, chunk_id: int) -> TrendChunk | None:
    """Return the chunk if this caller is the one to do it, else None."""
    now = timezone.now()
    with organisation_transaction(organisation):
        chunks = TrendChunk.objects.of(organisation).filter(pk=chunk_id)
        claimed = chunks.filter(_free(now), finished_at__isnull=True).update(claimed_at=now)
        return chunks.first() if claimed else None


def set_aside(organisation: Organisation, chunk: TrendChunk, error: Exception) -> None:
    """Cut a chunk that could not be fitted in two, or mark it with its error where it cannot be cut any further."""
    now = timezone.now()
    with organisation_transaction(organisation):
        mine = TrendChunk.objects.filter(pk=chunk.pk, finished_at__isnull=True, claimed_at=chunk.claimed_at)
        listed = TrendNews.objects.of(organisation).filter(
            retarder__gte=chunk.first_unit, retarder__lte=chunk.last_unit
        )
        units = list(listed.order_by("retarder").values_list("retarder", flat=True))
        if len(units) < 2 or not _cuts_on(organisation):
            mine.update(finished_at=now, error=f"{type(error).__name__}: {error}")
            return
        first, second = units[: len(units) // 2], units[len(units) // 2 :]
        if mine.update(last_unit=first[-1], units=len(first), claimed_at=None):
            _open_rest(organisation, chunk, second)


def _open_rest(organisation: Organisation, chunk: TrendChunk, units: list[int]) -> None:
    """Open a chunk of the last units of another, from the first that no chunk begins with: that one is in hand."""
    begun = TrendChunk.objects.of(organisation).filter(first_unit__gte=units[0], first_unit__lte=units[-1])
    in_hand = set(begun.values_list("first_unit", flat=True))
    left = list(dropwhile(in_hand.__contains__, units))
    if left:
        rest = TrendChunk(organisation=organisation, first_unit=left[0], last_unit=chunk.last_unit)
        rest.units, rest.planned_at = len(left), timezone.now()
        TrendChunk.objects.bulk_create([rest], ignore_conflicts=True)


def _cuts_on(organisation: Organisation) -> bool:
    done = TrendChunk.objects.of(organisation).aggregate(units=Sum("fitted", default=0))["units"]
    return cuts_on(failures=failed_chunks(organisation).count(), done=done)


def failed_chunks(organisation: Organisation) -> QuerySet[TrendChunk]:
    """Return what could not be fitted and is tried again by the next night; the caller names the organisation."""
    return TrendChunk.objects.of(organisation).exclude(error="").order_by("first_unit")


def failed_units(organisation: Organisation, most: int) -> list[tuple[str, int]]:
    """Return so many of what could not be fitted: the serial number of a first unit, and among how many it is.

    These are more than one where cutting stopped.  The caller names the organisation.
    """
    chunks = list(failed_chunks(organisation)[:most])
    serials = Retarder.objects.of(organisation).in_bulk([chunk.first_unit for chunk in chunks])
    return [(serials[chunk.first_unit].serial_number, chunk.units) for chunk in chunks]


def forget_finished(organisation: Organisation) -> None:
    """Forget the chunks of a night that is over, but for those that failed."""
    with organisation_transaction(organisation):
        TrendChunk.objects.of(organisation).filter(finished_at__isnull=False, error="").delete()


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
