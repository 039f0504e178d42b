"""Each service tells the audit stream what it did, who did it and from where."""

import pytest
from django.core.exceptions import ValidationError

from accounts.actors import Actor, system_actor
from accounts.errors import Conflict
from accounts.models import AuditEntry, Member, Organisation, User
from accounts.roles import Role
from accounts.services import add_depot, add_member, create_organisation, issue_token
from tests import builders
from tests.accounts.audit_chain import chain_of, first_bad_sequence

PASSWORD = "seven quiet magnets"


def told(organisation: Organisation) -> list[tuple[str, str]]:
    entries = chain_of(organisation)
    assert first_bad_sequence(entries) is None
    return [(entry.action, entry.object_type) for entry in entries]


def last_entry(organisation: Organisation) -> AuditEntry:
    return chain_of(organisation)[-1]


def test_a_new_organisation_and_its_administrator_are_told(db: None) -> None:
    organisation, member = create_organisation(slug="quarry", name="Quarry", administrator="ada", password=PASSWORD)
    assert told(organisation) == [("create", "organisation"), ("add", "member")]
    entry = last_entry(organisation)
    assert (entry.object_id, entry.actor, entry.source) == (member.uuid, None, "command")
    assert (entry.after or {}).items() >= {"user_id": member.user_id, "role": "administrator"}.items()


def test_a_member_and_a_depot_are_told_with_who_added_them(db: None) -> None:
    administrator = builders.member(builders.organisation(), Role.ADMINISTRATOR)
    actor = Actor(administrator.organisation, administrator.user, Role.ADMINISTRATOR, "api", "192.0.2.7", "request-1")
    member = add_member(actor, username="grace", password=PASSWORD, role=Role.TECHNICIAN)
    depot = add_depot(actor, name="North", time_zone="Europe/London")
    assert told(actor.organisation) == [("add", "member"), ("add", "depot")]
    assert [entry.object_id for entry in chain_of(actor.organisation)] == [member.uuid, depot.uuid]
    entry = last_entry(actor.organisation)
    assert (entry.actor, entry.source, entry.address, entry.request_id) == (
        administrator.user,
        "api",
        "192.0.2.7",
        "request-1",
    )


def test_a_token_is_told_and_the_entry_does_not_hold_it(db: None) -> None:
    member = builders.member(builders.organisation())
    token = issue_token(username=member.user.username, organisation=member.organisation.slug, name="gauge")
    assert told(member.organisation) == [("issue", "api_token")]
    entry = last_entry(member.organisation)
    assert (entry.after or {}).items() >= {"name": "gauge", "user": str(member.user.uuid)}.items()
    assert not (entry.after or {}).keys() & {"digest", "token_key"}
    assert token not in str(entry.__dict__)


@pytest.mark.parametrize("password", ["short", "password1234", None])
def test_a_refused_member_leaves_no_entry(db: None, password: str | None) -> None:
    organisation = builders.organisation()
    actor = system_actor(organisation, source="test")
    with pytest.raises((ValidationError, Conflict)):
        add_member(actor, username="ada", password=password, role=Role.VIEWER)
    assert (told(organisation), Member.objects.count(), User.objects.count()) == ([], 0, 0)
