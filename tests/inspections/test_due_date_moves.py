"""Which visits move the due date, and which leave it where it was."""

import datetime as dt

import pytest

from accounts.errors import Conflict
from accounts.roles import Role
from inspections.services.signing import sign_inspection
from tests import builders
from tests.builders import Workshop
from tests.inspections.visits import due_date, recorded

SIX_MONTHS_AFTER_FITTING = dt.date(2024, 7, 15)
SIX_MONTHS_AFTER_THE_CHECK = dt.date(2026, 9, 2)


@pytest.fixture
def planned(workshop: Workshop) -> Workshop:
    """Return the workshop with a plan of six months for its unit."""
    builders.check_plan(workshop.installation)
    return workshop


def superseding(old_id: object, **fields: object) -> dict[str, object]:
    return {"supersedes": str(old_id), "supersede_reason": "clamp was on the wrong cable", **fields}


@pytest.mark.parametrize(
    ("verdict", "moves"),
    [
        ("pass", True),
        ("conditional_pass", True),
        ("conditional_fail", False),
        ("fail", False),
        ("undetermined", False),
    ],
)
def test_only_a_check_inside_limits_moves_the_due_date(planned: Workshop, verdict: str, moves: bool) -> None:
    assert recorded(planned, verdict=verdict).inspection.verdict == verdict
    assert due_date(planned).due_on == (SIX_MONTHS_AFTER_THE_CHECK if moves else SIX_MONTHS_AFTER_FITTING)


def test_a_plan_that_demands_a_pass_does_not_count_a_conditional_one(workshop: Workshop) -> None:
    builders.check_plan(workshop.installation, months=6, pass_required=True)
    recorded(workshop, "2026-03-02T09:30:00Z", verdict="pass")
    recorded(workshop, "2026-06-02T09:30:00Z", verdict="conditional_pass")
    assert due_date(workshop).due_on == SIX_MONTHS_AFTER_THE_CHECK
    recorded(workshop, "2026-07-02T09:30:00Z", verdict="pass")
    assert due_date(workshop).due_on == dt.date(2027, 1, 2)


def test_an_older_inspection_that_arrives_late_does_not_move_the_due_date(planned: Workshop) -> None:
    newest = recorded(planned, "2026-03-02T09:30:00Z").inspection
    before = due_date(planned)
    recorded(planned, "2026-02-16T09:30:00Z")
    after = due_date(planned)
    assert (after.due_on, after.last_check_on) == (SIX_MONTHS_AFTER_THE_CHECK, dt.date(2026, 3, 2))
    assert after.cycle_began_by == before.cycle_began_by == newest.uuid


def test_an_unsigned_inspection_moves_nothing_until_it_is_signed(planned: Workshop) -> None:
    trainee = builders.actor(planned.organisation, Role.TRAINEE)
    inspection = recorded(planned, by=trainee).inspection
    assert (inspection.verdict, inspection.signed_at) == ("pass", None)
    assert due_date(planned).due_on == SIX_MONTHS_AFTER_FITTING
    technician = builders.actor(planned.organisation)
    signed = sign_inspection(technician, inspection.uuid)
    assert signed is not None
    assert signed.signed_by == technician.user
    assert due_date(planned).due_on == SIX_MONTHS_AFTER_THE_CHECK


def test_a_technician_may_store_a_visit_unsigned(planned: Workshop) -> None:
    assert recorded(planned, sign=False).inspection.signed_by is None
    assert due_date(planned).due_on == SIX_MONTHS_AFTER_FITTING


def test_an_inspection_is_signed_once(planned: Workshop) -> None:
    inspection = recorded(planned).inspection
    with pytest.raises(Conflict, match="signed already"):
        sign_inspection(builders.actor(planned.organisation), inspection.uuid)


def test_a_superseded_check_no_longer_counts_and_the_due_date_goes_back(planned: Workshop) -> None:
    recorded(planned, "2025-09-01T09:30:00Z")
    wrong = recorded(planned, "2026-03-02T09:30:00Z").inspection
    assert due_date(planned).due_on == SIX_MONTHS_AFTER_THE_CHECK
    right = recorded(planned, "2026-03-02T10:00:00Z", verdict="fail", **superseding(wrong.uuid)).inspection
    wrong.refresh_from_db()
    assert (wrong.superseded_by, wrong.superseded_reason) == (right, "clamp was on the wrong cable")
    assert due_date(planned).due_on == dt.date(2026, 3, 1)


def test_an_unsigned_replacement_moves_no_due_date_before_it_is_signed(planned: Workshop) -> None:
    wrong = recorded(planned, "2026-03-02T09:30:00Z").inspection
    trainee = builders.actor(planned.organisation, Role.TRAINEE)
    fields = superseding(wrong.uuid, by=trainee, verdict="fail")
    replacement = recorded(planned, "2026-03-02T10:00:00Z", **fields).inspection
    assert due_date(planned).due_on == SIX_MONTHS_AFTER_THE_CHECK
    sign_inspection(builders.actor(planned.organisation), replacement.uuid)
    assert due_date(planned).due_on == SIX_MONTHS_AFTER_FITTING


def test_a_replacement_signed_late_replaces_the_version_that_stands(workshop: Workshop) -> None:
    first = recorded(workshop).inspection
    trainee = builders.actor(workshop.organisation, Role.TRAINEE)
    naming_it = {"supersedes": str(first.uuid), "supersede_reason": "mistyped"}
    late = recorded(workshop, by=trainee, **naming_it).inspection
    second = recorded(workshop, **naming_it).inspection
    sign_inspection(builders.actor(workshop.organisation), late.uuid)
    for row in (first, second):
        row.refresh_from_db()
    assert (first.superseded_by, second.superseded_by) == (second, late)
