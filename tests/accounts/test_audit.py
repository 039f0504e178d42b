"""The audit stream: hashed over canonical JSON, without gaps, one chain for each organisation."""

import datetime as dt
import hashlib
from decimal import Decimal
from uuid import UUID

import pytest
from django.db import transaction

from accounts.audit import _MOVE_HEAD, GENESIS_HASH, Deed, chain_hash, write_audit
from accounts.canonical import plain
from accounts.models import AuditEntry, AuditHead, Depot
from accounts.roles import Role
from accounts.services import add_depot
from tests import builders
from tests.accounts.audit_chain import chain_of, first_bad_sequence
from tests.builders import Workshop

OBJECT = UUID("017f22e2-79b0-7cc3-98c4-dc0c0c07398f")

# Worked out by hand with SHA-256 over RFC 8785 text (no published vector exists for such a chain).
CREATED = {"action": "create", "amps": "41.5", "at": "2025-01-31T10:00:00Z", "object": "check/1", "seq": 1}
UPDATED = {"action": "update", "amps": "42.0", "at": "2025-01-31T10:05:00Z", "object": "check/1", "seq": 2}
HASHES = (
    "6c9f91abe93d549aa12e0afdafc515966a89de80d3b70f9eb986f5cf9808c6be",
    "d43976cfdb42d29c08352cd70b5cf596d5f412d4ceacb46e54129c0cbaf5ce7a",
)
HASHES_WITH_THE_FIRST_ALTERED = (
    "010dd536ef85deb9ec54f239a64172b265937f43e464a71f33b4a3755bd616a2",
    "3fbb202062f896e245f2eb4791de699b5ce23411ebbac5b82d67d590c4ad126d",
)


@pytest.mark.parametrize(("amps", "hashes"), [("41.5", HASHES), ("41.6", HASHES_WITH_THE_FIRST_ALTERED)])
def test_each_hash_covers_the_one_before(amps: str, hashes: tuple[str, str]) -> None:
    first = chain_hash(GENESIS_HASH, {**CREATED, "amps": amps})
    assert (first, chain_hash(first, UPDATED)) == hashes


def test_records_are_hashed_in_the_canonical_form_of_rfc_8785() -> None:
    """RFC 8785 3.2.2 and 3.2.3, its own sample."""
    sample = {
        "numbers": [333333333.33333329, 1e30, 4.50, 2e-3, 0.000000000000000000000000001],
        "string": '\u20ac$\u000f\u000aA\'B"\\\\"/',
        "literals": [None, True, False],
    }
    canonical = (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )
    assert chain_hash(GENESIS_HASH, sample) == hashlib.sha256(bytes(32) + canonical.encode()).hexdigest()


def test_measured_values_keep_their_digits_and_instants_are_utc() -> None:
    at = dt.datetime(2026, 3, 2, 10, 30, tzinfo=dt.timezone(dt.timedelta(hours=1)))
    told = plain({"amps": Decimal("42.0"), "volts": 14.0, "at": at, "on": dt.date(2026, 3, 2), "of": [OBJECT, True, 3]})
    assert told == {
        "amps": "42.0",
        "volts": "14.0",
        "at": "2026-03-02T09:30:00Z",
        "on": "2026-03-02",
        "of": [str(OBJECT), True, 3],
    }
    with pytest.raises(TypeError, match="set"):
        plain({"stages": {1, 2}})


@pytest.fixture
def entries(db: None) -> list[AuditEntry]:
    """Return a chain of five entries, written in two calls, as read back from the database."""
    actor = builders.actor(builders.organisation())
    depot = builders.depot(actor.organisation)
    deed = Deed("change", depot, before={"amps": Decimal("41.5")}, after={"amps": Decimal("42.0")})
    write_audit(actor, [deed, deed])
    write_audit(actor, [deed, deed, Deed("close", depot, reason="sold", device_at=actor_time())])
    return chain_of(actor.organisation)


def actor_time() -> dt.datetime:
    return dt.datetime(2026, 3, 2, 9, 30, 0, 123456, tzinfo=dt.UTC)


def test_the_sequence_has_no_gaps_and_the_chain_recomputes_from_the_rows(entries: list[AuditEntry]) -> None:
    assert [entry.sequence for entry in entries] == [1, 2, 3, 4, 5]
    assert entries[0].previous_hash == "0" * 64
    assert first_bad_sequence(entries) is None
    head = AuditHead.objects.get(organisation=entries[0].organisation)
    assert (head.sequence, head.hash) == (5, entries[-1].hash)


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("at", dt.datetime(2020, 1, 1, tzinfo=dt.UTC)),
        ("actor_id", 999_999),
        ("on_behalf_of_id", 999_999),
        ("organisation_id", 999_999),
        ("source", "web"),
        ("token", "another"),
        ("content_hash", "0" * 64),
        ("address", "10.0.0.1"),
        ("request_id", "another"),
        ("device_at", dt.datetime(2020, 1, 1, tzinfo=dt.UTC)),
        ("action", "create"),
        ("object_type", "meter"),
        ("object_id", UUID(int=0)),
        ("before", {"amps": "41.6"}),
        ("after", {"amps": "42"}),
        ("reason", "no reason"),
    ],
)
def test_any_changed_column_shows_at_that_entry(entries: list[AuditEntry], column: str, value: object) -> None:
    setattr(entries[2], column, value)
    assert first_bad_sequence(entries) == 3


def test_a_removed_an_inserted_and_an_exchanged_entry_show_at_their_place(entries: list[AuditEntry]) -> None:
    assert first_bad_sequence([*entries[:1], *entries[2:]]) == 2
    assert first_bad_sequence([*entries[:2], entries[1], *entries[2:]]) == 3
    assert first_bad_sequence([entries[0], entries[2], entries[1], *entries[3:]]) == 2


def test_two_organisations_have_separate_chains(entries: list[AuditEntry]) -> None:
    other = builders.organisation()
    write_audit(builders.actor(other), [Deed("change", builders.depot(other))])
    (entry,) = chain_of(other)
    assert (entry.sequence, entry.previous_hash) == (1, GENESIS_HASH)
    assert first_bad_sequence([entry]) is None
    assert entry.hash not in {each.hash for each in entries}


def test_a_rollback_leaves_neither_the_row_nor_its_entry(db: None) -> None:
    actor = builders.actor(builders.organisation(), Role.MANAGER)
    add_depot(actor, name="North", time_zone="Europe/London")
    with transaction.atomic():
        add_depot(actor, name="South", time_zone="Europe/London")
        transaction.set_rollback(True)
    add_depot(actor, name="East", time_zone="Europe/London")
    assert set(Depot.objects.filter(organisation=actor.organisation).values_list("name", flat=True)) == {
        "North",
        "East",
    }
    entries = chain_of(actor.organisation)
    assert [(entry.sequence, (entry.after or {})["name"]) for entry in entries] == [(1, "North"), (2, "East")]
    assert first_bad_sequence(entries) is None


def test_nothing_done_writes_nothing(db: None) -> None:
    write_audit(builders.actor(builders.organisation()), [])
    assert not AuditHead.objects.exists()


def test_a_head_that_does_not_move_is_told_and_nothing_is_stored(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    actor = builders.actor(workshop.organisation, Role.ADMINISTRATOR)
    add_depot(actor, name="North", time_zone="Europe/London")
    monkeypatch.setattr("accounts.audit._MOVE_HEAD", f"{_MOVE_HEAD} AND 1 = 0")
    before = AuditEntry.objects.count()
    with pytest.raises(RuntimeError, match="moved in 0 rows"), transaction.atomic():
        add_depot(actor, name="South", time_zone="Europe/London")
    assert AuditEntry.objects.count() == before
