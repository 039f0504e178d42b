"""A member of one organisation finds no page of another, at any address by any method, in any of the ids it holds.

What a stranger is answered about another organisation's row is, but for the id, byte for byte what is answered about a
row that does not exist.
"""

import re
from collections.abc import Iterator
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import get_resolver

from accounts.models import ApiToken, Invitation, Member
from accounts.roles import Role
from dashboard.lists import BookListView
from fleet.models import Installation, RetarderType, Vehicle
from inspections.models import Calibration, Defect, Inspection, Meter, Photo, Rejudging
from schedules.models import DueDate, Reminder
from tests import builders
from tests.accounts.tenant_tables import fill_every_table, row_of
from tests.api.full_house import furnish
from tests.api.routes import _walk
from tests.api.test_sealed import every_row_of, ids_of, secrets_of
from tests.builders import Workshop
from tests.naming import name

BOOK = "<slug:organisation>/"
METHODS = ["get", "post", "put", "patch", "delete"]
CONVERTER = re.compile(r"<(\w+):(\w+)>")
# What an id in an address names; a draft lies in its taker's own session.
ROWS: dict[str, Any] = {
    "calibration": Calibration,
    "defect": Defect,
    "draft": None,
    "due_date": DueDate,
    "inspection": Inspection,
    "installation": Installation,
    "invitation": Invitation,
    "member": Member,
    "meter": Meter,
    "photo": Photo,
    "rejudging": Rejudging,
    "reminder": Reminder,
    "retarder_type": RetarderType,
    "token": ApiToken,
    "type": RetarderType,
    "vehicle": Vehicle,
}
# What else stands in addresses.
WORDS = {"energised": "1", "why": "typing"}
PAGE = {"accept": "text/html"}
# Fresh in every answer.
TOKEN = re.compile(rb'(name="csrfmiddlewaretoken" value=")[^"]+|(nonce=")[^"]+|(X-CSRFToken[^:]*:[^"]*")[^"]+')


@pytest.fixture
def elsewhere(db: None) -> Workshop:
    """Return the stranger's own organisation, with rows of everything."""
    workshop = builders.workshop()
    furnish(workshop, 1)
    fill_every_table(workshop.organisation)
    return workshop


@pytest.fixture
def stranger(elsewhere: Workshop) -> Client:
    """Return an administrator's session in another organisation."""
    client = Client()
    client.force_login(builders.member(elsewhere.organisation, Role.ADMINISTRATOR).user)
    return client


@pytest.fixture
def house(stranger: Client, workshop: Workshop) -> Iterator[Workshop]:
    """Return an organisation with rows of everything; whatever a stranger does, they are the same afterwards."""
    furnish(workshop, 3)
    fill_every_table(workshop.organisation)
    before = every_row_of(workshop)
    yield workshop
    assert every_row_of(workshop) == before


def book_patterns() -> list[str]:
    """Return every address of a book, without the book's own part."""
    found = [pattern for pattern, _view in _walk(get_resolver().url_patterns, "")]
    return [pattern.removeprefix(BOOK) for pattern in found if pattern.startswith(BOOK)]


def places_in(pattern: str) -> list[str]:
    """Return the names of the ids in an address."""
    return [place for kind, place in CONVERTER.findall(pattern) if kind == "uuid"]


def address(slug: str, pattern: str, ids: dict[str, Any]) -> str:
    """Return the address with its ids and words filled in."""
    values = WORDS | ids
    filled = CONVERTER.sub(lambda found: str(values[found[2]]), pattern)
    assert not re.search(r"[<>(){}?^$*\\]", filled), f"nobody has said how to call {pattern}"
    return f"/{slug}/{filled}"


def rows_in(of: Workshop, places: list[str]) -> dict[str, Any]:
    """Return an id of the organisation's own for each place in an address."""
    name(of.organisation)
    return {place: uuid4() if ROWS[place] is None else row_of(ROWS[place], of.organisation).uuid for place in places}


def told(answer: Any, *asked: object) -> tuple[int, bytes, dict[str, str]]:
    """Return all that an answer tells, but for what was asked and what is fresh each time."""
    content: bytes = answer.content
    for each in asked:
        content = content.replace(str(each).encode(), b"ASKED")
    left_out = ("x-request-id", "content-length", "content-security-policy")
    headers = {key: str(value) for key, value in answer.items() if key.lower() not in left_out}
    for each in asked:
        headers = {key: value.replace(str(each), "ASKED") for key, value in headers.items()}
    return answer.status_code, TOKEN.sub(b"", content), headers


def test_another_book_answers_as_one_that_does_not_exist(house: Workshop, stranger: Client) -> None:
    slug = house.organisation.slug
    for pattern in book_patterns():
        foreign, unknown = rows_in(house, places_in(pattern)), {place: uuid4() for place in places_in(pattern)}
        for method, accept in [*((method, {}) for method in METHODS), ("get", PAGE)]:
            answer = getattr(stranger, method)(address(slug, pattern, foreign), headers=accept)
            assert answer.status_code == 404, (pattern, method)
            if method in ("get", "post"):
                nowhere = getattr(stranger, method)(address("nowhere-9", pattern, unknown), headers=accept)
                assert told(answer, slug, *foreign.values()) == told(nowhere, "nowhere-9", *unknown.values()), pattern


def test_a_row_of_another_book_is_not_found_in_ones_own(house: Workshop, stranger: Client, elsewhere: Workshop) -> None:
    slug, tried = elsewhere.organisation.slug, set()
    for pattern in book_patterns():
        places = places_in(pattern)
        for place in places:
            if ROWS[place] is None:
                continue
            own = rows_in(elsewhere, places)
            foreign, unknown = rows_in(house, [place])[place], uuid4()
            for method in ("get", "post"):
                call = getattr(stranger, method)
                answer = call(address(slug, pattern, own | {place: foreign}), headers=PAGE)
                nothing = call(address(slug, pattern, own | {place: unknown}), headers=PAGE)
                assert answer.status_code in {404, 405}, (pattern, place, method)
                assert told(answer, foreign) == told(nothing, unknown), (pattern, place, method)
                tried.add(place)
    assert tried == {place for place, model in ROWS.items() if model is not None}


def lists() -> Iterator[tuple[str, type[BookListView]]]:
    """Return the list pages with their classes."""
    for pattern, view in _walk(get_resolver().url_patterns, ""):
        page = getattr(view, "view_class", None)
        if page is not None and issubclass(page, BookListView) and not places_in(pattern.removeprefix(BOOK)):
            yield pattern.removeprefix(BOOK), page


def test_no_list_shows_a_stranger_a_row_and_no_filter_finds_one(
    house: Workshop, stranger: Client, elsewhere: Workshop
) -> None:
    secrets, slug = [*(secret.strip('"') for secret in secrets_of(house)), *ids_of(house)], elsewhere.organisation.slug
    unit = house.installation
    foreign = {"depot": unit.vehicle.depot.uuid, "person": row_of(Member, house.organisation).uuid}
    found = dict(lists())
    assert len(found) >= 10
    for pattern, page in found.items():
        at = address(slug, pattern, {})
        content = stranger.get(at).content.decode()
        assert not [secret for secret in secrets if re.search(rf"\b{re.escape(secret)}\b", content)], pattern
        for parameter, of_class in page.filter_class.base_filters.items():
            if hasattr(of_class, "queryset"):
                value, unknown = foreign[parameter], uuid4()
                answer, nothing = stranger.get(at, {parameter: value}), stranger.get(at, {parameter: unknown})
                assert told(answer, value) == told(nothing, unknown), (pattern, parameter)
        for text in (unit.vehicle.fleet_number, unit.retarder.serial_number):
            answer, nothing = stranger.get(at, {"q": text}), stranger.get(at, {"q": "nothing is so called"})
            typed, untold = (text, text.replace(" ", "+")), ("nothing is so called", "nothing+is+so+called")
            assert told(answer, *typed) == told(nothing, *untold), pattern
