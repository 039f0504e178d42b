"""The due dates of a night: every installation in service, in ranges that any number of workers share."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from django.db.models import Case, F, Max, Q, Sum, When
from django.utils import timezone

from accounts.models import Organisation
from accounts.tenancy import organisation_transaction
from fleet.models import Installation
from inspections.cutting import cut
from inspections.models import DueDateChunk
from inspections.queries import last_checks
from inspections.services.chunk_failures import first_failed, units_failed
from inspections.services.chunks import HandOut, Part, Tell, free, share_out
from schedules.queries import fitted_units_in_service, installations_in_service, plans_count_usage
from schedules.services.due_dates import refresh_due_dates_of

UNITS_PER_CHUNK = 2_000
# Where plans count usage, every counter reading of the vehicles is held as well.
UNITS_PER_CHUNK_WITH_READINGS = 500


@dataclass(frozen=True, slots=True)
class DueDateReport:
    """Of how many installations the due date was worked out, came out otherwise than before, or was not to be had."""

    done: int
    changed: int
    failed: int


def refresh_due_dates_of_all(
    organisation: Organisation,
    *,
    as_of: dt.datetime,
    began_at: dt.datetime | None = None,
    hand_out: HandOut | None = None,
    tell: Tell | None = None,
) -> DueDateReport:
    """Work out the due date of every installation in service as of an instant, alone or with other workers.

    `began_at` is when the night began that this is a part of, now where it is a part of none.
    """
    plan_due_dates(organisation, as_of=as_of, began_at=began_at or timezone.now())
    share_out(DUE_DATES, organisation, hand_out=hand_out, tell=tell)
    return _report(organisation)


def plan_due_dates(organisation: Organisation, *, as_of: dt.datetime, began_at: dt.datetime) -> None:
    """Cut the fleet into chunks, in the place of all that an earlier plan has left.

    A chunk of an earlier plan that is being written is waited for, since its row is locked; any other is never done.
    Of nights that go on together the latest instant stands, whichever of them plans last: what is left unfinished, or
    was planned since this night began, is not planned anew as of an earlier instant.  A night that begins when the
    others have ended works as of its own, be it earlier: somebody has asked for that.

    What could not be done, or was being done when its worker ended, is a chunk of its own again, so that it does not
    take the others along once more.
    """
    with organisation_transaction(organisation):
        # One plan after the other: two that see each other's chunks half planned would leave some of both.
        Organisation.objects.select_for_update(no_key=True).get(pk=organisation.pk)
        as_of = max(as_of, _latest_instant(organisation, began_at) or as_of)
        apart = _left_apart(organisation)
        # Again until none is left: one that was waited for may have been cut in two.
        while DueDateChunk.objects.of(organisation).delete()[0]:
            pass
        shared = {"organisation": organisation, "as_of": as_of, "planned_at": timezone.now()}
        chunks = [
            DueDateChunk(**shared, first_unit=units[0], last_unit=units[-1], units=len(units), claims=claims)
            for units, claims in _cut_fleet(organisation, apart)
        ]
        DueDateChunk.objects.bulk_create(chunks, ignore_conflicts=True)


def _latest_instant(organisation: Organisation, began_at: dt.datetime) -> dt.datetime | None:
    """Return the latest instant of what is unfinished or was planned since, None where there is nothing of it."""
    beside = DueDateChunk.objects.of(organisation).filter(Q(finished_at__isnull=True) | Q(planned_at__gte=began_at))
    latest: dt.datetime | None = beside.aggregate(as_of=Max("as_of"))["as_of"]
    return latest


def _left_apart(organisation: Organisation) -> list[tuple[int, int, int]]:
    """Return first unit, last unit and claims of what an earlier night could not do or did not bring to an end."""
    left = DueDateChunk.objects.of(organisation).filter(Q(finished_at__isnull=True, claims__gt=0) | ~Q(error=""))
    # Who holds a claim that has not lapsed may well be alive, and this plan is all that keeps it from its end.
    over = Q(finished_at__isnull=False) | free(timezone.now())
    claims = Case(When(over, then=F("claims")), default=F("claims") - 1)
    return list(left.order_by("first_unit").values_list("first_unit", "last_unit", claims))


def _cut_fleet(organisation: Organisation, apart: Sequence[tuple[int, int, int]]) -> list[tuple[list[int], int]]:
    """Return the units of each chunk, and how often it was taken on before."""
    most = UNITS_PER_CHUNK_WITH_READINGS if plans_count_usage(organisation) else UNITS_PER_CHUNK
    keys = installations_in_service(organisation).order_by("pk").values_list("pk", flat=True)
    units = np.fromiter(keys.iterator(), np.int64)
    parts = [(part, 0) for part in cut(units, [(first, last) for first, last, _ in apart], most)]
    begins = np.searchsorted(units, [first for first, _, _ in apart])
    ends = np.searchsorted(units, [last for _, last, _ in apart], side="right")
    parts += [
        (units[begin:end].tolist(), claims) for begin, end, (_, _, claims) in zip(begins, ends, apart, strict=True)
    ]
    return [(part, claims) for part, claims in parts if part]


def _work_out(organisation: Organisation, chunk: DueDateChunk) -> None:
    with organisation_transaction(organisation):
        mine = DueDateChunk.objects.of(organisation).filter(pk=chunk.pk)
        # The chunk's row first: where it is finished, or a later night has taken it away, there is nothing to write.
        if not mine.filter(finished_at__isnull=True).update(finished_at=timezone.now()):
            return
        units = fitted_units_in_service(organisation, first=chunk.first_unit, last=chunk.last_unit)
        if changed := refresh_due_dates_of(units, last_checks, as_of=chunk.as_of):
            mine.update(changed=changed)


def _installations_in(organisation: Organisation, chunk: DueDateChunk) -> list[int]:
    return [unit.pk for unit in fitted_units_in_service(organisation, first=chunk.first_unit, last=chunk.last_unit)]


DUE_DATES = Part(DueDateChunk, _installations_in, _work_out)


def _report(organisation: Organisation) -> DueDateReport:
    """Count what was done; the chunks stay until the next plan, for another night that shared them counts them too."""
    with organisation_transaction(organisation):
        totals = DueDateChunk.objects.of(organisation).aggregate(
            units=Sum("units", default=0), changed=Sum("changed", default=0)
        )
        failed = units_failed(DueDateChunk, organisation)
    return DueDateReport(totals["units"] - failed, totals["changed"], failed)


def installations_without_due_date(organisation: Organisation, most: int) -> list[tuple[Installation, int]]:
    """Return so many of what could not be worked out: a first installation, and among how many it is."""
    installations = Installation.objects.of(organisation).select_related("vehicle", "retarder")
    return first_failed(DueDateChunk, organisation, installations, most)
