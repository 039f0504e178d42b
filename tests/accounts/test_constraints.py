"""Every constraint of accounts refuses a row that breaks it."""

import datetime as dt
from typing import Any

import pytest
from django.utils import timezone

from accounts.actors import Actor
from accounts.audit import Deed, write_audit
from accounts.models import AuditEntry, Member, WorkRun
from accounts.roles import Role
from tests import builders
from tests.accounts.constraints import assert_refused_by, constraint_names, store_twin

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
    write_audit(
        Actor(organisation, member.user, Role.VIEWER, "test"), [Deed("read", "organisation", organisation.uuid)]
    )
    return {
        "organisation": organisation,
        "depot": builders.depot(organisation),
        "member": member,
        "entry": AuditEntry.objects.get(),
        "run": WorkRun.objects.create(job="night", window="2026-03-02T02", claimed_at=timezone.now()),
    }


@pytest.mark.parametrize(("name", "of", "changes"), CASES)
def test_a_row_that_breaks_it_is_refused(db: None, name: str, of: str, changes: dict[str, Any]) -> None:
    row = rows()[of]
    if changes.get("uuid") == "same":
        changes = {**changes, "uuid": row.uuid}
    if changes.get("user") == "other":
        changes = {**changes, "user": builders.member(builders.organisation()).user}
    assert_refused_by(name, row, changes)


def test_every_constraint_has_a_row_that_breaks_it() -> None:
    assert constraint_names("accounts") == {name for name, _of, _changes in CASES}


def test_the_rule_of_largest_false_acceptance_does_not_go_without_its_probability(db: None) -> None:
    changes = {"slug": "b", "decision_rule": "max_false_accept", "max_false_accept_probability": None}
    assert_refused_by("organisation_false_accept_goes_with_its_rule", builders.organisation(), changes)


def test_one_person_may_be_a_member_of_two_organisations(db: None) -> None:
    member = builders.member(builders.organisation())
    store_twin(member, organisation=builders.organisation())
    assert Member.objects.filter(user=member.user).count() == 2
