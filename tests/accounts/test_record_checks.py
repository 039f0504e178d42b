"""A check of the record is asked for on a page and done in the background, once, with its outcome kept."""

import pytest

from accounts.actors import Actor, member_actor
from accounts.audit_check import check_record
from accounts.errors import NotAllowed
from accounts.models import AuditEntry, Depot, User, WorkRun
from accounts.roles import Role
from accounts.services.members import add_member
from accounts.services.organisations import add_depot, create_organisation
from accounts.services.record_checks import (
    anchor_of_run,
    ask_for_check,
    bad_entry_of,
    last_check,
    run_asked_checks,
)
from tests.naming import name


@pytest.fixture
def actor(db: None) -> Actor:
    """Return the administrator of an organisation whose rows were all written by services."""
    User.objects.create(username="ada")
    organisation, administrator = create_organisation(slug="quarry", name="Quarry", administrator="ada", password=None)
    name(organisation)
    actor = member_actor(administrator, source="test")
    add_depot(actor, name="North", time_zone="Europe/London")
    return actor


def checked(actor: Actor) -> WorkRun:
    run = last_check(actor.organisation)
    assert run is not None
    return run


def test_nothing_is_done_until_somebody_asks(actor: Actor) -> None:
    assert run_asked_checks() == 0
    assert last_check(actor.organisation) is None


def test_a_check_asked_for_twice_is_done_once_and_told_in_the_stream(actor: Actor) -> None:
    before = check_record(actor.organisation)
    ask_for_check(actor)
    ask_for_check(actor)
    assert (run_asked_checks(), run_asked_checks()) == (1, 0)
    run = checked(actor)
    assert (run.state, run.counts["sequence"], run.counts["hash"]) == ("done", before.sequence, before.hash)
    assert bad_entry_of(run) is None
    anchor = anchor_of_run(actor.organisation, run)
    assert anchor is not None
    assert check_record(actor.organisation, anchor=anchor).is_sound
    entry = AuditEntry.objects.latest("sequence")
    assert (entry.action, entry.on_behalf_of) == ("check", actor.user)
    assert entry.after == {"sequence": before.sequence, "sound": True}


def test_an_unsound_record_gives_no_head_to_keep_and_names_its_first_bad_entry(actor: Actor) -> None:
    Depot.objects.filter(organisation=actor.organisation).update(name="South")
    ask_for_check(actor)
    run_asked_checks()
    bad = bad_entry_of(checked(actor))
    assert bad is not None
    assert (bad.code, bad.sequence, bad.columns) == ("row_differs", 3, ("name",))
    assert anchor_of_run(actor.organisation, checked(actor)) is None
    ask_for_check(actor)
    assert checked(actor).state == "queued"
    assert run_asked_checks() == 1


def test_a_check_that_breaks_down_says_so_and_may_be_asked_for_again(
    actor: Actor, monkeypatch: pytest.MonkeyPatch
) -> None:
    ask_for_check(actor)
    with monkeypatch.context() as patch:
        patch.setattr("accounts.services.record_checks.check_record", lambda organisation: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            run_asked_checks()
    assert checked(actor).state == "failed"
    ask_for_check(actor)
    assert run_asked_checks() == 1


def test_who_does_not_manage_asks_for_no_check(actor: Actor) -> None:
    User.objects.create(username="vic")
    viewer = add_member(actor, username="vic", password=None, role=Role.VIEWER)
    with pytest.raises(NotAllowed):
        ask_for_check(member_actor(viewer, source="test"))
