"""The audit chain worked out again, the way an auditor with a copy would."""

from collections.abc import Sequence

from accounts.audit import GENESIS_HASH, chain_hash, entry_record
from accounts.models import AuditEntry, Organisation
from tests.naming import name


def chain_of(organisation: Organisation) -> list[AuditEntry]:
    """Return an organisation's entries in order."""
    name(organisation)
    return list(AuditEntry.objects.filter(organisation=organisation).order_by("sequence"))


def first_bad_sequence(entries: Sequence[AuditEntry]) -> int | None:
    """Return the first sequence number that does not follow from what stands before it, None for a sound chain."""
    previous_hash = GENESIS_HASH
    for expected, entry in enumerate(entries, start=1):
        follows = entry.sequence == expected and entry.previous_hash == previous_hash
        if not follows or entry.hash != chain_hash(previous_hash, entry_record(entry)):
            return expected
        previous_hash = entry.hash
    return None
