"""What nobody types: pages answer it as they answer a mistake, and never fail over it."""

import base64

import pytest
from django.test import Client

from accounts.roles import Role
from inspections.models import Photo
from schedules.models import DueDate
from tests import builders
from tests.api.full_house import furnish
from tests.builders import Workshop

PAGE = {"accept": "text/html"}
NUL = "a\x00b"
PLACES = [
    "[Infinity]", "[1e400]", "[NaN]", '["\\u0000"]', '["\\ud800"]', '["0001-01-01T00:00:00+14:00"]',
    '["9999-12-31T23:59:59-14:00"]', f"[{'9' * 3000}]", "[" * 2900, "[" + "9" * 30 + "]",
]  # fmt: skip


@pytest.fixture
def manager(workshop: Workshop) -> Client:
    """Return the session of a manager of the workshop."""
    client = Client()
    client.force_login(builders.member(workshop.organisation, Role.MANAGER).user)
    return client


def in_book(workshop: Workshop, rest: str) -> str:
    return f"/{workshop.organisation.slug}/{rest}"


@pytest.mark.parametrize("text", PLACES)
@pytest.mark.parametrize("page", ["vehicles/", "checks/", "due/", "tokens/", "history/"])
def test_a_made_up_place_in_a_list_is_not_found(workshop: Workshop, manager: Client, page: str, text: str) -> None:
    columns = 2 if page != "history/" else 1
    of_as_many = f"[{','.join([text[1:-1]] * columns)}]" if text.endswith("]") else text
    place = base64.urlsafe_b64encode(of_as_many.encode()).decode().rstrip("=")
    for side in ("after", "before"):
        assert manager.get(in_book(workshop, page), {side: place}, headers=PAGE).status_code in (200, 404)


@pytest.mark.parametrize("page", ["check/", "vehicles/", "history/", "exceptions/"])
def test_a_search_for_what_no_text_holds_is_answered(workshop: Workshop, manager: Client, page: str) -> None:
    asked = {"q": NUL, "since": "0001-01-01", "until": "9999-12-31", "page": "9" * 5000}
    assert manager.get(in_book(workshop, page), asked, headers=PAGE).status_code == 200


def test_what_no_text_holds_is_left_out_of_a_reason(workshop: Workshop, manager: Client) -> None:
    furnish(workshop, 1)
    photo = Photo.objects.of(workshop.organisation).filter(withdrawn_at__isnull=True)[0]
    address = in_book(workshop, f"photos/{photo.uuid}/withdraw/")
    assert manager.post(address, {"reason": "\x00 "}, headers=PAGE).status_code == 302
    photo.refresh_from_db()
    assert photo.withdrawn_at is None
    assert manager.post(address, {"reason": NUL}, headers=PAGE).status_code == 302
    photo.refresh_from_db()
    assert photo.withdrawn_reason == "ab"


def test_a_due_date_is_settled_with_a_reason_that_can_be_stored(workshop: Workshop, manager: Client) -> None:
    furnish(workshop, 1)
    due = DueDate.objects.of(workshop.organisation)[0]
    DueDate.objects.filter(pk=due.pk).update(verdict_changed=True)
    address = in_book(workshop, f"due/{due.uuid}/settle/")
    for reason, still_open in (("\x00", True), (NUL, False)):
        assert manager.post(address, {"reason": reason}, headers=PAGE).status_code == 302
        due.refresh_from_db()
        assert due.verdict_changed is still_open


@pytest.mark.parametrize("length", ["12648449", "9" * 400])
@pytest.mark.parametrize("address", ["/sign-in/", "/driver/nothing/", "/api/v1/photos/"])
def test_a_body_that_nothing_takes_is_not_read(db: None, address: str, length: str) -> None:
    answer = Client().post(address, b"x", content_type="multipart/form-data; boundary=b", CONTENT_LENGTH=length)
    assert answer.status_code == 413
    assert answer["Content-Type"] == "application/problem+json"
    page = Client().post(address, b"x", content_type="text/plain", CONTENT_LENGTH=length, headers=PAGE)
    assert page.status_code == 413


@pytest.mark.parametrize("key", ['"aaaaaaaa\\000aaaaaaaa"', '"\\377\\376aaaaaaaa"', "é" * 20])
def test_a_session_cookie_that_no_session_has_is_nobody(db: None, key: str) -> None:
    for address in ("/", "/sign-in/"):
        answer = Client().get(address, headers={"cookie": f"sessionid={key}", **PAGE})
        assert answer.status_code in (200, 302)
