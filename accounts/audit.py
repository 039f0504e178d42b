"""The one audit stream: each entry hashed over the one before, written in the transaction of what it tells.

An entry carries the content hash of the row it is about, so that a row which was changed past the services no longer
fits its last entry (`accounts/audit_check.py`).
"""

import datetime as dt
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import connection, models, transaction
from django.db.models import BigIntegerField
from django.utils import timezone

from accounts.actors import Actor
from accounts.canonical import canonical, plain
from accounts.models import AuditEntry, AuditHead
from accounts.prepared import One, Prepared, PreparedInsert
from accounts.request_ids import current_request_id
from accounts.statements import cursor_for
from accounts.tracking import content_hash, is_tracked, object_type

GENESIS_HASH = "0" * 64
# Stands in place of a content hash in the entry that tells of a row's deletion.
GONE = "gone"

_HEAD = Prepared(
    lambda organisation: AuditHead.objects.select_for_update(no_key=True).filter(organisation=organisation),
    One(BigIntegerField()),
)
_INSERT = PreparedInsert(AuditEntry)
_MOVE_HEAD = "UPDATE accounts_audithead SET sequence = %s, hash = %s WHERE organisation_id = %s"


@dataclass(frozen=True, slots=True)
class Deed:
    """What was done to one row; the row is given as it stands now, after the deed."""

    action: str
    row: models.Model
    after: Mapping[str, Any] | None = None
    before: Mapping[str, Any] | None = None
    reason: str = ""
    device_at: dt.datetime | None = None
    gone: bool = False


def chain_hash(previous_hash: str, record: Mapping[str, Any]) -> str:
    """Return SHA-256 over the previous hash's bytes and the record's canonical JSON (RFC 8785), in hexadecimal."""
    return hashlib.sha256(bytes.fromhex(previous_hash) + canonical(record)).hexdigest()


def entry_record(entry: AuditEntry) -> dict[str, Any]:
    """Return what an entry's hash covers; people stand there by id, so that a name can be replaced."""
    return {
        "sequence": entry.sequence,
        "organisation": entry.organisation_id,
        "at": plain(entry.at),
        "actor": entry.actor_id,
        "on_behalf_of": entry.on_behalf_of_id,
        "source": entry.source,
        "token": entry.token,
        "address": entry.address,
        "request_id": entry.request_id,
        "device_at": plain(entry.device_at),
        "action": entry.action,
        "object_type": entry.object_type,
        "object_id": str(entry.object_id),
        "content_hash": entry.content_hash,
        # A document may come back from the database with its large numbers in another form.
        "before": plain(entry.before),
        "after": plain(entry.after),
        "reason": entry.reason,
    }


@transaction.atomic(savepoint=False)
def write_audit(actor: Actor, deeds: Sequence[Deed]) -> None:
    """Append the deeds to the organisation's chain; call it once in a service, last, inside its transaction."""
    if deeds:
        _append(actor, deeds)


def _append(actor: Actor, deeds: Sequence[Deed]) -> None:
    head = _HEAD.first(actor.organisation.pk)
    if head is None:
        # The first entry of an organisation; of two at once one makes the head, and the other waits for it.
        head, _ = AuditHead.objects.select_for_update(no_key=True).get_or_create(organisation=actor.organisation)
    now = timezone.now()
    entries = []
    for deed in deeds:
        entry = _entry(actor, deed, sequence=head.sequence + 1, previous_hash=head.hash, now=now)
        head.sequence, head.hash = entry.sequence, entry.hash
        entries.append(entry)
    _INSERT(entries)
    with cursor_for(connection, planned_once=True) as cursor:
        cursor.execute(_MOVE_HEAD, [head.sequence, head.hash, actor.organisation.pk])
        if cursor.rowcount != 1:
            raise RuntimeError(f"the head of the audit stream moved in {cursor.rowcount} rows, not in one")


def _entry(actor: Actor, deed: Deed, *, sequence: int, previous_hash: str, now: dt.datetime) -> AuditEntry:
    row: Any = deed.row
    entry = AuditEntry(
        organisation=actor.organisation,
        sequence=sequence,
        at=now,
        actor=actor.user,
        on_behalf_of=actor.on_behalf_of,
        source=actor.source,
        token=actor.token,
        address=actor.address,
        request_id=actor.request_id or current_request_id(),
        device_at=deed.device_at,
        action=deed.action,
        object_type=object_type(type(deed.row)),
        object_id=row.uuid,
        content_hash=_content_hash(deed),
        before=plain(deed.before),
        after=plain(deed.after),
        reason=deed.reason,
        previous_hash=previous_hash,
    )
    entry.hash = chain_hash(previous_hash, entry_record(entry))
    return entry


def _content_hash(deed: Deed) -> str:
    if not is_tracked(type(deed.row)):
        return ""
    return GONE if deed.gone else content_hash(deed.row)
