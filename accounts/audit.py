"""The one audit stream: each entry hashed over the one before, written in the transaction of what it tells.

References
----------
RFC 8785 (canonical JSON).  Measured values enter as decimal strings, because canonical JSON has one form of number and
would lose their resolution.
"""

import datetime as dt
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from uuid import UUID

import rfc8785
from django.db import transaction
from django.utils import timezone

from accounts.actors import Actor
from accounts.models import AuditEntry, AuditHead

GENESIS_HASH = "0" * 64


@dataclass(frozen=True, slots=True)
class Deed:
    """What was done to one object."""

    action: str
    object_type: str
    object_id: UUID
    after: Mapping[str, Any] | None = None
    before: Mapping[str, Any] | None = None
    reason: str = ""
    device_at: dt.datetime | None = None


def plain(value: Any) -> Any:
    """Return the value in the words of canonical JSON: numbers that were measured become strings, instants UTC."""
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).isoformat().replace("+00:00", "Z")
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, Decimal | UUID | dt.date):
        return str(value)
    raise TypeError(f"the audit stream cannot hold a {type(value).__name__}")


def chain_hash(previous_hash: str, record: Mapping[str, Any]) -> str:
    """Return SHA-256 over the previous hash's bytes and the record's canonical JSON, in hexadecimal."""
    return hashlib.sha256(bytes.fromhex(previous_hash) + rfc8785.dumps(dict(record))).hexdigest()


def entry_record(entry: AuditEntry) -> dict[str, Any]:
    """Return what an entry's hash covers; people stand there by id, so that a name can be replaced."""
    return {
        "sequence": entry.sequence,
        "organisation": entry.organisation_id,
        "at": plain(entry.at),
        "actor": entry.actor_id,
        "on_behalf_of": entry.on_behalf_of_id,
        "source": entry.source,
        "address": entry.address,
        "request_id": entry.request_id,
        "device_at": plain(entry.device_at),
        "action": entry.action,
        "object_type": entry.object_type,
        "object_id": str(entry.object_id),
        "before": entry.before,
        "after": entry.after,
        "reason": entry.reason,
    }


@transaction.atomic
def write_audit(actor: Actor, deeds: Sequence[Deed]) -> None:
    """Append the deeds to the organisation's chain; call it once in a service, last, inside its transaction."""
    if not deeds:
        return
    head, _ = AuditHead.objects.select_for_update().get_or_create(organisation=actor.organisation)
    now = timezone.now()
    entries = []
    for deed in deeds:
        entry = _entry(actor, deed, sequence=head.sequence + 1, previous_hash=head.hash, now=now)
        head.sequence, head.hash = entry.sequence, entry.hash
        entries.append(entry)
    AuditEntry.objects.bulk_create(entries)
    head.save(update_fields=["sequence", "hash"])


def _entry(actor: Actor, deed: Deed, *, sequence: int, previous_hash: str, now: dt.datetime) -> AuditEntry:
    entry = AuditEntry(
        organisation=actor.organisation,
        sequence=sequence,
        at=now,
        actor=actor.user,
        source=actor.source,
        address=actor.address,
        request_id=actor.request_id,
        device_at=deed.device_at,
        action=deed.action,
        object_type=deed.object_type,
        object_id=deed.object_id,
        before=plain(deed.before),
        after=plain(deed.after),
        reason=deed.reason,
        previous_hash=previous_hash,
    )
    entry.hash = chain_hash(previous_hash, entry_record(entry))
    return entry
