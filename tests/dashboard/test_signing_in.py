"""Signing in by password and code: what is said, what is counted, when it locks."""

import datetime as dt
import re
from typing import Any

import pytest
import time_machine
from axes.models import AccessAttempt
from django.test import Client
from django.utils import timezone

from accounts.models import Session, User
from dashboard.known_browsers import COOKIE, GOOD_FOR_S
from dashboard.views.sign_in import _warn_of_unknown_proxy
from tests import builders
from tests.accounts.codes import next_code_of, with_second_step

PASSWORD = "seven hollow coils"
FIREFOX = "Mozilla/5.0 (Windows NT 10.0; Win64; x64; rv:128.0) Gecko/20100101 Firefox/128.0"


@pytest.fixture
def person(db: None) -> User:
    """Return a member with a password."""
    user = builders.member(builders.organisation()).user
    user.set_password(PASSWORD)
    user.save()
    return user


def sign_in(client: Client, name: str, password: str = PASSWORD, **extra: Any) -> Any:
    return client.post("/sign-in/", {"username": name, "password": password, "next": ""}, **extra)


def is_signed_in(client: Client) -> bool:
    return "_auth_user_id" in client.session


def told(answer: Any) -> str:
    """Return the page without what is new each time."""
    return re.sub(r'value="[^"]*"', "", answer.content.decode())


def test_a_session_begins_with_when_where_and_by_what(person: User) -> None:
    client = Client(headers={"user-agent": FIREFOX})
    assert sign_in(client, person.username).status_code == 302
    session = Session.objects.get(user=person)
    assert (session.address, session.browser) == ("127.0.0.1", FIREFOX)
    assert timezone.now() - session.started_at < dt.timedelta(minutes=1)


def test_an_unknown_name_an_inactive_person_and_a_wrong_password_are_told_the_same(person: User) -> None:
    inactive = builders.member(builders.organisation()).user
    inactive.set_password(PASSWORD)
    inactive.is_active = False
    inactive.save()
    answers = [
        sign_in(Client(), "nobody"),
        sign_in(Client(), inactive.username),
        sign_in(Client(), person.username, "not the one"),
    ]
    assert [answer.status_code for answer in answers] == [200] * 3
    assert len({told(answer) for answer in answers}) == 1


def test_five_wrong_passwords_lock_the_name_here_and_the_page_says_for_how_long(person: User) -> None:
    client = Client()
    for _try in range(4):
        assert sign_in(client, person.username, "not the one").status_code == 200
    for answer in (sign_in(client, person.username, "not the one"), sign_in(client, person.username)):
        assert answer.status_code == 429
        assert "Try again in 15 minutes" in answer.content.decode()
        assert 890 <= int(answer.headers["retry-after"]) <= 900
    assert not is_signed_in(client)


def test_an_unknown_name_locks_in_the_same_words(person: User) -> None:
    for name in (person.username, "nobody"):
        answers = [sign_in(Client(), name, "not the one") for _try in range(5)]
        assert answers[-1].status_code == 429
        assert "Try again in 15 minutes" in told(answers[-1])


def test_neither_another_name_nor_another_address_is_locked(person: User) -> None:
    other = builders.member(builders.organisation()).user
    other.set_password(PASSWORD)
    other.save()
    for _try in range(6):
        sign_in(Client(), person.username, "not the one")
    assert sign_in(Client(), other.username).status_code == 302
    assert sign_in(Client(), person.username, REMOTE_ADDR="198.51.100.7").status_code == 302


def test_a_forged_forwarding_header_opens_no_lock(person: User) -> None:
    for number in range(5):
        answer = sign_in(Client(), person.username, "not the one", HTTP_X_FORWARDED_FOR=f"198.51.100.{number}")
    assert answer.status_code == 429
    assert {attempt.ip_address for attempt in AccessAttempt.objects.all()} == {"127.0.0.1"}


def test_the_lock_opens_when_the_page_said_however_often_it_was_tried(person: User) -> None:
    at = timezone.now()
    with time_machine.travel(at, tick=False):
        for _try in range(5):
            sign_in(Client(), person.username, "not the one")
    with time_machine.travel(at + dt.timedelta(minutes=14), tick=False):
        assert sign_in(Client(), person.username).status_code == 429
    with time_machine.travel(at + dt.timedelta(minutes=15, seconds=1), tick=False):
        assert sign_in(Client(), person.username).status_code == 302


def test_a_right_password_begins_the_count_anew(person: User) -> None:
    for password in ["not the one"] * 4 + [PASSWORD] + ["not the one"] * 4:
        assert sign_in(Client(), person.username, password).status_code != 429


def test_the_password_alone_does_not_sign_in_who_has_a_second_step(person: User) -> None:
    with_second_step(person)
    client = Client()
    answer = sign_in(client, person.username)
    assert (answer.status_code, answer["location"]) == (302, "/sign-in/code/")
    assert not is_signed_in(client)
    wrong = client.post("/sign-in/code/", {"code": "000000"})
    assert "That code is not right" in wrong.content.decode()
    assert not is_signed_in(client)


def test_a_code_or_one_to_fall_back_on_signs_in_and_leads_where_one_wanted(person: User) -> None:
    codes = with_second_step(person)
    for code in (codes[0], next_code_of(person)):
        client = Client()
        client.post("/sign-in/?next=/account/sessions/", {"username": person.username, "password": PASSWORD})
        answer = client.post("/sign-in/code/", {"code": code})
        assert (answer.status_code, is_signed_in(client)) == (302, True), answer.content
        assert client.session["second_step_passed"]


def test_a_right_password_does_not_wait_for_its_code_for_ever(person: User) -> None:
    codes = with_second_step(person)
    client = Client()
    sign_in(client, person.username)
    with time_machine.travel(timezone.now() + dt.timedelta(minutes=11)):
        answer = client.post("/sign-in/code/", {"code": codes[0]})
    assert (answer.status_code, answer["location"]) == (302, "/sign-in/")
    assert not is_signed_in(client)


def test_a_password_changed_meanwhile_ends_the_wait(person: User) -> None:
    codes = with_second_step(person)
    client = Client()
    sign_in(client, person.username)
    person.set_password("another hollow coil")
    person.save()
    assert client.post("/sign-in/code/", {"code": codes[0]})["location"] == "/sign-in/"


def test_the_code_page_is_nobodys_without_a_password_first(db: None) -> None:
    assert Client().get("/sign-in/code/")["location"] == "/sign-in/"


@pytest.mark.parametrize("wanted", ["https://elsewhere.test/", "//elsewhere.test/", "javascript:alert(1)"])
def test_no_address_elsewhere_is_gone_to_afterwards(person: User, wanted: str) -> None:
    answer = Client().post("/sign-in/", {"username": person.username, "password": PASSWORD, "next": wanted})
    assert answer["location"] == "/"


def test_other_addresses_of_one_line_do_not_get_round_the_lock(person: User, settings: Any) -> None:
    for number in range(settings.AXES_FAILURE_LIMIT):
        sign_in(Client(), person.username, "not the one", REMOTE_ADDR=f"2001:db8:1:2::{number + 1:x}")
    assert sign_in(Client(), person.username, REMOTE_ADDR="2001:db8:1:2::ffff").status_code == 429
    assert sign_in(Client(), person.username, REMOTE_ADDR="2001:db8:1:3::1").status_code == 302


def test_many_wrong_passwords_of_many_names_lock_the_address_and_no_other(person: User, settings: Any) -> None:
    settings.SIGN_IN_FAILURES_PER_ADDRESS = 3
    for number in range(3):
        assert sign_in(Client(), f"guessed-{number}", "not the one").status_code == 200
    locked = sign_in(Client(), person.username)
    assert locked.status_code == 429
    assert "came from this address. Try again in 15 minutes" in told(locked)
    assert 890 <= int(locked.headers["retry-after"]) <= 900
    assert sign_in(Client(), person.username, REMOTE_ADDR="198.51.100.7").status_code == 302
    with time_machine.travel(timezone.now() + dt.timedelta(minutes=16), tick=False):
        assert sign_in(Client(), person.username).status_code == 302


def test_the_address_opens_when_enough_of_its_failures_have_lapsed(person: User, settings: Any) -> None:
    settings.SIGN_IN_FAILURES_PER_ADDRESS = 2
    began = timezone.now()
    for minutes in (0, 10):
        with time_machine.travel(began + dt.timedelta(minutes=minutes), tick=False):
            sign_in(Client(), f"guessed-{minutes}", "not the one")
    with time_machine.travel(began + dt.timedelta(minutes=11), tick=False):
        assert sign_in(Client(), person.username).headers["retry-after"] == "240"
    with time_machine.travel(began + dt.timedelta(minutes=16), tick=False):
        assert sign_in(Client(), person.username).status_code == 302


def test_a_proxy_that_no_setting_counts_locks_nobody_out_but_the_name(
    person: User, settings: Any, caplog: pytest.LogCaptureFixture
) -> None:
    settings.SIGN_IN_FAILURES_PER_ADDRESS = 3
    _warn_of_unknown_proxy.cache_clear()
    for number in range(4):
        sign_in(Client(), f"guessed-{number}", "not the one", HTTP_X_FORWARDED_FOR=f"198.51.100.{number}")
    assert sign_in(Client(), person.username, HTTP_X_FORWARDED_FOR="198.51.100.9").status_code == 302
    assert caplog.text.count("COILBOOK_PROXIES is 0") == 1
    for _try in range(5):
        answer = sign_in(Client(), person.username, "not the one", HTTP_X_FORWARDED_FOR="198.51.100.9")
    assert answer.status_code == 429


def test_from_the_open_internet_a_forged_forwarding_header_opens_no_whole_address(person: User, settings: Any) -> None:
    settings.SIGN_IN_FAILURES_PER_ADDRESS = 3
    forged = {"REMOTE_ADDR": "8.8.8.8", "HTTP_X_FORWARDED_FOR": "198.51.100.7"}
    for number in range(3):
        sign_in(Client(), f"guessed-{number}", "not the one", **forged)
    assert sign_in(Client(), person.username, **forged).status_code == 429


def test_a_browser_that_signed_in_before_is_held_to_its_names_lock_alone(person: User, settings: Any) -> None:
    settings.SIGN_IN_FAILURES_PER_ADDRESS = 3
    known = Client()
    assert sign_in(known, person.username).status_code == 302
    shown = known.cookies[COOKIE]
    assert (shown["httponly"], shown["samesite"], shown["max-age"]) == (True, "Lax", GOOD_FOR_S)
    known.post("/sign-out/")
    for number in range(3):
        sign_in(Client(), f"guessed-{number}", "not the one")
    forged, unknown = Client(), Client()
    forged.cookies[COOKIE] = f"2{shown.value[1:]}"
    assert [sign_in(each, person.username).status_code for each in (unknown, forged)] == [429, 429]
    assert sign_in(known, person.username).status_code == 302
    known.post("/sign-out/")
    assert [sign_in(known, person.username, "not the one").status_code for _try in range(5)][-1] == 429


@pytest.mark.parametrize("address", ["", "no address"])
def test_without_a_clients_address_both_locks_hold(person: User, settings: Any, address: str) -> None:
    for _try in range(5):
        answer = sign_in(Client(), person.username, "not the one", REMOTE_ADDR=address)
    assert answer.status_code == 429
    assert AccessAttempt.objects.count() == 1
    settings.SIGN_IN_FAILURES_PER_ADDRESS = 5
    other = sign_in(Client(), "another", "not the one", REMOTE_ADDR=address)
    assert "came from this address" in told(other)
