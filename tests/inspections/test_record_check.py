"""Whatever is changed past the services is found and named: on every tracked table, and in the chain itself."""

from typing import Any

import pytest
from django.db import IntegrityError, connection, models

from accounts.anchors import Anchor, anchor_of
from accounts.audit import chain_hash, entry_record
from accounts.audit_check import BadEntry, Checked, check_record
from accounts.models import AuditEntry, AuditHead, Organisation
from accounts.tenancy import organisation_transaction
from accounts.tracking import object_type, tracked_models
from fleet.models import RelayBoxType
from fleet.services import add_retarder
from tests.accounts.threads import at_once
from tests.inspections.past_the_guards import past_the_guards
from tests.inspections.told_book import FIRST_AT, Book, told_book

# One column of each tracked table, and what somebody with the database might write there.
FORGED: dict[str, tuple[str, Any]] = {
    "api_token": ("digest", "f" * 128),
    "calibration": ("passed", False),
    "check_plan": ("months", 48),
    "counter_reading": ("value", 7.0),
    "defect": ("code", "lamp_mismatch"),
    "defect_step": ("kind", "released"),
    "depot": ("time_zone", "Europe/Berlin"),
    "driver_link": ("issued_at", FIRST_AT),
    "extra_reading": ("value", "13.9"),
    "inspection": ("evidence", '{"stage_readings": []}'),
    "installation": ("mounting", "elsewhere"),
    "invitation": ("role", "administrator"),
    "judgement": ("verdict", "undetermined"),
    "limits_revision": ("limits", "{}"),
    "member": ("role", "viewer"),
    "meter": ("accuracy_percent", 0.1),
    "meter_comparison": ("note", "agreed"),
    "organisation": ("calibration_required", True),
    "rating_revision": ("tolerance_lower_percent", 25.0),
    "relay_box_type": ("lamps", 3),
    "photo": ("caption", "another unit"),
    "retarder": ("serial_number", "S 2"),
    "retarder_type": ("designation", "Other"),
    "usage_counter": ("offset", 100.0),
    "vehicle": ("registration", "OTHER"),
}


def bad(organisation: Organisation, anchor: Anchor | None = None) -> BadEntry:
    checked = check_record(organisation, anchor=anchor)
    assert checked.bad is not None
    return checked.bad


def row_of(model: type[models.Model], organisation: Organisation) -> Any:
    rows: Any = model._base_manager.all()
    own = rows.filter(pk=organisation.pk) if model is Organisation else rows.filter(organisation=organisation)
    return own.order_by("-pk").first()


def set_column(table: str, row: Any, column: str, value: Any) -> None:
    with past_the_guards(table) as cursor:
        cursor.execute(f'UPDATE "{table}" SET "{column}" = %s WHERE uuid = %s', [value, uuid_in_sql(row)])


def uuid_in_sql(row: Any) -> Any:
    """Return the row's id as the database holds it: a token's key is its digest, and that may be what was changed."""
    return row._meta.get_field("uuid").get_db_prep_value(row.uuid, connection)


def test_a_book_written_by_the_services_alone_is_sound(db: None) -> None:
    checked = check_record(told_book().organisation)
    assert checked.bad is None
    assert checked.rows >= len(tracked_models())


@pytest.mark.committed
def test_a_row_of_any_tracked_table_changed_by_raw_sql_is_named(committed_db: None) -> None:
    assert set(FORGED) == set(tracked_models())
    book = told_book()
    for name, model in tracked_models().items():
        column, forged = FORGED[name]
        row, table = row_of(model, book.organisation), model._meta.db_table
        with connection.cursor() as cursor:
            cursor.execute(f'SELECT "{column}" FROM "{table}" WHERE uuid = %s', [uuid_in_sql(row)])
            (genuine,) = cursor.fetchone() or (None,)
        set_column(table, row, column, forged)
        found = check_record(book.organisation).bad
        assert found is not None, name
        assert (found.code, found.object_type, found.object_id) == ("row_differs", name, row.uuid), name
        assert found.sequence == last_entry(row).sequence, name
        set_column(table, row, column, genuine)
        assert check_record(book.organisation).is_sound, name


def last_entry(row: Any) -> AuditEntry:
    table: type[models.Model] = type(row)
    entries = AuditEntry.objects.filter(object_type=object_type(table), object_id=row.uuid)
    return entries.exclude(content_hash="").latest("sequence")


def test_the_columns_that_differ_are_named(db: None) -> None:
    book = told_book()
    type(book.ammeter).objects.filter(pk=book.ammeter.pk).update(accuracy_percent=0.1, resolution=0.5)
    found = bad(book.organisation)
    assert (found.code, found.columns) == ("row_differs", ("accuracy_percent", "resolution"))


def test_a_row_without_an_entry_and_one_that_is_gone_are_named(db: None) -> None:
    book = told_book()
    planted = RelayBoxType.objects.create(
        organisation=book.organisation,
        designation="Planted",
        stages=4,
        drive="relay",
        control_input="unknown",
        fuses="none",
    )
    found = bad(book.organisation)
    assert (found.code, found.sequence, found.object_id) == ("untold", None, planted.uuid)
    planted.delete()
    assert check_record(book.organisation).is_sound
    reading = row_of(tracked_models()["counter_reading"], book.organisation)
    sequence = last_entry(reading).sequence
    reading.delete()
    found = bad(book.organisation)
    assert (found.code, found.sequence, found.object_id) == ("row_missing", sequence, reading.uuid)


@pytest.fixture
def committed_book(committed_db: None) -> Book:
    """Return a book whose chain may be tampered with by the owner."""
    return told_book()


def tamper(statement: str, *values: Any) -> None:
    with past_the_guards("accounts_auditentry") as cursor:
        cursor.execute(statement, list(values))


@pytest.mark.committed
def test_an_altered_entry_is_named(committed_book: Book) -> None:
    of = committed_book.organisation.pk
    tamper("UPDATE accounts_auditentry SET reason = 'sold' WHERE organisation_id = %s AND sequence = 7", of)
    found = bad(committed_book.organisation)
    assert (found.code, found.sequence) == ("altered", 7)


@pytest.mark.committed
def test_an_entry_altered_together_with_its_row_and_hash_breaks_the_next(committed_book: Book) -> None:
    entry = AuditEntry.objects.get(organisation=committed_book.organisation, sequence=7)
    entry.reason = "sold"
    forged = chain_hash(entry.previous_hash, entry_record(entry))
    tamper("UPDATE accounts_auditentry SET reason = 'sold', hash = %s WHERE id = %s", forged, entry.pk)
    found = bad(committed_book.organisation)
    assert (found.code, found.sequence) == ("out_of_place", 8)


@pytest.mark.committed
def test_an_entry_taken_out_of_the_middle_is_named(committed_book: Book) -> None:
    of = committed_book.organisation.pk
    tamper("DELETE FROM accounts_auditentry WHERE organisation_id = %s AND sequence = 5", of)
    found = bad(committed_book.organisation)
    assert (found.code, found.sequence) == ("missing", 5)
    # Closing the gap does not help either.
    with past_the_guards("accounts_auditentry") as cursor:
        for sequence in range(6, check_record_head(committed_book) + 1):
            cursor.execute(
                "UPDATE accounts_auditentry SET sequence = %s WHERE organisation_id = %s AND sequence = %s",
                [sequence - 1, of, sequence],
            )
    found = bad(committed_book.organisation)
    assert (found.code, found.sequence) == ("out_of_place", 5)


def check_record_head(book: Book) -> int:
    return AuditHead.objects.get(organisation=book.organisation).sequence


@pytest.mark.committed
def test_two_entries_that_changed_places_are_named(committed_book: Book) -> None:
    of = committed_book.organisation.pk
    for new, old in ((0, 4), (4, 5), (5, 0)):
        tamper(
            "UPDATE accounts_auditentry SET sequence = %s WHERE organisation_id = %s AND sequence = %s", new, of, old
        )
    found = bad(committed_book.organisation)
    assert (found.code, found.sequence) == ("out_of_place", 4)


def anchor_of_check(book: Book) -> tuple[Checked, Anchor]:
    checked = check_record(book.organisation)
    root = checked.merkle_root
    return checked, anchor_of(
        book.organisation, sequence=checked.sequence, hash=checked.hash, merkle_root=root, at=FIRST_AT
    )


@pytest.mark.committed
def test_a_tail_cut_off_is_found_by_the_head_and_with_the_head_by_an_anchor(committed_book: Book) -> None:
    checked, anchor = anchor_of_check(committed_book)
    assert checked.is_sound
    of = committed_book.organisation.pk
    tamper("DELETE FROM accounts_auditentry WHERE organisation_id = %s AND sequence = %s", of, checked.sequence)
    found = bad_of_chain(committed_book)
    assert (found.code, found.sequence) == ("cut_off", checked.sequence)
    # With the head put back the chain is sound in itself; what is left is the row that the lost entry told of.
    head = AuditEntry.objects.get(organisation=of, sequence=checked.sequence - 1)
    AuditHead.objects.filter(organisation=of).update(sequence=head.sequence, hash=head.hash)
    assert bad(committed_book.organisation, anchor).code == "row_differs"
    chain_only = bad_of_chain(committed_book, anchor)
    assert (chain_only.code, chain_only.sequence) == ("cut_off_before_the_anchor", checked.sequence)


def bad_of_chain(book: Book, anchor: Anchor | None = None) -> BadEntry:
    """Return what the chain and the anchor alone show, as if every row had been made to fit."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("accounts.audit_check.misfits", lambda organisation, entries: (0, []))
        return bad(book.organisation, anchor)


@pytest.mark.committed
def test_a_chain_that_was_hashed_anew_is_off_its_anchor(committed_book: Book) -> None:
    checked, anchor = anchor_of_check(committed_book)
    entries = list(AuditEntry.objects.filter(organisation=committed_book.organisation).order_by("sequence"))
    previous = entries[0].previous_hash
    entries[2].reason = "invented"
    with past_the_guards("accounts_auditentry") as cursor:
        # From the end, so that no hash is taken while its old holder still has it.
        for entry in entries:
            entry.previous_hash = previous
            previous = entry.hash = chain_hash(previous, entry_record(entry))
        for entry in entries:
            cursor.execute(
                "UPDATE accounts_auditentry SET reason = %s, previous_hash = %s, hash = %s WHERE id = %s",
                [entry.reason, entry.previous_hash, entry.hash, entry.pk],
            )
    AuditHead.objects.filter(organisation=committed_book.organisation).update(hash=previous)
    assert check_record(committed_book.organisation).is_sound
    found = bad(committed_book.organisation, anchor)
    assert (found.code, found.sequence) == ("off_the_anchor", checked.sequence)


@pytest.mark.committed
def test_a_forged_entry_beyond_the_head_is_named(committed_book: Book) -> None:
    last = AuditEntry.objects.filter(organisation=committed_book.organisation).latest("sequence")
    last.pk, last.sequence, last.previous_hash = None, last.sequence + 1, last.hash
    last.hash = chain_hash(last.previous_hash, entry_record(last))
    last.save(force_insert=True)
    found = bad(committed_book.organisation)
    assert (found.code, found.sequence) == ("beyond_the_head", last.sequence)


def test_an_anchor_of_another_organisation_is_no_anchor(db: None) -> None:
    book, other = told_book(), told_book()
    _checked, anchor = anchor_of_check(other)
    assert bad(book.organisation, anchor).code == "anchor_of_another"


def test_the_database_itself_keeps_a_chain_from_forking(db: None) -> None:
    entry = AuditEntry.objects.filter(organisation=told_book().organisation).latest("sequence")
    entry.pk, entry.sequence = None, entry.sequence + 1
    with pytest.raises(IntegrityError):
        entry.save(force_insert=True)


@pytest.mark.committed
def test_services_at_once_keep_the_chain_whole_while_it_is_checked(committed_book: Book) -> None:
    def add(number: int) -> Any:
        with organisation_transaction(committed_book.organisation):
            serial = f"AT ONCE {number}"
            return add_retarder(committed_book.actor, retarder_type=committed_book.kind, serial_number=serial)

    def check(_number: int) -> Any:
        with organisation_transaction(committed_book.organisation):
            return check_record(committed_book.organisation)

    calls = [lambda number=number: (check if number % 4 == 0 else add)(number) for number in range(12)]
    results = at_once(calls)
    checks = [result for result in results if isinstance(result, Checked)]
    assert [checked.bad for checked in checks] == [None] * 3
    assert check_record(committed_book.organisation).is_sound
