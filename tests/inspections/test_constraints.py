"""Every constraint of inspections refuses a row that breaks it."""

import datetime as dt
from typing import Any

import pytest
from django.db import IntegrityError
from django.utils import timezone

from inspections.models import (
    Calibration,
    Decline,
    Defect,
    DefectStep,
    DriverLink,
    DueDateChunk,
    ExtraReading,
    LimitsRevision,
    MeterComparison,
    MeterEffect,
    Photo,
    RejudgedVerdict,
    Rejudging,
    ReleaseNotice,
    Trend,
    TrendChunk,
)
from tests import builders
from tests.accounts.constraints import assert_refused_by, constraint_names, store_twin
from tests.builders import Workshop
from tests.inspections.visits import recorded

ON = dt.date(2026, 3, 2)
NOW = dt.datetime(2026, 3, 2, 10, tzinfo=dt.UTC)
SAME_ID, ITSELF, ANOTHER_UNIT, PERSON, METER = object(), object(), object(), object(), object()
OTHER_SET = object()
Case = tuple[str, str, dict[str, Any]]

METERS: list[Case] = [
    ("meter_id", "meter", {"uuid": SAME_ID, "designation": "other"}),
    ("meter_designation", "meter", {}),
    ("meter_kind_known", "meter", {"designation": "other", "kind": "ohmmeter"}),
    ("meter_accuracy_makes_sense", "meter", {"designation": "other", "accuracy_percent": -0.1}),
    ("meter_accuracy_makes_sense", "meter", {"designation": "other", "accuracy_counts": -1.0}),
    ("meter_accuracy_makes_sense", "meter", {"designation": "other", "resolution": 0.0}),
    ("meter_range_positive", "meter", {"designation": "other", "range_max": 0.0}),
    ("calibration_id", "calibration", {"uuid": SAME_ID, "performed_on": dt.date(2026, 3, 3)}),
    ("calibration_once_a_day", "calibration", {}),
    ("calibration_due_after_done", "calibration", {"performed_on": dt.date(2027, 3, 3)}),
    ("meter_comparison_id", "meter_comparison", {"uuid": SAME_ID}),
    ("meter_comparison_of_two", "meter_comparison", {"second": METER}),
    ("limits_revision_id", "limits_revision", {"uuid": SAME_ID, "number": 2}),
    ("limits_revision_once", "limits_revision", {}),
    ("limits_revision_counted_from_one", "limits_revision", {"number": 0}),
]
VISITS: list[Case] = [
    ("inspection_id", "inspection", {"uuid": SAME_ID}),
    ("inspection_verdict_known", "inspection", {"verdict": "good"}),
    ("inspection_purpose_known", "inspection", {"purpose": "sale"}),
    ("inspection_engine_known", "inspection", {"engine_state": "full"}),
    ("inspection_temperature_method_known", "inspection", {"coil_temperature_method": "guessed"}),
    ("inspection_signed_by_somebody", "inspection", {"signed_by_id": None}),
    ("inspection_signed_by_somebody", "inspection", {"signed_at": None}),
    ("inspection_superseded_with_a_reason", "inspection", {"superseded_by": ITSELF}),
    ("inspection_superseded_with_a_reason", "inspection", {"superseded_by": ITSELF, "superseded_reason": ""}),
    ("inspection_superseded_with_a_reason", "inspection", {"superseded_reason": "typing error"}),
    ("extra_reading_id", "extra_reading", {"uuid": SAME_ID}),
    ("extra_reading_kind_known", "extra_reading", {"kind": "smell"}),
    ("extra_reading_has_a_value", "extra_reading", {"value": None}),
    ("extra_reading_has_a_value", "extra_reading", {"over_range": True}),
    ("photo_id", "photo", {"uuid": SAME_ID}),
    ("photo_belongs_to_one_thing", "photo", {"inspection": None}),
    ("photo_withdrawn_by_somebody_with_a_reason", "photo", {"withdrawn_at": NOW}),
    ("photo_withdrawn_by_somebody_with_a_reason", "photo", {"withdrawn_at": NOW, "withdrawn_by": PERSON}),
    ("judgement_id", "judgement", {"uuid": SAME_ID, "number": 2, "reason": "new method"}),
    ("judgement_number", "judgement", {}),
    ("judgement_verdict_known", "judgement", {"number": 2, "reason": "new method", "verdict": "good"}),
    ("judgement_after_the_first_has_a_reason", "judgement", {"number": 2}),
    ("rejudging_id", "rejudging", {"uuid": SAME_ID}),
    ("rejudging_state_known", "rejudging", {"state": "forgotten"}),
    ("rejudging_has_a_reason", "rejudging", {"reason": ""}),
    ("rejudged_verdict_id", "rejudged_verdict", {"uuid": SAME_ID, "rejudging": OTHER_SET}),
    ("rejudged_verdict_once", "rejudged_verdict", {}),
    ("rejudged_verdicts_known", "rejudged_verdict", {"verdict_after": "good"}),
]
FOLLOWING: list[Case] = [
    ("decline_id", "decline", {"uuid": SAME_ID, "stage": 2}),
    ("decline_once", "decline", {}),
    ("decline_attribution_known", "decline", {"attribution": "weather"}),
    ("decline_state_known", "decline", {"stage": 2, "state": "forgotten"}),
    ("defect_id", "defect", {"uuid": SAME_ID, "stage": 2}),
    ("defect_open_once", "defect", {}),
    ("defect_closed_has_a_time", "defect", {"stage": 2, "state": "closed"}),
    ("defect_closed_has_a_time", "defect", {"stage": 2, "closed_at": NOW}),
    ("defect_release_has_a_person_and_an_end", "defect", {"stage": 2, "release_decision": "isolated"}),
    ("defect_release_has_a_person_and_an_end", "defect", {"stage": 2, "release_until": ON}),
    ("defect_step_id", "defect_step", {"uuid": SAME_ID}),
    ("defect_step_kind_known", "defect_step", {"kind": "forgotten"}),
    ("release_notice_id", "release_notice", {"uuid": SAME_ID, "release_until": dt.date(2026, 3, 3)}),
    ("release_notice_once", "release_notice", {}),
    ("release_notice_held_known", "release_notice", {"release_until": dt.date(2026, 3, 3), "held": "lost"}),
    ("driver_link_id", "driver_link", {"uuid": SAME_ID, "revoked_at": NOW, "revoked_by": PERSON}),
    ("driver_link_one_in_force", "driver_link", {}),
    ("driver_link_revoked_by_somebody", "driver_link", {"revoked_at": NOW}),
    ("trend_id", "trend", {"uuid": SAME_ID, "installation": ANOTHER_UNIT}),
    ("trend_chunk_once", "trend_chunk", {}),
    ("due_date_chunk_once", "due_date_chunk", {}),
    ("meter_effect_once", "meter_effect", {}),
]
CASES = METERS + VISITS + FOLLOWING


@pytest.fixture
def rows(workshop: Workshop) -> dict[str, Any]:
    """Return one row of each kind."""
    first = recorded(workshop)
    owner = {"organisation": workshop.organisation}
    person = first.inspection.recorded_by
    of = {**owner, "installation": workshop.installation}
    two_units: dict[str, Any] = {"first_unit": 1, "last_unit": 2, "units": 2, "planned_at": NOW}
    defect = Defect.objects.create(**of, code="outside_limits", opened_at=NOW)
    asked = {**owner, "reason": "audit", "requested_at": NOW, "up_to": 1, "total": 1, "content_hash": "0" * 64}
    rejudging, other_set = (Rejudging.objects.create(**asked) for _number in range(2))
    return {
        "meter": workshop.ammeter,
        "calibration": Calibration.objects.create(
            **owner, meter=workshop.ammeter, performed_on=ON, due_on=dt.date(2027, 3, 2)
        ),
        "meter_comparison": MeterComparison.objects.create(
            **owner,
            first=workshop.ammeter,
            second=builders.meter(workshop.organisation, "ammeter"),
            compared_on=ON,
            pairs=[],
            figures={},
            normalised_error=0.2,
            agree=True,
        ),
        "limits_revision": LimitsRevision.objects.create(**owner, number=1),
        "inspection": first.inspection,
        "judgement": first.judgement,
        "rejudging": rejudging,
        "other_set": other_set,
        "rejudged_verdict": RejudgedVerdict.objects.create(
            **owner, rejudging=rejudging, inspection=first.inspection, verdict_before="pass", verdict_after="fail"
        ),
        "extra_reading": ExtraReading.objects.create(
            **owner,
            inspection=first.inspection,
            kind="battery_voltage",
            energised=[],
            value="12.60",
            received_at=timezone.now(),
            recorded_by=person,
            content_hash="0" * 64,
        ),
        "photo": Photo.objects.create(
            **owner,
            inspection=first.inspection,
            picture=b"",
            width_px=1,
            height_px=1,
            sent_hash="0" * 64,
            received_at=NOW,
            added_by=person,
        ),
        "decline": Decline.objects.create(
            **of, raised_by=first.inspection, attribution="all_stages", state="watched", raised_at=NOW
        ),
        "defect": defect,
        "release_notice": ReleaseNotice.objects.create(
            **owner, defect=defect, release_until=ON, queued_at=NOW, person=builders.member(workshop.organisation)
        ),
        "driver_link": DriverLink.objects.create(
            **owner, vehicle=workshop.installation.vehicle, issued_at=NOW, issued_by=person
        ),
        "defect_step": DefectStep.objects.create(**owner, defect=defect, kind="opened", at=NOW),
        "trend": Trend.objects.create(**of, figures=b"", method="none", method_version="0"),
        "trend_chunk": TrendChunk.objects.create(**owner, **two_units),
        "due_date_chunk": DueDateChunk.objects.create(**owner, **two_units, as_of=NOW),
        "meter_effect": MeterEffect.objects.create(
            **owner, meter=first.inspection.ammeter, calibrated_day=-1, visits=1, measured_at=NOW
        ),
    }


@pytest.mark.parametrize(("name", "of", "changes"), CASES)
def test_a_row_that_breaks_it_is_refused(rows: dict[str, Any], name: str, of: str, changes: dict[str, Any]) -> None:
    row = rows[of]
    another = builders.installation(row.organisation)
    person = rows["inspection"].recorded_by
    meant = {id(SAME_ID): getattr(row, "uuid", None), id(ITSELF): row, id(ANOTHER_UNIT): another, id(PERSON): person}
    meant[id(METER)] = rows["meter"]
    meant[id(OTHER_SET)] = rows["other_set"]
    assert_refused_by(name, row, {column: meant.get(id(value), value) for column, value in changes.items()})


def test_every_constraint_has_a_row_that_breaks_it() -> None:
    assert constraint_names("inspections") == {name for name, _of, _changes in CASES} | {"defect_state_known"}


def test_an_unknown_state_of_a_defect_breaks_two_constraints_and_is_refused(rows: dict[str, Any]) -> None:
    with pytest.raises(IntegrityError, match=r"defect_state_known|defect_closed_has_a_time"):
        store_twin(rows["defect"], stage=2, state="forgotten")


def test_another_organisation_may_use_the_same_inspection_id(rows: dict[str, Any]) -> None:
    other = builders.workshop()
    shared_id = str(rows["inspection"].uuid)
    assert recorded(other, id=shared_id).created
