"""The record of a check as a sheet: held item by item against what a report of a test has to say (ISO/IEC 17025:2017,
7.8.2.1 a to p, and 7.8.3, 7.8.6, 7.8.8), in our words."""

import datetime as dt
import re
from html import unescape
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from accounts.models import AuditEntry, Organisation
from accounts.roles import Role
from accounts.rows import change_row
from inspections.models import Inspection, Judgement
from inspections.services.extra import add_extra_reading
from tests import naming
from tests.dashboard.reading import shown, signed_in
from tests.inspections.told_book import Book, told_book


@pytest.fixture
def book(db: None) -> Book:
    """Return a book whose organisation has an address."""
    book = told_book()
    change_row(book.actor, Organisation.objects.get(pk=book.organisation.pk), {"address": "1 Pit Lane\nQuarrytown"})
    return book


@pytest.fixture
def client(book: Book) -> Client:
    return signed_in(book.organisation)


def failed(book: Book) -> Inspection:
    return Inspection.objects.filter(organisation=book.organisation).order_by("pk")[0]


def items(html: str) -> dict[str, str]:
    """Return the text of each item of the list, by its letter or name."""
    parts = re.split(r'data-item="([\w-]+)"', html)[1:]
    texts = (re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", f"<{part}"))) for part in parts[1::2])
    found: dict[str, str] = {}
    for letter, text in zip(parts[::2], texts, strict=True):
        found[letter] = found.get(letter, "") + text
    return found


def test_the_sheet_says_everything_a_report_has_to_say(book: Book, client: Client) -> None:
    check = failed(book)
    told = items(shown(client, book.organisation, f"checks/{check.uuid}/record/"))
    has_to_say = {
        "a": ["Record of a retarder check"],
        "b": ["Quarry", "1 Pit Lane", "Quarrytown"],
        "c": ["depot North", "Europe/London"],
        "d": [str(check.uuid)],
        "e": ["Quarry"],
        "f": [f"method version {check.method_version}"],
        "g": ["Q 1", "12 V"],
        "h": ["GMT"],
        "i": ["2 Mar 2026 09:30 GMT", str(check.recorded_by)],
        "j": [str(dt.datetime.now(dt.UTC).year)],
        "k": ["none was taken as a sample"],
        "l": ["about nothing else"],
        "m": ["A ± ", "Stage", "Limits", "k"],
        "n": ["not checked"],
        "o": [str(check.signed_by), "Signed as responsible"],
        "p": ["certificates name"],
        "conformity": ["Outside limits"],
        "rule": ["Decision rule: simple", "−10 % +10 %", "plate (test)"],
        "equipment": ["Clamp", "calibrated 5 Jan 2026, due 5 Jan 2027", "36.3", "Volts at the output"],
        "rating": ["35.5; 35.5; 35.5; 35.5 A at 14 V and 20 °C", "plate (test)"],
        "judgements": ["rating revision 1", "rating revision 2", "new rating"],
        "cautions": ["Parking brake on", "does not hold a stationary vehicle", "local codes", "licensed practice"],
        "audit": ["check: recorded", "judgement: judged", "reading added to a check: recorded"],
        "hash": [check.content_hash],
        "in-full": ["except in full"],
        "end": ["End of the record", f"Record {check.uuid}"],
    }
    for letter, sentences in has_to_say.items():
        for sentence in sentences:
            assert sentence in told[letter], (letter, sentence)


def test_both_sides_of_a_replacement_name_the_other_and_the_reason(book: Book, client: Client) -> None:
    old = Inspection.objects.get(organisation=book.organisation, superseded_by__isnull=False)
    new = old.superseded_by
    assert new is not None
    for check, other in ((old, new), (new, old)):
        told = items(shown(client, book.organisation, f"checks/{check.uuid}/record/"))["amended"]
        assert str(other.uuid) in told
        assert "mistyped" in told


def test_an_unsigned_record_says_that_it_is_not_released(book: Book, client: Client) -> None:
    from inspections.services.record import record_inspection

    check = record_inspection(book.actor, book.document(days=5, sign=False)).inspection
    assert (
        "Not signed: this record is not released"
        in items(shown(client, book.organisation, f"checks/{check.uuid}/record/"))["o"]
    )


def test_the_hashes_of_entries_are_printed_for_who_manages_the_book(book: Book) -> None:
    check = failed(book)
    hashes = AuditEntry.objects.filter(organisation=book.organisation, object_id=check.uuid).values_list(
        "hash", flat=True
    )
    for role in Role:
        naming.name(book.organisation)
        html = shown(signed_in(book.organisation, role), book.organisation, f"checks/{check.uuid}/record/")
        manages = role in (Role.MANAGER, Role.ADMINISTRATOR)
        assert [each in html for each in hashes] == [manages] * len(hashes), role
    assert hashes


def test_the_result_and_the_working_lead_to_it(book: Book, client: Client) -> None:
    address = f"checks/{failed(book).uuid}/"
    for page in (address, f"{address}working/"):
        assert f'href="/{book.organisation.slug}/{address}record/"' in shown(client, book.organisation, page)


def test_it_costs_the_same_however_much_there_is(book: Book, client: Client) -> None:
    check = failed(book)
    counts = []
    for number in (1, 9):
        for _each in range(number):
            add_extra_reading(book.actor, check.uuid, reading())
        with CaptureQueriesContext(connection) as captured:
            shown(client, book.organisation, f"checks/{check.uuid}/record/")
        counts.append(len(captured))
    assert counts[0] == counts[1]
    assert Judgement.objects.filter(inspection=check).count() == 2


def reading() -> dict[str, Any]:
    from uuid import uuid4

    return {"id": uuid4(), "kind": "output_voltage", "stage": 1, "value": 13.9, "energised": [1]}
