"""A visit is stored whole or not at all, and what was done is told in the same transaction."""

from uuid import uuid4

import pytest

from accounts.models import AuditEntry
from accounts.roles import Role
from inspections.services import extra, record, signing
from inspections.services.extra import add_extra_reading
from inspections.services.record import record_inspection
from inspections.services.signing import sign_inspection
from tests import builders
from tests.accounts.audit_chain import chain_of, first_bad_sequence
from tests.builders import Workshop
from tests.inspections.tables import every_row
from tests.inspections.visits import recorded, visit


class Fault(Exception):
    """A fault of ours, half-way."""


def fail(*args: object, **kwargs: object) -> None:
    raise Fault


@pytest.mark.parametrize(
    "step", ["give_verdict", "supersede_by", "propose_defects", "refresh_due_dates", "write_audit"]
)
def test_a_fault_half_way_through_recording_leaves_nothing(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    builders.check_plan(workshop.installation)
    by = builders.actor(workshop.organisation)
    old = recorded(workshop, "2026-03-01T09:30:00Z", by=by).inspection
    replacement = {"supersedes": str(old.uuid), "supersede_reason": "clamp was on the wrong cable"}
    document = visit(workshop, verdict="fail", **replacement)
    before = every_row()
    with monkeypatch.context() as patched:
        patched.setattr(record, step, fail)
        with pytest.raises(Fault):
            record_inspection(by, document)
    assert every_row() == before
    assert record_inspection(by, document).created


def test_a_fault_while_signing_leaves_the_visit_unsigned(workshop: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    inspection = recorded(workshop, sign=False).inspection
    by = builders.actor(workshop.organisation)
    before = every_row()
    monkeypatch.setattr(signing, "write_audit", fail)
    with pytest.raises(Fault):
        sign_inspection(by, inspection.uuid)
    assert every_row() == before


def test_a_fault_while_adding_a_reading_leaves_none(workshop: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    inspection = recorded(workshop).inspection
    by = builders.actor(workshop.organisation)
    before = every_row()
    monkeypatch.setattr(extra, "write_audit", fail)
    with pytest.raises(Fault):
        add_extra_reading(by, inspection.uuid, {"id": uuid4(), "kind": "battery_voltage", "value": "12.6"})
    assert every_row() == before


def entries_of(of: Workshop) -> list[AuditEntry]:
    entries = chain_of(of.organisation)
    assert first_bad_sequence(entries) is None
    return entries


def test_recording_signing_and_replacing_are_told(workshop: Workshop) -> None:
    trainee = builders.actor(workshop.organisation, Role.TRAINEE)
    manager = builders.actor(workshop.organisation, Role.MANAGER)
    first = recorded(workshop, by=trainee).inspection
    sign_inspection(manager, first.uuid)
    fields = {"supersedes": str(first.uuid), "supersede_reason": "clamp was on the wrong cable"}
    second = recorded(workshop, "2026-03-02T10:00:00Z", by=manager, **fields).inspection
    told = [(entry.action, entry.object_id, entry.actor) for entry in entries_of(workshop)]
    assert told == [
        ("record", first.uuid, trainee.user),
        ("judge", first.judgements.get().uuid, trainee.user),
        ("sign", first.uuid, manager.user),
        ("record", second.uuid, manager.user),
        ("judge", second.judgements.get().uuid, manager.user),
        ("supersede", first.uuid, manager.user),
    ]
    record_entry, _judge, _sign, _record, _judge_again, supersede_entry = entries_of(workshop)
    assert record_entry.after is not None
    assert record_entry.after["content_hash"] == first.content_hash
    assert record_entry.device_at == first.performed_at
    assert supersede_entry.after == {"superseded_by_id": second.pk}
    assert supersede_entry.reason == "clamp was on the wrong cable"


def test_an_opened_defect_and_an_added_reading_are_told(workshop: Workshop) -> None:
    by = builders.actor(workshop.organisation)
    readings = builders.single_pass()
    readings[1]["current_a"] = 0.0
    inspection = recorded(workshop, by=by, stage_readings=readings).inspection
    reading = {"id": uuid4(), "kind": "fuse_drop", "stage": 2, "value": "13.9"}
    for _ in range(2):
        add_extra_reading(by, inspection.uuid, reading)
    told = [(entry.action, entry.object_type) for entry in entries_of(workshop)]
    assert told == [
        ("record", "inspection"),
        ("judge", "judgement"),
        ("open", "defect"),
        ("record", "extra_reading"),
    ]


def test_the_same_visit_again_is_not_told_again(workshop: Workshop) -> None:
    by, document = builders.actor(workshop.organisation), visit(workshop)
    for _ in range(3):
        record_inspection(by, document)
    assert [entry.action for entry in entries_of(workshop)] == ["record", "judge"]
