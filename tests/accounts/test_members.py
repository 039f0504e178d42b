"""Who belongs to a book: roles given and taken, ends of access, removal."""

import datetime as dt
from collections.abc import Callable

import pytest
from django.test import Client
from django.utils import timezone

from accounts.actors import Actor, member_actor, system_actor
from accounts.errors import NotAllowed, Refused
from accounts.models import ApiToken, AuditEntry, Invitation, Member, Organisation
from accounts.roles import Role
from accounts.services.invitations import invite
from accounts.services.members import add_member, change_end, change_role, remove_member
from tests import builders, naming

TODAY = timezone.now().date()


@pytest.fixture
def book(db: None) -> Organisation:
    """Return an organisation."""
    return builders.organisation()


def acting(member: Member) -> Actor:
    return member_actor(member, source="test")


@pytest.fixture
def administrator(book: Organisation) -> Member:
    """Return its only administrator."""
    return builders.member(book, Role.ADMINISTRATOR)


def again(member: Member) -> Member:
    return Member.objects.get(pk=member.pk)


@pytest.mark.parametrize("role", Role)
@pytest.mark.parametrize("wanted", Role)
def test_nobody_gives_a_role_above_their_own(book: Organisation, role: Role, wanted: Role) -> None:
    actor, subject = builders.actor(book, role), builders.member(book, Role.VIEWER)
    allowed = role in (Role.MANAGER, Role.ADMINISTRATOR) and role.reaches(wanted)
    gifts: list[Callable[[], object]] = [
        lambda: change_role(actor, subject.uuid, wanted),
        lambda: invite(actor, name="Somebody", role=wanted, answer_at="https://book.test/invitation/"),
        lambda: add_member(actor, username=f"new-{wanted}", password="seven hollow coils", role=wanted),
    ]
    for give in gifts:
        if allowed:
            give()
        else:
            with pytest.raises(NotAllowed):
                give()


def test_a_manager_cannot_touch_an_administrator(book: Organisation, administrator: Member) -> None:
    builders.member(book, Role.ADMINISTRATOR)
    manager = builders.actor(book, Role.MANAGER)
    deeds: list[Callable[[], object]] = [
        lambda: change_role(manager, administrator.uuid, Role.VIEWER),
        lambda: change_end(manager, administrator.uuid, TODAY),
        lambda: remove_member(manager, administrator.uuid),
    ]
    for deed in deeds:
        with pytest.raises(NotAllowed):
            deed()
    assert again(administrator).role == Role.ADMINISTRATOR


def test_the_last_administrator_stays_and_the_sentence_says_what_to_do(
    book: Organisation, administrator: Member
) -> None:
    builders.member(book, Role.ADMINISTRATOR, ends_on=TODAY + dt.timedelta(days=30))
    actor = acting(administrator)
    deeds: list[Callable[[], object]] = [
        lambda: change_role(actor, administrator.uuid, Role.MANAGER),
        lambda: change_end(actor, administrator.uuid, TODAY),
        lambda: remove_member(actor, administrator.uuid),
    ]
    for deed in deeds:
        with pytest.raises(Refused, match="name another one first"):
            deed()
    other = builders.member(book, Role.ADMINISTRATOR)
    assert change_role(acting(other), administrator.uuid, Role.MANAGER)
    with pytest.raises(Refused):
        remove_member(system_actor(book, source="test"), other.uuid)


def test_removal_shuts_pages_and_tokens_at_the_next_request(book: Organisation, administrator: Member) -> None:
    subject = builders.member(book, Role.TECHNICIAN)
    token = builders.token(subject)
    machine, person = Client(headers={"authorization": f"Bearer {token}"}), Client()
    person.force_login(subject.user)
    assert machine.get("/api/v1/vehicles/").status_code == 200
    assert person.get(f"/{book.slug}/people/").status_code == 200
    removed = remove_member(acting(administrator), subject.uuid, reason="left")
    assert removed is not None
    assert machine.get("/api/v1/vehicles/").status_code == 401
    assert person.get(f"/{book.slug}/people/").status_code == 404
    assert not ApiToken.objects.filter(user=subject.user).exists()
    told = AuditEntry.objects.get(action="remove", object_id=subject.uuid)
    assert (told.actor, told.reason) == (administrator.user, "left")
    assert remove_member(acting(administrator), subject.uuid) is None


def test_a_changed_role_and_a_passed_end_count_at_the_next_request(book: Organisation, administrator: Member) -> None:
    subject = builders.member(book, Role.MANAGER)
    person = Client()
    person.force_login(subject.user)
    assert person.get(f"/{book.slug}/people/invite/").status_code == 200
    change_role(acting(administrator), subject.uuid, Role.VIEWER)
    assert person.get(f"/{book.slug}/people/invite/").status_code == 403
    change_end(acting(administrator), subject.uuid, TODAY)
    assert person.get(f"/{book.slug}/people/").status_code == 200
    Member.objects.filter(pk=subject.pk).update(ends_on=TODAY - dt.timedelta(days=1))
    assert person.get(f"/{book.slug}/people/").status_code == 404


def test_what_is_the_same_already_writes_nothing(book: Organisation, administrator: Member) -> None:
    subject = builders.member(book, Role.VIEWER)
    before = AuditEntry.objects.count()
    change_role(acting(administrator), subject.uuid, Role.VIEWER)
    change_end(acting(administrator), subject.uuid, None)
    assert AuditEntry.objects.count() == before


def test_a_member_of_another_organisation_is_none(book: Organisation, administrator: Member) -> None:
    stranger = builders.member(builders.organisation())
    naming.name(book)
    actor = acting(administrator)
    assert change_role(actor, stranger.uuid, Role.VIEWER) is None
    assert change_end(actor, stranger.uuid, TODAY) is None
    assert remove_member(actor, stranger.uuid) is None


def test_who_loses_a_role_takes_their_higher_promises_along(book: Organisation, administrator: Member) -> None:
    manager = builders.member(book, Role.MANAGER)
    for role in (Role.VIEWER, Role.MANAGER):
        invite(acting(manager), name=role.value, role=role, answer_at="https://book.test/invitation/")
    change_role(acting(administrator), manager.uuid, Role.TECHNICIAN)
    open_ones = Invitation.objects.of(book).filter(revoked_at__isnull=True)
    assert [each.name for each in open_ones] == ["viewer"]
    remove_member(acting(administrator), manager.uuid)
    assert not open_ones.all().exists()
