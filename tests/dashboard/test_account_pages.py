"""One's own account: books, password, second step, sessions."""

import datetime as dt
import re
from collections import Counter
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.utils import timezone

from accounts.errors import Refused
from accounts.models import Member, Organisation, Session, User
from accounts.roles import Role
from accounts.services.guesses import OWN_GUESSES_BY, OWN_GUESSES_OF, refuse_wrong_own_password
from accounts.services.two_step import device_of
from dashboard import account_urls
from tests import builders
from tests.accounts.codes import shown_by
from tests.accounts.threads import at_once

PASSWORD = "seven hollow coils"
CHROME = "Mozilla/5.0 (Linux; Android 14) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/120.0 Mobile Safari/537.36"
PAGES = ["", "password/", "sessions/", "second-step/"]
WITH_A_DEVICE = ["second-step/codes/", "second-step/off/"]
FORMS_ALONE = ["sessions/end-others/", "sessions/<slug:reference>/end/"]


@pytest.fixture
def member(db: None) -> Member:
    """Return a member with a password."""
    made = builders.member(builders.organisation(), Role.ADMINISTRATOR)
    made.user.set_password(PASSWORD)
    made.user.save()
    return made


def signed_in(user: User, **headers: str) -> Client:
    client = Client(headers=headers)
    answer = client.post("/sign-in/", {"username": user.username, "password": PASSWORD})
    assert answer.status_code == 302
    return client


def set_up(client: Client) -> list[str]:
    """Go through setting the second step up, and return the codes to fall back on."""
    html = client.get("/account/second-step/").content.decode()
    assert "<svg" in html
    answer = client.post("/account/second-step/", {"code": shown_by(client.session["second_step_key"])})
    assert answer.headers["cache-control"] == "no-store"
    return re.findall(r"[A-Z2-7]{4}(?:-[A-Z2-7]{4}){3}", answer.content.decode())


def test_every_page_asks_a_stranger_to_sign_in(db: None) -> None:
    assert {str(each.pattern) for each in account_urls.urlpatterns} == {*PAGES, *WITH_A_DEVICE, *FORMS_ALONE}
    for page in [*PAGES, *WITH_A_DEVICE, "sessions/end-others/"]:
        answer: Any = Client().get(f"/account/{page}")
        assert (answer.status_code, answer["location"]) == (302, f"/sign-in/?next=/account/{page}")


def test_the_books_one_is_in_are_listed_and_those_that_ended_are_not(member: Member) -> None:
    second, ended, removed = (builders.organisation() for _number in range(3))
    builders._insert(Member, second, user=member.user, role="viewer")
    builders._insert(Member, ended, user=member.user, role="viewer", ends_on=dt.date(2026, 1, 1))
    builders._insert(Member, removed, user=member.user, role="viewer", removed_at=timezone.now())
    client = signed_in(member.user)
    for page in ("/account/", "/"):
        html = client.get(page).content.decode()
        shown = [book for book in (member.organisation, second, ended, removed) if book.name in html]
        assert shown == [member.organisation, second]


def test_a_new_password_ends_every_other_session_and_keeps_this_one(member: Member) -> None:
    here, there = signed_in(member.user), signed_in(member.user)
    new = {"old_password": PASSWORD, "new_password": "eight hollow coils", "again": "eight hollow coils"}
    assert here.post("/account/password/", new)["location"] == "/account/"
    assert here.get("/account/").status_code == 200
    assert there.get("/account/").status_code == 302
    assert Session.objects.filter(user=member.user).count() == 1


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"old_password": "not the one"}, "That is not your present password."),
        ({"again": "nine hollow coils"}, "This is not what was typed above."),
        ({"new_password": "short", "again": "short"}, "too short"),
        ({"new_password": "password123", "again": "password123"}, "too common"),
        ({"new_password": "384756201938", "again": "384756201938"}, "entirely numeric"),
    ],
)
def test_a_password_that_is_not_taken_says_why(member: Member, change: dict[str, str], sentence: str) -> None:
    sent = {"old_password": PASSWORD, "new_password": "eight hollow coils", "again": "eight hollow coils"} | change
    assert sentence in signed_in(member.user).post("/account/password/", sent).content.decode()
    assert User.objects.get(pk=member.user.pk).check_password(PASSWORD)


def test_sessions_are_listed_in_plain_words_and_ended_singly(member: Member) -> None:
    here, there = signed_in(member.user), signed_in(member.user, **{"user-agent": CHROME})
    html = here.get("/account/sessions/").content.decode()
    assert "Chrome on Android" in html
    for session in Session.objects.all():
        assert session.session_key not in html
    (ending,) = re.findall(r'action="(/account/sessions/[0-9a-f]{32}/end/)"', html)
    assert here.post(ending).status_code == 302
    assert there.get("/account/").status_code == 302
    assert here.get("/account/").status_code == 200
    assert here.post(ending).status_code == 404


def test_nobody_ends_a_session_of_somebody_else(member: Member) -> None:
    client = signed_in(member.user)
    signed_in(member.user)
    (ending,) = re.findall(
        r'action="(/account/sessions/[0-9a-f]{32}/end/)"', client.get("/account/sessions/").content.decode()
    )
    stranger = Client()
    stranger.force_login(builders.member(builders.organisation()).user)
    assert stranger.post(ending).status_code == 404
    assert Session.objects.filter(user=member.user).count() == 2


def test_all_other_sessions_end_at_once(member: Member) -> None:
    here, *others = (signed_in(member.user) for _number in range(3))
    assert (
        "2 other browsers are signed out." in here.post("/account/sessions/end-others/", follow=True).content.decode()
    )
    assert [client.get("/account/").status_code for client in (here, *others)] == [200, 302, 302]


def test_a_session_is_seen_to_the_minute(member: Member) -> None:
    client = signed_in(member.user)
    at = timezone.now()
    with time_machine.travel(at + dt.timedelta(seconds=200), tick=False):
        client.get("/account/")
    session = Session.objects.get(user=member.user)
    assert 199 <= (session.last_seen_at - at).total_seconds() <= 201
    assert session.started_at < at


def test_a_session_that_passes_the_second_step_goes_on_under_a_new_key(member: Member) -> None:
    client = signed_in(member.user)
    before = client.session.session_key
    assert set_up(client)
    after = client.session.session_key
    assert before != after
    assert [row.session_key for row in Session.objects.filter(user=member.user)] == [after]


def test_the_second_step_is_set_up_by_its_first_code_and_ends_other_sessions(member: Member) -> None:
    here, there = signed_in(member.user), signed_in(member.user)
    assert len(set(set_up(here))) == 10
    assert device_of(member.user) is not None
    assert there.get("/account/").status_code == 302
    assert "It is on" in here.get("/account/second-step/").content.decode()


def test_the_key_stays_the_same_until_its_first_code(member: Member) -> None:
    client = signed_in(member.user)
    client.get("/account/second-step/")
    key = client.session["second_step_key"]
    assert "That code is not right" in client.post("/account/second-step/", {"code": "000000"}).content.decode()
    assert client.session["second_step_key"] == key


def test_it_is_turned_off_with_password_and_code(member: Member) -> None:
    client = signed_in(member.user)
    codes = set_up(client)
    wrong = client.post("/account/second-step/off/", {"password": "not the one", "code": codes[0]})
    assert "That is not your password." in wrong.content.decode()
    assert client.post("/account/second-step/off/", {"password": PASSWORD, "code": codes[0]}).status_code == 302
    assert device_of(member.user) is None


def test_new_codes_are_shown_once(member: Member) -> None:
    client = signed_in(member.user)
    old = set_up(client)
    answer = client.post("/account/second-step/codes/", {"code": old[0]})
    new = re.findall(r"[A-Z2-7]{4}(?:-[A-Z2-7]{4}){3}", answer.content.decode())
    assert len(new) == 10
    assert not set(new) & set(old)
    assert new[0] not in client.get("/account/second-step/").content.decode()


def test_a_book_that_asks_for_a_second_step_leads_who_has_none_to_set_it_up(member: Member) -> None:
    book = member.organisation
    client = signed_in(member.user)
    assert client.post(f"/{book.slug}/people/two-step/", {"required": "1"}).status_code == 302
    assert Organisation.objects.get(pk=book.pk).two_step_required
    led: Any = client.get(f"/{book.slug}/people/")
    assert led["location"] == f"/account/second-step/?next=%2F{book.slug}%2Fpeople%2F"
    codes = set_up(client)
    assert client.get(f"/{book.slug}/people/").status_code == 200
    later = signed_in(member.user)
    later.post("/sign-in/code/", {"code": codes[0]})
    assert later.get(f"/{book.slug}/people/").status_code == 200


def test_a_session_without_the_step_is_asked_for_the_code_only(member: Member) -> None:
    book = member.organisation
    codes = set_up(signed_in(member.user))
    Organisation.objects.filter(pk=book.pk).update(two_step_required=True)
    client = Client()
    client.force_login(member.user)
    assert client.get(f"/{book.slug}/people/")["location"].startswith("/sign-in/code/?next=")
    answer = client.post("/sign-in/code/", {"code": codes[0], "next": f"/{book.slug}/people/"})
    assert answer["location"] == f"/{book.slug}/people/"
    assert client.get(f"/{book.slug}/people/").status_code == 200


def test_ones_own_password_is_guessed_five_times_and_no_more_wherever_the_session_is(member: Member) -> None:
    client = signed_in(member.user)
    sent = {"old_password": "not the one", "new_password": "eight hollow coils", "again": "eight hollow coils"}

    def changed(address: str = "127.0.0.1", **fields: str) -> Any:
        return client.post("/account/password/", sent | fields, REMOTE_ADDR=address)

    for number in range(5):
        said = changed(f"198.51.100.{number}").content.decode()
        assert "That is not your present password." in said
    right = {"old_password": PASSWORD}
    assert "Too many wrong passwords. Try again in 15 minutes." in changed(**right).content.decode()
    assert User.objects.get(pk=member.user.pk).check_password(PASSWORD)
    with time_machine.travel(timezone.now() + dt.timedelta(minutes=16), tick=False):
        assert changed(**right).status_code == 302


def change_of(client: Client, old: str, **extra: str) -> str:
    sent = {"old_password": old, "new_password": "eight hollow coils", "again": "eight hollow coils"}
    return str(client.post("/account/password/", sent, **extra).content.decode())  # type: ignore[arg-type]


def test_failed_sign_ins_keep_nobody_from_changing_their_password(member: Member) -> None:
    client = signed_in(member.user)
    person, forged = member.user, Client(headers={"user-agent": OWN_GUESSES_BY})
    for name in (person.username, OWN_GUESSES_OF.format(person.uuid)):
        for _try in range(5):
            forged.post("/sign-in/", {"username": name, "password": "no"}, REMOTE_ADDR="198.51.100.7")
    change_of(client, PASSWORD)
    person.refresh_from_db()
    assert person.check_password("eight hollow coils")


def test_guesses_inside_a_session_and_sign_ins_are_counted_apart(member: Member) -> None:
    client = signed_in(member.user)
    for _try in range(5):
        assert "That is not your present password." in change_of(client, "not the one")
    signed_in(member.user)
    assert "Too many wrong passwords." in change_of(client, "not the one")
    signed_in(member.user)


@pytest.mark.committed
def test_of_many_guesses_at_once_no_more_are_looked_at_than_may_be(committed_db: None) -> None:
    member = builders.member(builders.organisation())

    def guessed() -> str:
        try:
            refuse_wrong_own_password(member.user, "not the one", field="old_password", wrong="Wrong.")
        except Refused as refused:
            return refused.faults[0].code
        return "right"

    assert Counter(at_once([guessed] * 9)) == {"wrong": 5, "locked": 4}
