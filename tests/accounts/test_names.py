"""A person's name can be replaced: it goes from every page, and every hash still fits."""

import pytest
from django.core.management import CommandError, call_command

from accounts.actors import member_actor
from accounts.audit_check import check_record
from accounts.errors import Conflict, NotAllowed, Refused
from accounts.models import ApiToken, AuditEntry, Invitation, Member, User
from accounts.roles import Role
from accounts.services.invitations import invite, join_as_new, revoke_invitation
from accounts.services.members import add_member, remove_member
from accounts.services.names import replace_name
from accounts.services.organisations import add_depot, create_organisation
from accounts.services.tokens import issue_token
from tests.naming import name

PASSWORD = "seven quiet magnets"
OLD_NAME = "Quentin Oldname"


@pytest.fixture
def members(db: None) -> tuple[Member, Member]:
    """Return an administrator, and a manager who has done something."""
    organisation, administrator = create_organisation(
        slug="quarry", name="Quarry", administrator="ada", password=PASSWORD
    )
    name(organisation)
    actor = member_actor(administrator, source="test")
    manager = add_member(actor, username="quentin", password=PASSWORD, role=Role.MANAGER, full_name=OLD_NAME)
    add_depot(member_actor(manager, source="test"), name="North", time_zone="Europe/London")
    issue_token(username="quentin", organisation="quarry")
    return administrator, manager


def test_after_a_removed_persons_name_is_replaced_the_record_is_sound_and_holds_the_old_one_nowhere(
    members: tuple[Member, Member],
) -> None:
    administrator, manager = members
    actor = member_actor(administrator, source="test")
    remove_member(actor, manager.uuid, reason="left")
    head = AuditEntry.objects.latest("sequence").hash
    replace_name(manager.user, new_name="Person 17", reason="asked for it", actor=actor)
    assert check_record(actor.organisation).is_sound
    assert str(Member.objects.get(pk=manager.pk).user) == "Person 17"
    entries = list(AuditEntry.objects.order_by("sequence"))
    assert entries[-1].previous_hash == head
    assert (entries[-1].action, entries[-1].reason, entries[-1].actor) == ("replace_name", "asked for it", actor.user)
    told = " ".join(f"{entry.before} {entry.after} {entry.reason}" for entry in entries)
    assert "Oldname" not in told
    assert "quentin" not in told


def test_the_keeper_of_the_server_replaces_any_name_and_that_ends_the_access(members: tuple[Member, Member]) -> None:
    _administrator, manager = members
    call_command("replace_name", "quentin", "--with", "Person 17", "--reason", "court order")
    manager.user.refresh_from_db()
    person = manager.user
    assert (person.is_active, person.has_usable_password(), person.email) == (False, False, "")
    assert "quentin" not in person.username
    assert not ApiToken.objects.filter(user=person).exists()
    assert check_record(manager.organisation).is_sound
    with pytest.raises(CommandError):
        call_command("replace_name", "quentin", "--with", "Person 17", "--reason", "again")


def test_who_is_still_in_keeps_the_name_and_only_an_administrator_replaces_one(members: tuple[Member, Member]) -> None:
    administrator, manager = members
    with pytest.raises(Conflict):
        replace_name(manager.user, new_name="Person 17", reason="", actor=member_actor(administrator, source="test"))
    with pytest.raises(NotAllowed):
        replace_name(administrator.user, new_name="Person 1", reason="", actor=member_actor(manager, source="test"))
    assert Member.objects.get(pk=manager.pk).user.get_full_name() == OLD_NAME


@pytest.mark.parametrize("new_name", ["", "   ", "x" * 151])
def test_a_name_that_is_none_is_refused(members: tuple[Member, Member], new_name: str) -> None:
    with pytest.raises(Refused):
        replace_name(members[1].user, new_name=new_name, reason="")


def test_a_replaced_name_stands_on_no_invitation_answered_or_not(members: tuple[Member, Member]) -> None:
    administrator, _manager = members
    actor = member_actor(administrator, source="test")

    def invited(email: str) -> tuple[Invitation, str]:
        made, link = invite(actor, name=OLD_NAME, email=email, role=Role.VIEWER, answer_at="https://book.test/i/")
        return made, link.removeprefix("https://book.test/i/").removesuffix("/")

    answered, secret = invited("old@works.test")
    member = join_as_new(secret, username="oldname", password=PASSWORD, full_name="")
    User.objects.filter(pk=member.user_id).update(email="own@works.test")
    unanswered, revoked, other = (invited(each)[0] for each in ("Old@works.test", "OWN@works.test", "else@works.test"))
    revoke_invitation(actor, revoked.uuid)
    remove_member(actor, member.uuid)
    replace_name(member.user, new_name="Person 17", reason="asked for it", actor=actor)
    for each in (answered, unanswered, revoked):
        each.refresh_from_db()
        assert ("Oldname" in each.name, each.email) == (False, "")
    other.refresh_from_db()
    assert (other.name, other.email) == (OLD_NAME, "else@works.test")
    assert check_record(actor.organisation).is_sound
