"""Rows beside their audit entries: which rows have other content than their last entry says, and which have none."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from typing import Any
from uuid import UUID

from django.db import models
from django.db.models import Max, QuerySet

from accounts.audit import GONE
from accounts.models import AuditEntry, Organisation
from accounts.tenancy import organisation_transaction
from accounts.tracking import content, content_hash, tracked_models

ROWS_CHUNK = 1000

Misfit = tuple[AuditEntry, str, tuple[str, ...]]


def misfits(organisation: Organisation, entries: Sequence[AuditEntry]) -> tuple[int, list[Misfit]]:
    """Return how many rows have their last entry among these, and those entries that their row does not fit.

    Rows are read before it is asked which entry is a row's last: a row and its entry are stored together, so a row that
    changes meanwhile is left to the entry that tells of the change.
    """
    by_type: dict[str, dict[UUID, AuditEntry]] = defaultdict(dict)
    for entry in entries:
        if entry.content_hash and entry.object_type in tracked_models():
            by_type[entry.object_type][entry.object_id] = entry
    held, found = 0, []
    for name, newest in by_type.items():
        rows = rows_by_uuid(organisation, tracked_models()[name], newest)
        last = _last_sequences(organisation, name, newest)
        for uuid, entry in newest.items():
            if last[uuid] == entry.sequence:
                held += 1
                found += _misfit(entry, rows.get(uuid))
    return held, sorted(found, key=lambda misfit: misfit[0].sequence)


def untold_rows(organisation: Organisation, name: str, model: type[models.Model]) -> Iterator[UUID]:
    """Yield the rows of a tracked table that no entry tells of."""
    after = 0
    while True:
        with organisation_transaction(organisation):
            page = list(
                _of(organisation, model).filter(pk__gt=after).order_by("pk").values_list("pk", "uuid")[:ROWS_CHUNK]
            )
            told = set(_entries(organisation, name, [uuid for _pk, uuid in page]).values_list("object_id", flat=True))
        yield from (uuid for _pk, uuid in page if uuid not in told)
        if not page:
            return
        after = page[-1][0]


def rows_by_uuid(
    organisation: Organisation, model: type[models.Model], uuids: Mapping[UUID, Any]
) -> dict[UUID, models.Model]:
    """Return the organisation's rows among the ids."""
    rows: Any = _of(organisation, model).filter(uuid__in=list(uuids))
    return {row.uuid: row for row in rows}


def _of(organisation: Organisation, model: type[models.Model]) -> QuerySet[Any]:
    rows = model._base_manager.all()
    return rows.filter(pk=organisation.pk) if model is Organisation else rows.filter(organisation=organisation)


def _entries(organisation: Organisation, name: str, uuids: Sequence[UUID]) -> QuerySet[AuditEntry]:
    rows = AuditEntry.objects.filter(organisation=organisation, object_type=name, object_id__in=uuids)
    return rows.exclude(content_hash="")


def _last_sequences(organisation: Organisation, name: str, uuids: Mapping[UUID, Any]) -> dict[UUID, int]:
    entries = _entries(organisation, name, list(uuids))
    return dict(entries.values("object_id").annotate(last=Max("sequence")).values_list("object_id", "last"))


def _misfit(entry: AuditEntry, row: models.Model | None) -> list[Misfit]:
    if row is None:
        return [] if entry.content_hash == GONE else [(entry, "row_missing", ())]
    if entry.content_hash == GONE:
        return [(entry, "row_there_again", ())]
    if content_hash(row) == entry.content_hash:
        return []
    return [(entry, "row_differs", _known_differences(entry, row))]


def _known_differences(entry: AuditEntry, row: models.Model) -> tuple[str, ...]:
    """Return the columns that an entry spells out and that have another value now; there may be others."""
    told: dict[str, Any] = {}
    entries = _entries(entry.organisation, entry.object_type, [entry.object_id]).order_by("sequence")
    for after in entries.values_list("after", flat=True):
        told |= after or {}
    now = content(row)
    return tuple(sorted(name for name in now if name in told and told[name] != now[name]))
