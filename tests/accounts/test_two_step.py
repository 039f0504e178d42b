"""The second step at signing in: set up, used once a code, fallen back on, turned off."""

import datetime as dt

import pytest
import time_machine
from django_otp.plugins.otp_totp.models import TOTPDevice

from accounts.errors import Conflict, Refused
from accounts.models import AuditEntry, Member, RecoveryCode, User
from accounts.services.two_step import (
    device_of,
    new_key,
    recovery_codes_left,
    renew_recovery_codes,
    set_up_two_step,
    take_second_step,
    turn_two_step_off,
)
from accounts.tenancy import name_person
from tests import builders, naming
from tests.accounts.codes import next_code_of, shown_by, with_second_step

PASSWORD = "seven hollow coils"
NOW = dt.datetime(2026, 11, 25, 9, 0, 10, tzinfo=dt.UTC)


@pytest.fixture
def person(db: None) -> User:
    """Return a member with a password."""
    user = builders.member(builders.organisation()).user
    user.set_password(PASSWORD)
    user.save()
    return user


def code_of(refused: pytest.ExceptionInfo[Refused]) -> str:
    return refused.value.faults[0].code


def test_a_wrong_first_code_turns_nothing_on(person: User) -> None:
    key = new_key()
    wrong = f"{(int(shown_by(key)) + 1) % 1_000_000:06d}"
    for code in (wrong, "", "12345a", "１２３４５６"):
        with pytest.raises(Refused):
            set_up_two_step(person, key=key, code=code, address="", keep_session=None)
    assert device_of(person) is None
    assert not TOTPDevice.objects.exists()


def test_it_is_set_up_once(person: User) -> None:
    with_second_step(person)
    with pytest.raises(Conflict):
        with_second_step(person)
    assert TOTPDevice.objects.filter(user=person).count() == 1


def test_a_code_is_good_once_and_not_again_in_its_time(person: User) -> None:
    with time_machine.travel(NOW, tick=False):
        with_second_step(person)
        code = shown_by(TOTPDevice.objects.get().key)
        with pytest.raises(Refused) as replayed:
            take_second_step(person, code)
        assert code_of(replayed) == "wrong"
    with time_machine.travel(NOW + dt.timedelta(seconds=30), tick=False):
        fresh = shown_by(TOTPDevice.objects.get().key)
        take_second_step(person, fresh)
        with pytest.raises(Refused):
            take_second_step(person, fresh)


def test_wrong_codes_are_slowed_down_and_the_sentence_says_for_how_long(person: User) -> None:
    with time_machine.travel(NOW, tick=False):
        with_second_step(person)
        for _try in range(2):
            with pytest.raises(Refused):
                take_second_step(person, "000000")
        with pytest.raises(Refused) as locked:
            take_second_step(person, next_code_of(person))
    assert code_of(locked) == "locked"
    assert "Try again in" in str(locked.value)


def test_ten_codes_to_fall_back_on_are_kept_as_digests_and_each_is_good_once(person: User) -> None:
    codes = with_second_step(person)
    assert len(set(codes)) == 10
    stored = set(RecoveryCode.objects.values_list("digest", flat=True))
    assert not stored & {code.replace("-", "") for code in codes}
    take_second_step(person, codes[0].lower())
    with pytest.raises(Refused):
        take_second_step(person, codes[0])
    take_second_step(person, codes[1].replace("-", " "))
    assert recovery_codes_left(person) == 8


def test_the_codes_of_one_person_are_no_good_for_another(person: User) -> None:
    other = builders.member(builders.organisation()).user
    with_second_step(person)
    codes = with_second_step(other)
    with pytest.raises(Refused):
        take_second_step(person, codes[0])


def test_new_codes_replace_the_old_ones(person: User) -> None:
    old = with_second_step(person)
    new = renew_recovery_codes(person, code=old[0], address="")
    assert not set(old) & set(new)
    with pytest.raises(Refused):
        take_second_step(person, old[1])
    take_second_step(person, new[0])


def test_turning_it_off_needs_the_password_and_a_code(person: User) -> None:
    codes = with_second_step(person)
    with pytest.raises(Refused):
        turn_two_step_off(person, password="not the one", code=codes[0], address="")
    with pytest.raises(Refused):
        turn_two_step_off(person, password=PASSWORD, code="AAAA-AAAA-AAAA-AAAA", address="")
    assert device_of(person) is not None
    turn_two_step_off(person, password=PASSWORD, code=codes[0], address="")
    assert device_of(person) is None
    assert not RecoveryCode.objects.exists()


def test_both_are_told_in_the_stream_of_each_of_the_persons_organisations(person: User) -> None:
    elsewhere = builders.organisation()
    builders._insert(Member, elsewhere, user=person, role="viewer")
    codes = with_second_step(person)
    turn_two_step_off(person, password=PASSWORD, code=codes[0], address="")
    name_person(person)
    books = [member.organisation for member in person.memberships.select_related("organisation")]
    assert len(books) == 2
    for book in books:
        naming.name(book)
        told = AuditEntry.objects.filter(organisation=book, object_id=person.uuid).order_by("sequence")
        assert list(told.values_list("action", flat=True)) == ["set_up_two_step", "turn_two_step_off"]
