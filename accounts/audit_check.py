"""Check the record: walk an organisation's audit chain and hold every tracked row to its last entry.

The walk goes forward in chunks, each in a transaction of its own, so that it takes the same memory and holds no lock
however long the chain is.  What it names is the first entry that does not fit, in the order of the chain:

- an entry that does not follow from the one before, or whose own content was changed;
- an entry that is the last of its row, where the row has other content by now, or is not there;
- the head, where the chain does not end with it; an anchored head, where the chain does not go through it;
- after all of these, a row that no entry tells of.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from uuid import UUID

from django.db.models import QuerySet

from accounts.anchors import Anchor
from accounts.audit import GENESIS_HASH, chain_hash, entry_record
from accounts.audit_rows import misfits, untold_rows
from accounts.merkle import MerkleTree
from accounts.models import AuditEntry, AuditHead, Organisation
from accounts.tenancy import organisation_transaction
from accounts.tracking import tracked_models

CHUNK = 500


@dataclass(frozen=True, slots=True)
class BadEntry:
    """The first thing that does not fit; `columns` names what is known to differ."""

    code: str
    sequence: int | None
    object_type: str = ""
    object_id: UUID | None = None
    columns: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Checked:
    """What a check went through, where the chain stood, and the first thing that does not fit."""

    entries: int
    rows: int
    sequence: int
    hash: str
    merkle_root: str
    bad: BadEntry | None = None

    @property
    def is_sound(self) -> bool:
        """Tell whether everything fits."""
        return self.bad is None


def check_record(
    organisation: Organisation, *, anchor: Anchor | None = None, progress: Callable[[int], None] | None = None
) -> Checked:
    """Check an organisation's record as it stands when the check begins; it writes nothing.

    `progress` is told the number of entries gone through after each chunk.
    """
    return _Check(organisation, anchor, progress).run()


class _Check:
    def __init__(
        self, organisation: Organisation, anchor: Anchor | None, progress: Callable[[int], None] | None
    ) -> None:
        self.organisation, self.anchor, self.progress = organisation, anchor, progress
        self.tree = MerkleTree()
        self.sequence, self.hash, self.rows = 0, GENESIS_HASH, 0

    def run(self) -> Checked:
        bad = next(self._everything(), None)
        return Checked(self.tree.size, self.rows, self.sequence, self.hash, self.tree.root(), bad)

    def _everything(self) -> Iterator[BadEntry]:
        if self.anchor is not None and self.anchor.organisation != str(self.organisation.uuid):
            yield BadEntry("anchor_of_another", None)
        with organisation_transaction(self.organisation):
            head = AuditHead.objects.filter(organisation=self.organisation).first()
        head = head or AuditHead(organisation=self.organisation)
        while chunk := self._next_chunk(head.sequence):
            yield from self._chunk(chunk)
            if self.progress is not None:
                self.progress(self.tree.size)
        yield from self._end(head)
        for name, model in tracked_models().items():
            for uuid in untold_rows(self.organisation, name, model):
                yield BadEntry("untold", None, name, uuid)

    def _entries(self) -> QuerySet[AuditEntry]:
        return AuditEntry.objects.filter(organisation=self.organisation, sequence__gt=self.sequence)

    def _next_chunk(self, until: int) -> list[AuditEntry]:
        with organisation_transaction(self.organisation):
            return list(self._entries().filter(sequence__lte=until).order_by("sequence")[:CHUNK])

    def _chunk(self, chunk: Sequence[AuditEntry]) -> Iterator[BadEntry]:
        """Yield what does not fit in the order of the chain: rows before the break, then the break."""
        sound: list[AuditEntry] = []
        broken = None
        for entry in chunk:
            broken = self._broken(entry)
            if broken is not None:
                break
            sound.append(entry)
        with organisation_transaction(self.organisation):
            held, found = misfits(self.organisation, sound)
        self.rows += held
        for entry, code, columns in found:
            yield BadEntry(code, entry.sequence, entry.object_type, entry.object_id, columns)
        if broken is not None:
            yield broken

    def _broken(self, entry: AuditEntry) -> BadEntry | None:
        """Take the entry into the chain, unless it does not follow from what stands before it."""
        expected = self.sequence + 1
        if entry.sequence != expected:
            return BadEntry("missing", expected)
        if entry.previous_hash != self.hash:
            return self._of("out_of_place", entry)
        if entry.hash != chain_hash(self.hash, entry_record(entry)):
            return self._of("altered", entry)
        self.sequence, self.hash = entry.sequence, entry.hash
        self.tree.add(bytes.fromhex(entry.hash))
        return self._off_the_anchor(entry)

    def _off_the_anchor(self, entry: AuditEntry) -> BadEntry | None:
        anchor = self.anchor
        if anchor is None or anchor.sequence != entry.sequence:
            return None
        same = (anchor.hash, anchor.merkle_root) == (entry.hash, self.tree.root())
        return None if same else self._of("off_the_anchor", entry)

    def _of(self, code: str, entry: AuditEntry) -> BadEntry:
        return BadEntry(code, entry.sequence, entry.object_type, entry.object_id)

    def _end(self, head: AuditHead) -> Iterator[BadEntry]:
        if self.anchor is not None and self.sequence < self.anchor.sequence:
            yield BadEntry("cut_off_before_the_anchor", self.sequence + 1)
        if (head.sequence, head.hash) != (self.sequence, self.hash):
            yield BadEntry("cut_off" if self.sequence < head.sequence else "head_differs", self.sequence + 1)
        # An entry is stored in one transaction with its head, so what lies beyond a head that is read after it is none.
        with organisation_transaction(self.organisation):
            newest = self._entries().order_by("-sequence").first()
        with organisation_transaction(self.organisation):
            now = AuditHead.objects.filter(organisation=self.organisation).first()
        if newest is not None and (now is None or now.sequence < newest.sequence):
            yield self._of("beyond_the_head", newest)
