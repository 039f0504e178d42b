"""A part of a night cut into ranges of units, each claimed by a conditional update: any number of workers share it.

A chunk is no promise: what a dead worker left is taken over once its claim has lapsed, or planned anew by the next
night.  A chunk that cannot be done is cut in two until the unit that is the cause stands alone; that one keeps its
error, and the others are done.
"""

import copy
import datetime as dt
import logging
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import dropwhile, pairwise
from typing import Any, Generic, TypeVar

from django.db.models import F, Max, Min, Q, QuerySet, Sum
from django.utils import timezone

from accounts.models import Organisation
from accounts.tenancy import organisation_transaction
from inspections.cutting import cuts_on
from inspections.models.chunks import Chunk
from inspections.progress import Progress

# A chunk takes seconds; whoever has held one for so long is dead, or slow and harmless.
CLAIM_LAPSES_AFTER = dt.timedelta(minutes=2)
LOOK_AGAIN_AFTER_S = 0.05
# Nobody is killed so often by chance while at work on the same chunk: it needs more memory than there is, or the like.
MOST_CLAIMS = 3
# A failure costs an attempt, a killed worker the time until its claim lapses, or the whole run that it was.
PARTS_OF_FAILED, PARTS_OF_KILLING = 2, 16

AChunk = TypeVar("AChunk", bound=Chunk)
# Hands a chunk to other workers, by organisation and chunk; they need not come.
HandOut = Callable[[int, int], object]
Tell = Callable[[Progress], object]

logger = logging.getLogger(__name__)


class WorkersKilled(Exception):
    """Whoever took a chunk on ended without a word, and so did the next."""


@dataclass(frozen=True, slots=True)
class Part(Generic[AChunk]):
    """A part of a night: the table of its chunks, the units in one, and how one is done.

    `do` writes down that the chunk is finished in the transaction in which it writes what it found.
    """

    table: type[AChunk]
    units_in: Callable[[Organisation, AChunk], Sequence[int]]
    do: Callable[[Organisation, AChunk], None]


def share_out(
    part: Part[Any], organisation: Organisation, *, hand_out: HandOut | None = None, tell: Tell | None = None
) -> None:
    """Offer what is planned to other workers where there is enough to share, and see it done."""
    if hand_out is not None and len(chunks := open_chunks(part.table, organisation)) > 1:
        _hand_out_all(organisation, chunks, hand_out)
    work_through(part, organisation, tell)


def _hand_out_all(organisation: Organisation, chunks: list[int], hand_out: HandOut) -> None:
    try:
        for chunk in chunks:
            hand_out(organisation.pk, chunk)
    except Exception:
        # The others need not come: what nobody else takes on is done here.
        logger.exception("organisation %s: no other worker could be asked to help", organisation.pk)


def work_through(part: Part[Any], organisation: Organisation, tell: Tell | None = None) -> None:
    """Claim chunk after chunk, and then wait for the others', taking over what they let lapse.

    They are listed anew after each: of one that was cut in two the first half comes next, down to the unit that is the
    cause, so that what fails everywhere shows after a few attempts.
    """
    while chunks := open_chunks(part.table, organisation):
        if any(take_on(part, organisation, chunk) for chunk in chunks):
            _report_progress(part.table, organisation, tell)
        else:
            time.sleep(LOOK_AGAIN_AFTER_S)


def _report_progress(table: type[Chunk], organisation: Organisation, tell: Tell | None) -> None:
    if tell is not None:
        with organisation_transaction(organisation):
            progress = progress_of(table, organisation)
        if progress is not None:
            tell(progress)


def open_chunks(table: type[Chunk], organisation: Organisation) -> list[int]:
    """Return the chunks that nobody has finished, in order."""
    with organisation_transaction(organisation):
        chunks = table.objects.of(organisation).filter(finished_at__isnull=True)
        return list(chunks.order_by("first_unit").values_list("pk", flat=True))


def take_on(part: Part[AChunk], organisation: Organisation, chunk_id: int) -> bool:
    """Take on one chunk, unless another worker has it, and tell whether this one did; what fails is set aside."""
    chunk = claim_chunk(part.table, organisation, chunk_id)
    if chunk is None:
        return False
    try:
        if chunk.claims > MOST_CLAIMS:
            raise WorkersKilled("every worker ended while it was at this; it may need more memory than there is")
        part.do(organisation, chunk)
    except Exception as error:
        # One unit that cannot be done keeps no other from it: the error stands in the log and in the chunk.
        logger.exception("organisation %s: %s could not be done", organisation.pk, chunk)
        set_aside(part, organisation, chunk, error)
    return True


def claim_chunk(table: type[AChunk], organisation: Organisation, chunk_id: int) -> AChunk | None:
    """Return the chunk if this caller is the one to do it, else None."""
    now = timezone.now()
    with organisation_transaction(organisation):
        chunks = table.objects.of(organisation).filter(pk=chunk_id)
        claimed = chunks.filter(free(now), finished_at__isnull=True).update(claimed_at=now, claims=F("claims") + 1)
        return chunks.first() if claimed else None


def free(now: dt.datetime) -> Q:
    """Return what tells the chunks that nobody holds."""
    return Q(claimed_at__isnull=True) | Q(claimed_at__lt=now - CLAIM_LAPSES_AFTER)


def set_aside(part: Part[AChunk], organisation: Organisation, chunk: AChunk, error: Exception) -> None:
    """Cut a chunk that could not be done in parts, or mark it with its error where it cannot be cut any further.

    What is marked are the units that it still has: some may have gone since it was planned, and where all have, nothing
    has failed.
    """
    now = timezone.now()
    # What is left of a chunk that had its workers killed need not kill as many again to be cut further.
    claims, parts = (MOST_CLAIMS - 1, PARTS_OF_KILLING) if isinstance(error, WorkersKilled) else (0, PARTS_OF_FAILED)
    with organisation_transaction(organisation):
        mine = part.table.objects.of(organisation).filter(
            pk=chunk.pk, finished_at__isnull=True, claimed_at=chunk.claimed_at
        )
        units = part.units_in(organisation, chunk)
        if len(units) < 2 or not _cuts_on(part.table, organisation):
            left = _left_by_others(part.table, organisation, chunk, units)
            failed = {"error": f"{type(error).__name__}: {error}", **_range_of(left)} if left else {}
            mine.update(finished_at=now, claims=claims, units=len(left), **failed)
            return
        bounds = [len(units) * place // parts for place in range(parts + 1)]
        first, *others = (units[start:end] for start, end in pairwise(bounds) if start < end)
        if mine.update(last_unit=first[-1], units=len(first), claimed_at=None, claims=claims):
            chunk.claims = claims
            for other in others:
                _open_rest(part.table, organisation, chunk, other)


def _open_rest(table: type[AChunk], organisation: Organisation, chunk: AChunk, units: Sequence[int]) -> None:
    """Open a chunk of some units of another."""
    left = _left_by_others(table, organisation, chunk, units)
    if left:
        rest = copy.copy(chunk)
        rest.pk, rest.first_unit, rest.last_unit, rest.units, rest.claimed_at = None, left[0], left[-1], len(left), None
        table.objects.bulk_create([rest], ignore_conflicts=True)


def _left_by_others(table: type[Chunk], organisation: Organisation, chunk: Chunk, units: Iterable[int]) -> list[int]:
    """Return the units from the first that no other chunk begins with: such a one is in hand."""
    others = table.objects.of(organisation).exclude(pk=chunk.pk)
    begun = others.filter(first_unit__gte=chunk.first_unit, first_unit__lte=chunk.last_unit)
    in_hand = set(begun.values_list("first_unit", flat=True))
    return list(dropwhile(in_hand.__contains__, units))


def _range_of(units: Sequence[int]) -> dict[str, int]:
    return {"first_unit": units[0], "last_unit": units[-1]}


def _cuts_on(table: type[Chunk], organisation: Organisation) -> bool:
    done = table.objects.of(organisation).filter(finished_at__isnull=False, error="")
    units = done.aggregate(units=Sum("units", default=0))["units"]
    return cuts_on(failures=failed_chunks(table, organisation).count(), done=units)


def failed_chunks(table: type[AChunk], organisation: Organisation) -> QuerySet[AChunk]:
    """Return what could not be done and is tried again by the next night; the caller names the organisation."""
    return table.objects.of(organisation).exclude(error="").order_by("first_unit")


def forget_finished(table: type[Chunk], organisation: Organisation) -> None:
    """Forget the chunks of a night that is over, but for those that failed."""
    with organisation_transaction(organisation):
        table.objects.of(organisation).filter(finished_at__isnull=False, error="").delete()


def progress_of(table: type[Chunk], organisation: Organisation) -> Progress | None:
    """Return how far a part is, None where none is planned; the caller names the organisation."""
    now = timezone.now()
    found = table.objects.of(organisation).aggregate(
        last_planned_at=Max("planned_at"),
        last_claimed_at=Max("claimed_at"),
        last_finished_at=Max("finished_at"),
        total=Sum("units", default=0),
        done=Sum("units", default=0, filter=Q(finished_at__isnull=False)),
        began_at=Min("claimed_at"),
    )
    if not found["last_planned_at"]:
        return None
    moved_at = max(filter(None, (found[f"last_{step}_at"] for step in ("planned", "claimed", "finished"))))
    seconds = (now - (found["began_at"] or now)).total_seconds()
    return Progress(found["done"], found["total"], seconds, stands_still=moved_at < now - CLAIM_LAPSES_AFTER)
