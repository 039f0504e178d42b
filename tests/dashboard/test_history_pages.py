"""History: every deed in words, with what it was before, for the organisation and for each object."""

import re
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from accounts.actors import member_actor
from accounts.roles import Role
from accounts.services.organisations import add_depot
from accounts.tracking import IDENTITY_COLUMNS, covered_columns, tracked_models
from dashboard.records.action_words import ACTIONS, KINDS, OBJECTS
from dashboard.records.column_words import COLUMNS
from dashboard.records.families import FAMILIES
from fleet.services import change_vehicle
from inspections.models import Defect, Inspection
from tests import builders
from tests.builders import Workshop
from tests.dashboard.reading import shown, signed_in
from tests.inspections.told_book import Book, told_book

ROOT = Path(__file__).parents[2]
ROOMS = ("accounts", "fleet", "schedules", "inspections")
ACTION = re.compile(
    r'Deed\(\s*"([a-z_]+)"|action="([a-z_]+)"|tell_of_person\(\w+, "([a-z_]+)"|action: str = "([a-z_]+)"'
)


def test_every_action_of_a_service_has_a_word() -> None:
    sources = [path.read_text() for room in ROOMS for path in (ROOT / room).rglob("*.py")]
    found = {word for source in sources for match in ACTION.findall(source) for word in match if word}
    assert len(found) > 30
    assert found <= set(ACTIONS)


def test_every_tracked_table_and_column_has_a_word_and_a_place() -> None:
    assert set(OBJECTS) == set(tracked_models()) | {"user"}
    placed = [name for _kind, _word, names in KINDS for name in names]
    assert sorted(placed) == sorted(OBJECTS)
    for name, model in tracked_models().items():
        spoken = {each.name for each in covered_columns(model) if each.attname not in IDENTITY_COLUMNS}
        unspoken = {column.removesuffix("_id") for column in model.tracking.unspoken}  # type: ignore[attr-defined]
        levels = {each for each in spoken if re.fullmatch(r"(level|u)_\w+|\w*upstream\w*|\w*shared_ground\w*", each)}
        assert not spoken - unspoken - levels - set(COLUMNS), name


@pytest.fixture
def book(db: None) -> Book:
    """Return a book with deeds of every kind."""
    return told_book()


@pytest.fixture
def manager(book: Book) -> Client:
    return signed_in(book.organisation)


def text_of(html: str) -> str:
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", html.partition("<main")[2])))


def test_a_change_is_told_with_who_when_and_what_it_was(book: Book, manager: Client) -> None:
    elsewhere = add_depot(book.actor, name="South", time_zone="Europe/London")
    change_vehicle(book.actor, book.installation.vehicle, registration="NEW 1", depot=elsewhere)
    told = text_of(shown(manager, book.organisation, "history/"))
    assert "registration: – → NEW 1" in told
    assert "depot: North → South" in told
    assert str(book.actor.user) in told
    assert "Times in Europe/London." in told


def test_each_kind_of_object_has_its_own_history(book: Book, manager: Client) -> None:
    defect = Defect.objects.get(organisation=book.organisation, stage=2)
    replaced = Inspection.objects.get(organisation=book.organisation, superseded_by__isnull=False)
    told = {
        "vehicles": (book.installation.vehicle.uuid, ["vehicle Q 1", "counter reading", "driver's link"]),
        "fittings": (book.installation.uuid, ["check plan", "every so many months: 6 → 5"]),
        "checks": (replaced.uuid, ["replaced by another check : mistyped", "judged anew : new rating", "verdict:"]),
        "meters": (book.ammeter.uuid, ["calibration", "calibration due on: – → 5 Jan 2027"]),
        "defects": (defect.uuid, ["release decided : not on the pass", "state: open → repaired", "joint cleaned"]),
        "ratings": (book.kind.uuid, ["rating", "added : plate read again"]),
        "people": (book.organisation_members()[0].uuid, ["member", "role: administrator"]),
    }
    assert len(told) == len(FAMILIES)
    for word, (uuid, sentences) in told.items():
        page = text_of(shown(manager, book.organisation, f"history/{word}/{uuid}/"))
        for sentence in sentences:
            assert sentence in page, (word, sentence)


def test_it_is_narrowed_by_kind_person_and_day(book: Book, manager: Client) -> None:
    rows = {
        "all": entries(shown(manager, book.organisation, "history/")),
        "meters": entries(shown(manager, book.organisation, "history/", kind="meters")),
        "nobody": entries(shown(manager, book.organisation, "history/", since="2090-01-01")),
        "before": entries(shown(manager, book.organisation, "history/", until="2020-01-01")),
    }
    other = next(member for member in book.organisation_members() if member.user != book.actor.user)
    of_other = shown(manager, book.organisation, "history/", person=str(other.uuid))
    assert 0 < len(rows["meters"]) < len(rows["all"])
    assert (rows["nobody"], rows["before"], entries(of_other)) == ([], [], [])
    assert 'class="fault"' in shown(manager, book.organisation, "history/", since="never")


def entries(html: str) -> list[str]:
    return re.findall(r'<td class="number">(\d+)</td>', html)


def test_who_does_not_manage_sees_no_deeds_about_access_and_no_addresses(book: Book) -> None:
    viewer = signed_in(book.organisation, Role.VIEWER)
    page = text_of(shown(viewer, book.organisation, "history/", kind="people"))
    assert "Nothing fits these filters." in page
    member = book.organisation_members()[0]
    answer: Any = viewer.get(f"/{book.organisation.slug}/history/people/{member.uuid}/")
    assert answer.status_code == 403


def test_it_costs_the_same_for_few_and_for_many_entries(workshop: Workshop) -> None:
    client = signed_in(workshop.organisation)
    actor = member_actor(builders.member(workshop.organisation, Role.MANAGER), source="test")
    counts = []
    for more in (3, 30):
        for number in range(more):
            depot = add_depot(actor, name=f"Depot {more} {number}", time_zone="Europe/London")
            change_vehicle(actor, workshop.installation.vehicle, depot=depot)
        with CaptureQueriesContext(connection) as captured:
            shown(client, workshop.organisation, "history/")
        counts.append(len(captured))
    assert counts[0] == counts[1]
