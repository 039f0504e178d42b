"""Invitations: one link, good once, for a while; mailed through the outbox."""

import datetime as dt
from typing import Any

import pytest
import time_machine
from django.core import mail
from django.core.exceptions import ValidationError
from django.utils import timezone

from accounts.errors import Conflict, NoInvitation
from accounts.models import AuditEntry, Invitation, Member, Organisation, User
from accounts.roles import Role
from accounts.services.invitations import (
    GOOD_FOR,
    digest_of,
    invite,
    join,
    join_as_new,
    open_invitation,
    revoke_invitation,
    send_owed_invitations,
)
from accounts.services.members import change_end, change_role, remove_member
from schedules.tasks import send_reminders
from tests import builders, naming

ANSWER_AT = "https://book.test/invitation/"
PASSWORD = "seven hollow coils"
SOON = timezone.now().date() + dt.timedelta(days=40)


@pytest.fixture
def book(db: None) -> Organisation:
    """Return an organisation."""
    return builders.organisation()


def invited(book: Organisation, **fields: Any) -> tuple[Invitation, str]:
    """Return an invitation and the secret of its link."""
    actor = builders.actor(book, Role.MANAGER)
    given = {"name": "Somebody New", "role": Role.TECHNICIAN, "answer_at": ANSWER_AT, **fields}
    invitation, link = invite(actor, **given)
    assert link.startswith(ANSWER_AT)
    return invitation, link.removeprefix(ANSWER_AT).removesuffix("/")


def answered(secret: str, username: str = "somebody") -> Member:
    return join_as_new(secret, username=username, password=PASSWORD, full_name="")


def test_only_the_digest_of_the_link_is_kept(book: Organisation) -> None:
    invitation, secret = invited(book)
    stored = Invitation.objects.get(pk=invitation.pk)
    assert len(secret) == 64
    assert secret not in str(vars(stored))
    assert stored.digest == digest_of(secret)
    told = AuditEntry.objects.get(object_id=invitation.uuid)
    assert secret not in str(told.after)


def test_a_new_person_gets_the_role_and_the_end_that_were_promised(book: Organisation) -> None:
    invitation, secret = invited(book, role=Role.TRAINEE, access_ends_on=SOON, email="new@works.test")
    member = answered(secret)
    assert (member.organisation, member.role, member.ends_on) == (book, Role.TRAINEE, SOON)
    assert (str(member.user), member.user.email) == ("Somebody New", "new@works.test")
    assert member.user.check_password(PASSWORD)
    invitation.refresh_from_db()
    assert invitation.accepted_by == member.user
    actions = list(AuditEntry.objects.filter(actor=member.user).order_by("sequence").values_list("action", flat=True))
    assert actions == ["add", "accept"]


def test_a_link_is_good_once(book: Organisation) -> None:
    _invitation, secret = invited(book)
    answered(secret)
    with pytest.raises(NoInvitation):
        answered(secret, "another")
    assert not User.objects.filter(username="another").exists()


def test_a_link_that_is_unknown_taken_back_too_old_or_of_a_closed_book_is_good_no_longer(book: Organisation) -> None:
    with pytest.raises(NoInvitation):
        open_invitation("0" * 64)
    invitation, taken_back = invited(book)
    revoke_invitation(builders.actor(book, Role.MANAGER), invitation.uuid)
    with pytest.raises(NoInvitation):
        open_invitation(taken_back)
    _invitation, old = invited(book)
    with time_machine.travel(timezone.now() + GOOD_FOR), pytest.raises(NoInvitation):
        open_invitation(old)
    _invitation, closed = invited(book)
    assert open_invitation(closed)
    Organisation.objects.filter(pk=book.pk).update(closed_at=timezone.now())
    with pytest.raises(NoInvitation):
        open_invitation(closed)


def test_a_weak_password_or_a_taken_name_leaves_the_link_good(book: Organisation) -> None:
    _invitation, secret = invited(book)
    taken = builders.member(book).user.username
    for username, password in ((taken, PASSWORD), ("somebody", "password12"), ("somebody", "1234567890123")):
        with pytest.raises(ValidationError):
            join_as_new(secret, username=username, password=password, full_name="")
    assert answered(secret)


def test_who_is_signed_in_joins_a_further_book_and_keeps_the_first(book: Organisation) -> None:
    person = builders.member(builders.organisation(), Role.MANAGER).user
    _invitation, secret = invited(book, role=Role.VIEWER)
    assert join(secret, person).role == Role.VIEWER
    assert {member.role for member in Member.objects.filter(user=person, organisation=book)} == {"viewer"}


def test_who_belongs_already_is_told_and_the_link_stays_good(book: Organisation) -> None:
    _invitation, secret = invited(book)
    with pytest.raises(Conflict, match="belongs to this book already"):
        join(secret, builders.member(book).user)
    assert answered(secret)


def test_who_was_removed_comes_back_by_an_invitation(book: Organisation) -> None:
    member = builders.member(book, Role.MANAGER, removed_at=timezone.now())
    _invitation, secret = invited(book, role=Role.VIEWER)
    back = join(secret, member.user)
    assert (back.pk, back.role, back.removed_at) == (member.pk, Role.VIEWER, None)


def test_an_answered_invitation_is_not_taken_back(book: Organisation) -> None:
    invitation, secret = invited(book)
    answered(secret)
    naming.name(book)
    with pytest.raises(Conflict):
        revoke_invitation(builders.actor(book, Role.MANAGER), invitation.uuid)


def test_an_invitation_of_another_organisation_is_none(book: Organisation) -> None:
    invitation, _secret = invited(builders.organisation())
    assert revoke_invitation(builders.actor(book, Role.MANAGER), invitation.uuid) is None


def test_the_mail_holds_the_link_and_goes_out_once(book: Organisation, mailoutbox: list[mail.EmailMessage]) -> None:
    _invitation, secret = invited(book, email="new@works.test")
    invited(book)
    assert [send_owed_invitations().sent for _run in range(2)] == [1, 0]
    (message,) = mailoutbox
    assert message.to == ["new@works.test"]
    assert f"{ANSWER_AT}{secret}/" in message.body
    assert book.name in message.subject


def test_nothing_is_mailed_from_the_demo_nor_once_it_is_taken_back(
    book: Organisation, mailoutbox: list[mail.EmailMessage]
) -> None:
    demo, _secret = invited(builders.organisation(is_demo=True), email="new@works.test")
    assert demo.held == "demo"
    invitation, _secret = invited(book, email="new@works.test")
    revoke_invitation(builders.actor(book, Role.MANAGER), invitation.uuid)
    assert send_owed_invitations().sent == 0
    assert mailoutbox == []


def test_the_worker_mails_invitations_with_the_reminders(
    book: Organisation, mailoutbox: list[mail.EmailMessage]
) -> None:
    invited(book, email="new@works.test")
    send_reminders()
    assert [message.to for message in mailoutbox] == [["new@works.test"]]


def test_a_line_break_in_an_organisations_name_starts_no_header(db: None, mailoutbox: list[mail.EmailMessage]) -> None:
    invited(builders.organisation(name="Works\nBcc: somebody@else.test"), email="new@works.test")
    send_owed_invitations()
    (message,) = mailoutbox
    assert "\n" not in message.subject
    assert message.bcc == []


def removed_again(book: Organisation, member: Member) -> None:
    remove_member(builders.actor(book, Role.ADMINISTRATOR), member.uuid, reason="left")


def test_removal_takes_back_what_was_sent_to_the_persons_address(book: Organisation) -> None:
    _first, secret = invited(book, email="new@works.test")
    second, second_secret = invited(book, email="New@works.test")
    other, other_secret = invited(book, email="other@works.test")
    removed_again(book, answered(secret))
    second.refresh_from_db()
    assert second.revoked_at is not None
    assert AuditEntry.objects.filter(object_id=second.uuid, action="revoke").count() == 1
    with pytest.raises(NoInvitation):
        answered(second_secret, "the-same-under-another-name")
    assert answered(other_secret, "other").organisation == book
    other.refresh_from_db()
    assert other.revoked_at is None


def test_a_link_made_before_the_removal_brings_nobody_back_and_one_made_after_it_does(book: Organisation) -> None:
    _first, secret = invited(book)
    unused, unused_secret = invited(book)
    member = answered(secret)
    removed_again(book, member)
    with pytest.raises(NoInvitation):
        join(unused_secret, member.user)
    unused.refresh_from_db()
    assert unused.accepted_at is None
    _later, later_secret = invited(book)
    assert join(later_secret, member.user).removed_at is None


def test_a_changed_role_or_end_takes_back_what_was_sent_to_the_persons_address(book: Organisation) -> None:
    changes: list[Any] = [
        lambda actor, member: change_role(actor, member.uuid, Role.VIEWER),
        lambda actor, member: change_end(actor, member.uuid, SOON),
    ]
    for number, change in enumerate(changes):
        _first, secret = invited(book, email=f"new{number}@works.test")
        unused, unused_secret = invited(book, email=f"New{number}@works.test")
        member = answered(secret, f"somebody-{number}")
        change(builders.actor(book, Role.ADMINISTRATOR), member)
        unused.refresh_from_db()
        assert unused.revoked_at is not None
        with pytest.raises(NoInvitation):
            join(unused_secret, member.user)


def test_a_link_made_before_the_access_ended_brings_nobody_back_and_one_made_after_it_does(book: Organisation) -> None:
    _first, secret = invited(book)
    unused, unused_secret = invited(book, role=Role.MANAGER)
    member = answered(secret)
    today = timezone.now().date()
    change_end(builders.actor(book, Role.ADMINISTRATOR), member.uuid, today)
    with time_machine.travel(timezone.now() + dt.timedelta(days=2)):
        with pytest.raises(NoInvitation):
            join(unused_secret, member.user)
        unused.refresh_from_db()
        assert unused.accepted_at is None
        _later, later_secret = invited(book)
        back = join(later_secret, member.user)
    assert (back.role, back.ends_on) == (Role.TECHNICIAN, None)
