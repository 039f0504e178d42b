"""Every constraint of accounts refuses a row that breaks it."""

import datetime as dt
from typing import Any

import pytest
from django.utils import timezone

from accounts.actors import Actor
from accounts.audit import Deed, write_audit
from accounts.models import ApiToken, AuditEntry, Invitation, Member, Organisation, RecoveryCode, WorkRun
from accounts.models.first_answers import FirstAnswer
from accounts.roles import Role
from accounts.tenancy import name_person
from tests import builders
from tests.accounts.constraints import assert_refused_by, constraint_names, store_twin
from tests.naming import name as name_the_owner

YESTERDAY = timezone.now() - dt.timedelta(days=1)
SAME: dict[str, Any] = {}
CASES: list[tuple[str, str, dict[str, Any]]] = [
    ("organisation_decision_rule_known", "organisation", {"slug": "b", "decision_rule": "lenient"}),
    (
        "organisation_false_accept_goes_with_its_rule",
        "organisation",
        {"slug": "b", "max_false_accept_probability": 0.05},
    ),
    *(
        (
            "organisation_false_accept_goes_with_its_rule",
            "organisation",
            {"slug": "b", "decision_rule": "max_false_accept", "max_false_accept_probability": probability},
        )
        for probability in (0.0, 0.51)
    ),
    ("depot_id", "depot", {"uuid": "same", "name": "elsewhere"}),
    ("depot_name", "depot", SAME),
    ("member_id", "member", {"uuid": "same", "user": "other"}),
    ("member_once", "member", SAME),
    ("member_role_known", "member", {"user": "other", "role": "owner"}),
    ("invitation_id", "invitation", {"uuid": "same", "digest": "b"}),
    ("invitation_role_known", "invitation", {"digest": "b", "role": "owner"}),
    ("invitation_held_known", "invitation", {"digest": "b", "held": "later"}),
    ("invitation_expires_later", "invitation", {"digest": "b", "expires_at": YESTERDAY}),
    ("invitation_accepted_by_goes_with_its_time", "invitation", {"digest": "b", "accepted_at": timezone.now()}),
    (
        "invitation_is_used_or_revoked",
        "invitation",
        {"digest": "b", "accepted_at": timezone.now(), "accepted_by": "other", "revoked_at": timezone.now()},
    ),
    ("token_scope_known", "token", {"digest": "b", "scope": "write"}),
    ("recovery_code_once", "recovery_code", SAME),
    ("first_answer_key", "first_answer", SAME),
    ("audit_sequence", "entry", {"previous_hash": "f" * 64}),
    ("audit_one_chain", "entry", {"sequence": 7}),
    ("work_once_a_window", "run", SAME),
    ("work_state_known", "run", {"window": "later", "state": "paused"}),
    ("work_finished_after_claim", "run", {"window": "later", "finished_at": YESTERDAY}),
    ("work_finished_after_claim", "run", {"window": "later", "claimed_at": None, "finished_at": YESTERDAY}),
]


def rows() -> dict[str, Any]:
    organisation = builders.organisation()
    member = builders.member(organisation)
    write_audit(Actor(organisation, member.user, Role.VIEWER, "test"), [Deed("read", organisation)])
    return {
        "organisation": organisation,
        "depot": builders.depot(organisation),
        "member": member,
        "invitation": Invitation.objects.create(
            organisation=organisation,
            name="Somebody",
            role="viewer",
            digest="a",
            answer_at="https://book.test/invitation/",
            queued_at=timezone.now(),
            expires_at=timezone.now() + dt.timedelta(days=7),
        ),
        "token": _token_of(member),
        "recovery_code": RecoveryCode.objects.create(user=member.user, digest="a"),
        "first_answer": FirstAnswer.objects.create(
            organisation=organisation, key="one", fingerprint="0" * 64, status=201, body=b""
        ),
        "entry": AuditEntry.objects.get(),
        "run": WorkRun.objects.create(job="night", window="2026-03-02T02", claimed_at=timezone.now()),
    }


def _token_of(member: Member) -> ApiToken:
    builders.token(member)
    token: ApiToken = ApiToken.objects.get(user=member.user)
    return token


@pytest.mark.parametrize(("name", "of", "changes"), CASES)
def test_a_row_that_breaks_it_is_refused(db: None, name: str, of: str, changes: dict[str, Any]) -> None:
    row = rows()[of]
    if changes.get("uuid") == "same":
        changes = {**changes, "uuid": row.uuid}
    for column in [column for column in ("user", "accepted_by") if changes.get(column) == "other"]:
        changes = {**changes, column: builders.member(builders.organisation()).user}
    if isinstance(owner := getattr(row, "organisation", None), Organisation):
        name_the_owner(owner)
    assert_refused_by(name, row, changes)


def test_every_constraint_has_a_row_that_breaks_it() -> None:
    assert constraint_names("accounts") == {name for name, _of, _changes in CASES}


def test_the_rule_of_largest_false_acceptance_does_not_go_without_its_probability(db: None) -> None:
    changes = {"slug": "b", "decision_rule": "max_false_accept", "max_false_accept_probability": None}
    assert_refused_by("organisation_false_accept_goes_with_its_rule", builders.organisation(), changes)


def test_one_person_may_be_a_member_of_two_organisations(db: None) -> None:
    member = builders.member(builders.organisation())
    store_twin(member, organisation=builders.organisation())
    name_person(member.user)
    assert Member.objects.filter(user=member.user).count() == 2
