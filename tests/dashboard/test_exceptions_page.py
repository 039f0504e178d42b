"""Exceptions: each kind is listed in its period and depot, with the page where the evidence stands."""

import datetime as dt
import re
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from accounts.actors import Actor, member_actor
from accounts.models import Member
from accounts.roles import Role
from accounts.services.organisations import add_depot
from inspections.exceptions import EXCEPTIONS
from inspections.models import Defect
from inspections.services.calibrations import record_calibration
from inspections.services.defect_life import certify_repair_unnecessary
from inspections.services.record import record_inspection
from tests.dashboard.reading import shown, signed_in
from tests.inspections.told_book import FIRST_AT, Book, told_book

ALWAYS = {"since": "2020-01-01", "until": "2090-01-01"}


@pytest.fixture
def book(db: None) -> Book:
    """Return a book with at least one exception of each kind."""
    book = told_book()
    # Stored a week after the reading, and a minute before it.
    for days, delay in ((10, dt.timedelta(days=7)), (11, dt.timedelta(minutes=-1))):
        at = FIRST_AT + dt.timedelta(days=days)
        record_inspection(book.actor, book.document(days=days), received_at=at + delay)
    record_inspection(book.actor, book.document(days=12, stage_readings=[], stages_not_read=NOT_READ))
    record_calibration(book.actor, book.voltmeter, performed_on=dt.date(2026, 1, 5), due_on=dt.date(2026, 3, 1))
    record_inspection(book.actor, book.document(days=13))
    defect = Defect.objects.filter(organisation=book.organisation, closed_at__isnull=True).order_by("pk")[0]
    certify_repair_unnecessary(book.actor, defect, reason="driver mistook the lever")
    return book


NOT_READ = [{"stage": stage, "reason": "no access"} for stage in (1, 2, 3, 4)]


def sections(html: str) -> dict[str, list[str]]:
    """Return the rows of each kind."""
    parts = re.split(r'<h2 id="([a-z_]+)">', html)[1:]
    return {
        kind: re.findall(r'<tr><td class="nowrap">.*?</tr>', part)
        for kind, part in zip(parts[::2], parts[1::2], strict=True)
    }


def test_every_kind_is_listed_and_leads_to_its_evidence(book: Book) -> None:
    client = signed_in(book.organisation)
    found = sections(shown(client, book.organisation, "exceptions/", **ALWAYS))
    assert set(found) == set(EXCEPTIONS)
    told = {
        "replaced": "mistyped",
        "judged_anew": "new rating",
        "received_late": "168 hours after the reading",
        "clock_flagged": "1.0 minutes ahead",
        "meter_out_of_date": "Voltmeter: ",
        "limits_changed": "plate read again",
        "without_a_verdict": "read by",
        "repair_unnecessary": "driver mistook the lever",
    }
    for kind, sentence in told.items():
        assert any(sentence in row for row in found[kind]), kind
        for address in re.findall(r'href="([^"]+)"', "".join(found[kind])):
            assert client.get(address).status_code == 200
    assert sum("168 hours after the reading" in row for row in found["received_late"]) == 1
    assert len(found["clock_flagged"]) == 1
    assert any("decision rule" in row for row in found["limits_changed"])


def test_a_period_and_a_depot_narrow_them(book: Book) -> None:
    client = signed_in(book.organisation)
    before = shown(client, book.organisation, "exceptions/", since="2020-01-01", until="2020-02-01")
    assert sections(before) == {}
    assert before.count("No exceptions in these days.") == 1
    other = add_depot(book.actor, name="South", time_zone="Europe/London")
    found = sections(shown(client, book.organisation, "exceptions/", depot=str(other.uuid), **ALWAYS))
    assert set(found) == {"limits_changed"}
    assert not any("plate read again" in row for row in found["limits_changed"])
    own = book.installation.vehicle.depot
    html = shown(client, book.organisation, "exceptions/", depot=str(own.uuid), **ALWAYS)
    assert set(sections(html)) == set(EXCEPTIONS)
    assert "No exceptions" not in html


def test_without_a_period_the_last_thirty_days_are_shown(book: Book) -> None:
    html = shown(signed_in(book.organisation), book.organisation, "exceptions/")
    assert f'value="{timezone.now().date()}"' in html
    found = sections(html)
    assert ("without_a_verdict" in found, "judged_anew" in found) == (False, True)


@pytest.mark.parametrize(
    "query", [{"since": "never"}, {"since": "2026-02-02", "until": "2026-02-01"}, {"depot": "1"}, {"kind": "all"}]
)
def test_what_cannot_be_asked_is_refused_at_its_field(book: Book, query: dict[str, str]) -> None:
    html = shown(signed_in(book.organisation), book.organisation, "exceptions/", **query)
    assert 'class="fault"' in html
    assert sections(html) == {}
    assert "No exceptions" not in html


def acting(client: Client, book: Book) -> Actor:
    member = Member.objects.get(organisation=book.organisation, user_id=client.session["_auth_user_id"])
    return member_actor(member, source="test")


def test_more_than_a_few_lie_behind_a_link_and_are_paged(book: Book) -> None:
    client = signed_in(book.organisation, Role.TECHNICIAN)
    for number in range(60):
        document = book.document(days=20 + number, stage_readings=[], stages_not_read=NOT_READ)
        record_inspection(acting(client, book), document, received_at=document["performed_at"])
    html = shown(client, book.organisation, "exceptions/", **ALWAYS)
    assert len(sections(html)["without_a_verdict"]) == 10
    assert "kind=without_a_verdict" in html
    first = shown(client, book.organisation, "exceptions/", kind="without_a_verdict", **ALWAYS)
    (after,) = re.findall(r"after=([^&\"]+)", first)
    second = shown(client, book.organisation, "exceptions/", kind="without_a_verdict", after=after, **ALWAYS)
    rows = sections(first)["without_a_verdict"] + sections(second)["without_a_verdict"]
    assert len(rows) == len(set(rows)) == 61


def test_it_costs_the_same_for_few_and_for_many(book: Book) -> None:
    client = signed_in(book.organisation)
    counts = []
    for days in (30, 60):
        for number in range(4):
            document = book.document(days=days + number, stage_readings=[], stages_not_read=NOT_READ)
            record_inspection(book.actor, document)
        shown(client, book.organisation, "exceptions/", **ALWAYS)
        with CaptureQueriesContext(connection) as captured:
            shown(client, book.organisation, "exceptions/", **ALWAYS)
        counts.append(len(captured))
    assert counts[0] == counts[1]


def test_a_trainee_may_look_too(book: Book) -> None:
    answer: Any = signed_in(book.organisation, Role.TRAINEE).get(f"/{book.organisation.slug}/exceptions/")
    assert answer.status_code == 200
