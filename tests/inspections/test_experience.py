"""Confirmed causes: what one organisation's repairs have shown moves its own rankings and nobody else's."""

from typing import Any
from uuid import uuid4

from django.utils import timezone

from inspections.experience import confirmed_counts
from inspections.models import Defect
from tests import builders
from tests.api.documents import assessment_document
from tests.builders import Workshop, inspection_document, single_pass
from tests.conftest import Api
from tests.inspections.visits import recorded
from tests.naming import name

TIMES = 40


def confirm(of: Workshop, cause: str, times: int = TIMES) -> None:
    """Close so many defects whose repair has confirmed the cause."""
    name(of.organisation)
    closed = {"state": "closed", "opened_at": timezone.now(), "closed_at": timezone.now(), "confirmed_cause": cause}
    Defect.objects.bulk_create(
        Defect(organisation=of.organisation, installation=of.installation, code="outside_limits", stage=1, **closed)
        for _defect in range(times)
    )


def dead_stage() -> list[dict[str, Any]]:
    readings = single_pass()
    readings[2]["current_a"] = 0.0
    return readings


def chance(hypotheses: list[dict[str, Any]], cause: str) -> float:
    return float(sum(each["probability"] for each in hypotheses if each["cause"] == cause))


def test_only_the_organisations_own_causes_are_counted(workshop: Workshop) -> None:
    elsewhere = builders.workshop()
    confirm(workshop, "blown_fuse", 3)
    confirm(workshop, "", 2)
    confirm(elsewhere, "open_coil", 5)
    name(workshop.organisation)
    assert confirmed_counts(workshop.organisation) == {"blown_fuse": 3}
    name(elsewhere.organisation)
    assert confirmed_counts(elsewhere.organisation) == {"open_coil": 5}


def test_they_move_every_ranking_of_their_organisation_and_none_of_another(workshop: Workshop) -> None:
    elsewhere = builders.workshop()
    before = recorded(elsewhere, stage_readings=dead_stage()).result["hypotheses"]
    confirm(workshop, "blown_fuse")
    stored = recorded(workshop, stage_readings=dead_stage()).result["hypotheses"]
    name(elsewhere.organisation)
    after = recorded(elsewhere, "2026-03-03T09:30:00Z", stage_readings=dead_stage()).result["hypotheses"]
    assert chance(stored, "blown_fuse") > chance(before, "blown_fuse") + 0.2
    assert chance(after, "blown_fuse") == chance(before, "blown_fuse")


def test_an_assessment_and_an_added_reading_are_ranked_by_them_too(workshop: Workshop) -> None:
    confirm(workshop, "blown_fuse")
    own, other = Api(workshop.organisation), Api(builders.workshop().organisation)
    document = assessment_document(stage_readings=dead_stage())
    chances = [chance(api.post("assessments/", document).json()["hypotheses"], "blown_fuse") for api in (own, other)]
    assert chances[0] > chances[1] + 0.2
    check = inspection_document(workshop, stage_readings=dead_stage())
    assert own.post("inspections/", check).status_code == 201
    reading = {"id": str(uuid4()), "kind": "output_voltage", "stage": 3, "value": 0.0, "energised": [3]}
    added = own.post(f"inspections/{check['id']}/extra-readings/", reading).json()["hypotheses"]
    assert chance(added, "blown_fuse") > chance(added, "contact_not_closing")
