"""Every constraint of inspections refuses a row that breaks it."""

import datetime as dt
from typing import Any

import pytest
from django.db import IntegrityError
from django.utils import timezone

from inspections.models import Calibration, Decline, Defect, DefectStep, ExtraReading, Trend
from tests import builders
from tests.accounts.constraints import assert_refused_by, constraint_names, store_twin
from tests.builders import Workshop
from tests.inspections.visits import recorded

ON = dt.date(2026, 3, 2)
NOW = dt.datetime(2026, 3, 2, 10, tzinfo=dt.UTC)
SAME_ID, ITSELF, ANOTHER_UNIT = object(), object(), object()
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
    ("judgement_id", "judgement", {"uuid": SAME_ID, "number": 2, "reason": "new method"}),
    ("judgement_number", "judgement", {}),
    ("judgement_verdict_known", "judgement", {"number": 2, "reason": "new method", "verdict": "good"}),
    ("judgement_after_the_first_has_a_reason", "judgement", {"number": 2}),
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
    ("trend_id", "trend", {"uuid": SAME_ID, "installation": ANOTHER_UNIT}),
]
CASES = METERS + VISITS + FOLLOWING


@pytest.fixture
def rows(workshop: Workshop) -> dict[str, Any]:
    """Return one row of each kind."""
    first = recorded(workshop)
    owner = {"organisation": workshop.organisation}
    person = first.inspection.recorded_by
    of = {**owner, "installation": workshop.installation}
    defect = Defect.objects.create(**of, code="outside_limits", opened_at=NOW)
    return {
        "meter": workshop.ammeter,
        "calibration": Calibration.objects.create(
            **owner, meter=workshop.ammeter, performed_on=ON, due_on=dt.date(2027, 3, 2)
        ),
        "inspection": first.inspection,
        "judgement": first.judgement,
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
        "decline": Decline.objects.create(
            **of, raised_by=first.inspection, attribution="all_stages", state="watched", raised_at=NOW
        ),
        "defect": defect,
        "defect_step": DefectStep.objects.create(**owner, defect=defect, kind="opened", at=NOW),
        "trend": Trend.objects.create(**of, stages=[], fitted_to="", method="none", method_version="0"),
    }


@pytest.mark.parametrize(("name", "of", "changes"), CASES)
def test_a_row_that_breaks_it_is_refused(rows: dict[str, Any], name: str, of: str, changes: dict[str, Any]) -> None:
    row = rows[of]
    another = builders.installation(row.organisation)
    meant = {id(SAME_ID): row.uuid, id(ITSELF): row, id(ANOTHER_UNIT): another}
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
