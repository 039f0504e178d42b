"""A defect's life: released or not, repaired, and closed only by a passing retest."""

import datetime as dt
from typing import Any

import pytest

from accounts.actors import Actor
from accounts.errors import Conflict, NotAllowed, Refused
from accounts.roles import Role
from inspections.experience import confirmed_counts
from inspections.models import Defect, DefectStep
from inspections.services.defect_life import (
    certify_repair_unnecessary,
    decide_release,
    note_driver_told,
    record_repair,
    settle_changed_verdict,
)
from inspections.services.signing import sign_inspection
from tests import builders
from tests.builders import Workshop, single_pass
from tests.inspections.visits import recorded

UNTIL = dt.date(2026, 3, 20)
LATER = "2026-03-05T09:30:00Z"


@pytest.fixture
def technician(workshop: Workshop) -> Actor:
    return builders.actor(workshop.organisation)


@pytest.fixture
def manager(workshop: Workshop) -> Actor:
    return builders.actor(workshop.organisation, Role.MANAGER)


@pytest.fixture
def defect(workshop: Workshop) -> Defect:
    """Return the defect that a dead stage 3 has opened."""
    readings = single_pass()
    readings[2]["current_a"] = 0.0
    recorded(workshop, stage_readings=readings)
    return Defect.objects.get(installation=workshop.installation, code="outside_limits")


def retest(of: Workshop, defect: Defect, current_a: float = 36.3, **fields: Any) -> None:
    readings = [{"stage": 3, "energised": [3], "supply_voltage_v": 14.0, "current_a": current_a}]
    recorded(of, LATER, purpose="retest", retest_of=[str(defect.uuid)], stage_readings=readings, **fields)
    defect.refresh_from_db()


def kinds(defect: Defect) -> list[str]:
    return list(DefectStep.objects.filter(defect=defect).order_by("pk").values_list("kind", flat=True))


def test_only_a_passing_retest_after_a_repair_closes_it(workshop: Workshop, technician: Actor, defect: Defect) -> None:
    record_repair(technician, defect, done="Fuse 3 renewed", parts=["fuse 50 A"], cause="blown_fuse")
    retest(workshop, defect)
    assert (defect.state, defect.confirmed_cause) == ("closed", "blown_fuse")
    assert defect.closed_at is not None
    assert kinds(defect) == ["repaired", "retest_passed"]


def test_a_good_reading_without_a_repair_closes_nothing(workshop: Workshop, defect: Defect) -> None:
    retest(workshop, defect)
    assert defect.state == "open"
    assert kinds(defect) == ["retest_passed"]


def test_a_failed_retest_opens_it_again(workshop: Workshop, technician: Actor, defect: Defect) -> None:
    record_repair(technician, defect, done="Fuse 3 renewed", cause="blown_fuse")
    retest(workshop, defect, current_a=20.0)
    assert (defect.state, defect.closed_at) == ("open", None)
    assert kinds(defect) == ["repaired", "retest_failed"]
    # What did not help was not the cause: it teaches nothing, though the step keeps it.
    assert defect.confirmed_cause == ""
    assert confirmed_counts(workshop.organisation) == {}


def test_a_cause_that_is_none_is_refused(technician: Actor, defect: Defect) -> None:
    with pytest.raises(Refused) as refused:
        record_repair(technician, defect, done="Fuse 3 renewed", cause="blown fuse")
    assert [fault.path for fault in refused.value.faults] == [("cause",)]
    assert kinds(defect) == []


def test_an_unsigned_retest_closes_it_when_it_is_signed(workshop: Workshop, technician: Actor, defect: Defect) -> None:
    record_repair(technician, defect, done="Fuse 3 renewed")
    retest(workshop, defect, sign=False)
    assert defect.state == "repaired"
    (inspection,) = workshop.installation.inspections.filter(purpose="retest")
    sign_inspection(technician, inspection.uuid)
    defect.refresh_from_db()
    assert defect.state == "closed"


def test_a_release_is_decided_by_name_with_an_end_and_the_driver_is_told(manager: Actor, defect: Defect) -> None:
    decide_release(manager, defect, decision="isolated", until=UNTIL, reason="stage 3 dead, flat routes only")
    note_driver_told(manager, defect, driver="driver of the early turn")
    defect.refresh_from_db()
    assert (defect.release_decision, defect.release_until, defect.released_by) == ("isolated", UNTIL, manager.user)
    assert defect.driver_told_at is not None


def test_a_new_release_decision_has_to_be_told_anew(manager: Actor, defect: Defect) -> None:
    decide_release(manager, defect, decision="isolated", until=UNTIL, reason="stage 3 dead")
    note_driver_told(manager, defect, driver="driver of the early turn")
    decide_release(manager, defect, decision="off_the_road", until=UNTIL, reason="stage 2 dead too")
    defect.refresh_from_db()
    assert defect.driver_told_at is None


@pytest.mark.parametrize(("decision", "reason"), [("perhaps", "because"), ("isolated", "")])
def test_a_release_without_a_known_decision_or_a_reason_is_refused(
    manager: Actor, defect: Defect, decision: str, reason: str
) -> None:
    with pytest.raises(Refused):
        decide_release(manager, defect, decision=decision, until=UNTIL, reason=reason)
    assert kinds(defect) == []


def test_a_repair_certified_unnecessary_closes_it_with_who_and_why(manager: Actor, defect: Defect) -> None:
    certify_repair_unnecessary(manager, defect, reason="the isolator was off")
    defect.refresh_from_db()
    step = DefectStep.objects.get(defect=defect)
    assert (defect.state, step.by, step.details) == (
        "repair_unnecessary",
        manager.user,
        {"reason": "the isolator was off"},
    )


def test_a_closed_defect_takes_no_further_step(manager: Actor, defect: Defect) -> None:
    certify_repair_unnecessary(manager, defect, reason="the isolator was off")
    with pytest.raises(Conflict):
        record_repair(manager, defect, done="Fuse 3 renewed")


def test_a_changed_verdict_is_settled_by_a_manager(technician: Actor, manager: Actor, defect: Defect) -> None:
    Defect.objects.filter(pk=defect.pk).update(verdict_changed=True)
    with pytest.raises(NotAllowed):
        settle_changed_verdict(technician, defect, reason="stands")
    settle_changed_verdict(manager, defect, reason="stands")
    defect.refresh_from_db()
    assert not defect.verdict_changed


def test_a_technician_neither_releases_nor_certifies(technician: Actor, defect: Defect) -> None:
    with pytest.raises(NotAllowed):
        decide_release(technician, defect, decision="isolated", until=UNTIL, reason="flat routes")
    with pytest.raises(NotAllowed):
        certify_repair_unnecessary(technician, defect, reason="looks fine")


@pytest.mark.parametrize(("code", "noted"), [("output_mismatch", "outputs_live"), ("lamp_mismatch", "lamps_lit")])
def test_good_amps_do_not_close_what_they_say_nothing_about(
    workshop: Workshop, technician: Actor, code: str, noted: str
) -> None:
    readings = single_pass()
    readings[2][noted] = []
    recorded(workshop, stage_readings=readings)
    defect = Defect.objects.get(installation=workshop.installation, code=code)
    record_repair(technician, defect, done="Relay 3 renewed")
    retest(workshop, defect)
    assert (defect.state, kinds(defect)) == ("repaired", ["repaired"])
    reading = {"stage": 3, "energised": [3], "supply_voltage_v": 14.0, "current_a": 36.3, noted: [3]}
    recorded(workshop, "2026-03-06T09:30:00Z", purpose="retest", retest_of=[str(defect.uuid)], stage_readings=[reading])
    defect.refresh_from_db()
    assert defect.state == "closed"
