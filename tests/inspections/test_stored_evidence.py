"""What is kept of a visit: digits as typed, the meters of the day, the local date, the first judgement."""

import datetime as dt
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest

from accounts.errors import Conflict, Refused
from accounts.instants import instant
from fleet.models import RatingRevision
from inspections.models import Inspection, Meter
from inspections.queries import first_judgement
from inspections.services.judging import full_result
from inspections.services.record import record_inspection
from tests import builders
from tests.builders import Workshop
from tests.inspections.visits import recorded, visit

REST = {"supply_voltage_v": 14.20, "current_a": -0.10}


def as_stored(value: Any) -> Any:
    """Return the value with tuples as the lists that a document has in their place."""
    if isinstance(value, dict):
        return {key: as_stored(item) for key, item in value.items()}
    return [as_stored(item) for item in value] if isinstance(value, list | tuple) else value


@pytest.mark.parametrize(
    ("time_zone", "performed_at", "performed_on"),
    [
        ("Pacific/Auckland", "2026-03-02T11:30:00Z", dt.date(2026, 3, 3)),
        ("America/Los_Angeles", "2026-03-02T07:59:59Z", dt.date(2026, 3, 1)),
        ("America/Los_Angeles", "2026-03-02T08:00:00Z", dt.date(2026, 3, 2)),
        ("Europe/London", "2026-07-01T23:30:00Z", dt.date(2026, 7, 2)),
    ],
)
def test_performed_on_is_the_local_date_in_the_depots_zone(
    db: None, time_zone: str, performed_at: str, performed_on: dt.date
) -> None:
    owner = builders.organisation()
    carrier = builders.vehicle(owner, depot=builders.depot(owner, time_zone))
    unit = builders.installation(owner, vehicle=carrier)
    of = Workshop(owner, unit, builders.meter(owner, "ammeter"), builders.meter(owner, "voltmeter"))
    assert recorded(of, performed_at).inspection.performed_on == performed_on


def test_stored_evidence_keeps_the_digits_as_typed(workshop: Workshop) -> None:
    document = visit(workshop, rest=REST)
    document["stage_readings"][0]["current_a"] = Decimal("36.30")
    document["stage_readings"][1]["current_a"] = Decimal("36.3")
    stored = record_inspection(builders.actor(workshop.organisation), document).inspection
    stored.refresh_from_db()
    assert [reading["current_a"] for reading in stored.evidence["stage_readings"][:2]] == ["36.30", "36.3"]
    assert stored.evidence["rest"] == {"supply_voltage_v": "14.2", "current_a": "-0.1"}


def test_the_meters_figures_of_the_day_stay_when_the_meter_changes_later(workshop: Workshop) -> None:
    first = recorded(workshop)
    Meter.objects.filter(pk=workshop.ammeter.pk).update(accuracy_percent=5.0, range_max=30.0)
    stored = Inspection.objects.get(pk=first.inspection.pk)
    assert stored.evidence["ammeter"]["accuracy_percent"] == "2.0"
    assert as_stored(full_result(stored, first_judgement(stored))) == as_stored(first.result)
    assert recorded(workshop, "2026-03-03T09:30:00Z").result["verdict"] == "undetermined"


@pytest.mark.parametrize("verdict", ["pass", "conditional_pass", "conditional_fail", "fail", "undetermined"])
def test_a_judgement_worked_out_again_equals_the_first_answer(workshop: Workshop, verdict: str) -> None:
    first = recorded(workshop, verdict=verdict, rest=REST, engine_state="high_idle")
    stored = Inspection.objects.get(pk=first.inspection.pk)
    assert as_stored(full_result(stored, first_judgement(stored))) == as_stored(first.result)


def test_a_later_rating_revision_does_not_touch_the_first_judgement(workshop: Workshop) -> None:
    first = recorded(workshop)
    revision = RatingRevision.objects.get(retarder_type=workshop.installation.retarder.retarder_type)
    revision.pk, revision.uuid, revision.number, revision.reason = None, uuid4(), 2, "plate read again"
    revision.rated_currents_a = [50.0] * 4
    revision.save(force_insert=True)
    stored = Inspection.objects.get(pk=first.inspection.pk)
    assert as_stored(full_result(stored, first_judgement(stored))) == as_stored(first.result)
    assert recorded(workshop, "2026-03-03T09:30:00Z").inspection.verdict == "fail"


def test_levels_are_kept_as_whole_hundredths_of_a_percent_of_rated(workshop: Workshop) -> None:
    first = recorded(workshop)
    stored = Inspection.objects.get(pk=first.inspection.pk)
    level_percent = first.result["stages"][0]["level_percent"]
    assert stored.level_1 == round(level_percent * 100)
    assert stored.u_1 == round(first.result["stages"][0]["expanded_uncertainty_percent"] * 100)
    assert (stored.level_5, stored.u_5) == (None, None)


def test_the_same_content_again_stores_nothing_and_other_content_is_a_conflict(workshop: Workshop) -> None:
    by = builders.actor(workshop.organisation)
    document = visit(workshop)
    first = record_inspection(by, document)
    again = record_inspection(by, document)
    assert (first.created, again.created) == (True, False)
    assert (again.inspection, as_stored(again.result)) == (first.inspection, as_stored(first.result))
    with pytest.raises(Conflict):
        record_inspection(by, {**document, "notes": "something else"})
    assert Inspection.objects.count() == 1


def test_a_phone_clock_ahead_is_flagged_up_to_ten_minutes_and_refused_beyond(workshop: Workshop) -> None:
    by, now = builders.actor(workshop.organisation), instant("2026-03-02T09:30:00Z")
    ahead = record_inspection(by, visit(workshop, performed_at="2026-03-02T09:40:00Z"), received_at=now)
    assert ahead.inspection.clock_ahead
    with pytest.raises(Refused) as refusal:
        record_inspection(by, visit(workshop, performed_at="2026-03-02T09:40:01Z"), received_at=now)
    assert refusal.value.faults[0].path == ("performed_at",)
    assert not recorded(workshop).inspection.clock_ahead


@pytest.mark.parametrize("performed_at", ["2024-01-14T09:30:00Z", "2026-05-02T09:30:00Z"])
def test_a_visit_outside_the_time_of_fitting_is_refused(db: None, performed_at: str) -> None:
    of = builders.workshop(removed_on=dt.date(2026, 5, 1))
    with pytest.raises(Refused) as refusal:
        recorded(of, performed_at)
    assert [fault.code for fault in refusal.value.faults] == ["not_fitted"]
