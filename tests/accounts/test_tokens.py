"""Tokens: made with a scope and an end, shown once, taken back."""

import datetime as dt

import pytest
import time_machine
from django.utils import timezone

from accounts.actors import member_actor
from accounts.errors import NotAllowed, Refused
from accounts.models import ApiToken, AuditEntry
from accounts.roles import Role
from accounts.services.tokens import issue_own_token, note_token_use, revoke_token
from tests import builders, naming


def test_only_a_digest_is_kept_and_the_stream_does_not_hold_the_token(db: None) -> None:
    actor = builders.actor(builders.organisation())
    token = issue_own_token(actor, name="gauge", scope="read", days=30)
    row = ApiToken.objects.get()
    assert token not in str(vars(row))
    assert (row.name, row.scope, row.user) == ("gauge", "read", actor.user)
    life = row.expiry - timezone.now()
    assert dt.timedelta(days=29, hours=23) < life <= dt.timedelta(days=30)
    told = AuditEntry.objects.get(action="issue")
    assert token not in str(told.after)


@pytest.mark.parametrize(("scope", "days", "at"), [("write", 30, "scope"), ("read", 0, "days"), ("read", 366, "days")])
def test_a_scope_or_a_life_that_is_none_is_refused_at_its_field(db: None, scope: str, days: int, at: str) -> None:
    with pytest.raises(Refused) as refused:
        issue_own_token(builders.actor(builders.organisation()), name="gauge", scope=scope, days=days)
    assert [fault.path for fault in refused.value.faults] == [(at,)]


def test_a_token_that_only_reads_makes_no_other_and_takes_none_back(db: None) -> None:
    member = builders.member(builders.organisation(), Role.MANAGER)
    reads_only = member_actor(member, source="api", read_only=True)
    with pytest.raises(NotAllowed):
        issue_own_token(reads_only, name="gauge", scope="role", days=30)
    issue_own_token(member_actor(member, source="test"), name="gauge", scope="role", days=30)
    with pytest.raises(NotAllowed):
        revoke_token(reads_only, ApiToken.objects.get().uuid)


def test_one_takes_back_ones_own_and_a_manager_anybodys(db: None) -> None:
    book = builders.organisation()
    technician, other, manager = builders.actor(book), builders.actor(book), builders.actor(book, Role.MANAGER)
    for name in ("first", "second"):
        issue_own_token(technician, name=name, scope="role", days=30)
    first, second = ApiToken.objects.order_by("name")
    assert not revoke_token(other, first.uuid)
    assert revoke_token(technician, first.uuid)
    assert revoke_token(manager, second.uuid)
    assert not ApiToken.objects.exists()
    assert AuditEntry.objects.filter(action="revoke", object_type="api_token").count() == 2
    elsewhere = builders.actor(builders.organisation(), Role.ADMINISTRATOR)
    naming.name(book)
    issue_own_token(technician, name="third", scope="role", days=30)
    naming.name(elsewhere.organisation)
    assert not revoke_token(elsewhere, ApiToken.objects.values_list("uuid", flat=True).first() or first.uuid)


def test_the_last_use_is_kept_to_the_minute(db: None) -> None:
    builders.token(builders.member(builders.organisation()))
    token = ApiToken.objects.get()
    at = timezone.now()
    for seconds, kept in ((0, 0), (59, 0), (61, 61)):
        with time_machine.travel(at + dt.timedelta(seconds=seconds), tick=False):
            note_token_use(ApiToken.objects.get())
        last = ApiToken.objects.get(pk=token.pk).last_used_at
        assert last is not None
        assert abs((last - at).total_seconds() - kept) < 0.01
