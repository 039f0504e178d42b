"""The night's list of units cut into chunks; what an earlier night could not finish stays a chunk of its own."""

import numpy as np
from django.db.models import Q
from django.utils import timezone

from accounts.models import Organisation
from accounts.tenancy import organisation_transaction
from calc.arrays import Ints
from fleet.models import Retarder
from inspections.cutting import cut
from inspections.models import Inspection, TrendChunk, TrendNews
from inspections.packed import Column, read_rows
from inspections.services.chunk_failures import first_failed
from inspections.services.chunks import CLAIM_LAPSES_AFTER, failed_chunks

# So many that a message costs nothing beside the work, so few that a write holds its rows for under half a second.
UNITS_PER_CHUNK = 10_000
# As many as ten thousand units have in four years of checks every three months: it is the checks that take memory.
CHECKS_PER_CHUNK, UNITS_SAMPLED = 160_000, 500
# A smaller fleet is cut smaller, so that several workers end together, but not so small that messages count.
LEAST_UNITS_PER_CHUNK, CHUNKS_WISHED = 2_000, 16

# Only units in service: the news of others stays on the list until they are back.
_LISTED = """
FROM inspections_trendnews n
JOIN fleet_installation i ON i.retarder_id = n.retarder_id AND i.removed_on IS NULL
JOIN fleet_vehicle v ON v.id = i.vehicle_id AND v.in_service
WHERE n.organisation_id = %s
"""
_UNIT = [Column("unit", "n.retarder_id", "big")]


def plan_chunks(organisation: Organisation) -> None:
    """Cut the list into chunks beside those that somebody is at work on, or was at work on when it ended.

    What had its workers killed is tried again apart from the others, so that it does not take them along once more.
    Nobody holds it any longer, so that its old claim does not make this night as old.
    """
    now = timezone.now()
    with organisation_transaction(organisation):
        chunks = TrendChunk.objects.of(organisation)
        chunks.filter(Q(claims=0) | Q(finished_at__isnull=False, error="")).delete()
        failed_chunks(TrendChunk, organisation).update(finished_at=None, claimed_at=None, error="")
        chunks.filter(claimed_at__lt=now - CLAIM_LAPSES_AFTER).update(claimed_at=None)
        taken = list(chunks.order_by("first_unit").values_list("first_unit", "last_unit"))
        units = np.sort(read_rows(_UNIT, _LISTED, [organisation.pk])["unit"].astype(np.int64))
        planned = [
            TrendChunk(
                organisation=organisation, first_unit=part[0], last_unit=part[-1], units=len(part), planned_at=now
            )
            for part in cut(units, taken, _units_per_chunk(organisation, units))
        ]
        TrendChunk.objects.bulk_create(planned, ignore_conflicts=True)


def _units_per_chunk(organisation: Organisation, listed: Ints) -> int:
    most = min(UNITS_PER_CHUNK, max(LEAST_UNITS_PER_CHUNK, -(-len(listed) // CHUNKS_WISHED)))
    if len(listed) < UNITS_SAMPLED:
        # So few have few checks however long their histories are, and a night of little news is not made to count them.
        return most
    return max(1, min(most, int(CHECKS_PER_CHUNK / _checks_a_unit(organisation, listed))))


def _checks_a_unit(organisation: Organisation, listed: Ints) -> float:
    """Return how many checks the listed units have, on average of some from all over the list; one at least."""
    some = listed[np.linspace(0, len(listed) - 1, UNITS_SAMPLED).astype(np.int64)].tolist()
    return max(1.0, Inspection.objects.of(organisation).filter(installation__retarder__in=some).count() / len(some))


def units_in(organisation: Organisation, chunk: TrendChunk) -> list[int]:
    """Return what the list names of a chunk, in order; the caller names the organisation."""
    listed = TrendNews.objects.of(organisation).filter(retarder__gte=chunk.first_unit, retarder__lte=chunk.last_unit)
    return list(listed.order_by("retarder").values_list("retarder", flat=True))


def failed_units(organisation: Organisation, most: int) -> list[tuple[str, int]]:
    """Return so many of what could not be fitted: the serial number of a first unit, and among how many it is."""
    failed = first_failed(TrendChunk, organisation, Retarder.objects.of(organisation), most)
    return [(retarder.serial_number, units) for retarder, units in failed]
