"""An organisation with so many rows of every kind, each with relations of its own."""

import datetime as dt
from typing import Any, TypeVar

from django.db import models
from django.utils import timezone

from accounts.identity import new_id
from fleet.models import Installation, RatingRevision, Retarder
from inspections.models import (
    Calibration,
    Decline,
    Defect,
    ExtraReading,
    Inspection,
    Judgement,
    LimitsRevision,
    MeterComparison,
    Photo,
    Rejudging,
)
from schedules.models import DueDate, Reminder
from tests import builders
from tests.builders import Workshop, inspection_document
from tests.conftest import Api

Row = TypeVar("Row", bound=models.Model)
TODAY = dt.date(2026, 3, 2)
BEGINNING = dt.date(2000, 1, 1)


def furnish(workshop: Workshop, number: int) -> None:
    """Add so many rows of every kind; the first row of each kind also gains so many children."""
    inspection = _first_inspection(workshop)
    units = [builders.installation(workshop.organisation) for _ in range(number)]
    _grow_first_unit(workshop, number)
    inspections = [_visit(inspection, unit) for unit in units]
    Inspection.objects.bulk_create(inspections)
    _visits_of_one_unit(inspection, number)
    _beside_the_first_inspection(inspection, number)
    _for_each_unit(workshop, inspections)


def units_without_a_plan(workshop: Workshop, number: int) -> None:
    """Add so many units that nobody has planned a check for, all in one vehicle."""
    owner, first = workshop.organisation, workshop.installation
    retarders = [
        Retarder(organisation=owner, retarder_type=first.retarder.retarder_type, serial_number=f"row {index}")
        for index in range(number)
    ]
    Retarder.objects.bulk_create(retarders)
    units = [Installation(organisation=owner, retarder=unit, vehicle=first.vehicle) for unit in retarders]
    Installation.objects.bulk_create(units)
    depot = first.vehicle.depot
    DueDate.objects.bulk_create(
        DueDate(organisation=owner, installation=unit, depot=depot, state="no_plan", cycle_began_by=unit.uuid)
        for unit in units
    )


def _first_inspection(workshop: Workshop) -> Inspection:
    stored = Inspection.objects.filter(organisation=workshop.organisation).order_by("pk").first()
    if stored is None:
        document = inspection_document(workshop)
        assert Api(workshop.organisation).post("inspections/", document).status_code == 201
        stored = Inspection.objects.get(uuid=document["id"])
    return stored


def _copy(row: Row, **columns: Any) -> Row:
    fields = {
        field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields if not field.primary_key
    }
    return type(row)(**fields | {"uuid": new_id()} | columns)


def _visit(first: Inspection, unit: Installation) -> Inspection:
    people = [builders.member(first.organisation) for _ in range(2)]
    return _copy(
        first,
        installation_id=unit.pk,
        depot_id=unit.vehicle.depot_id,
        recorded_by_id=people[0].user_id,
        signed_by_id=people[1].user_id,
        superseded_by_id=first.pk,
        superseded_reason="for the sake of a list",
        ammeter_id=builders.meter(first.organisation, "ammeter").pk,
    )


def _visits_of_one_unit(first: Inspection, number: int) -> None:
    Inspection.objects.bulk_create(_copy(first) for _ in range(number))


def _grow_first_unit(workshop: Workshop, number: int) -> None:
    revision = RatingRevision.objects.filter(organisation=workshop.organisation).order_by("-number", "pk")[0]
    numbers = range(revision.number + 1, revision.number + 1 + number)
    RatingRevision.objects.bulk_create(_copy(revision, number=following) for following in numbers)
    meter = workshop.ammeter
    done = meter.calibrations.count()
    Calibration.objects.bulk_create(
        Calibration(organisation=meter.organisation, meter=meter, performed_on=BEGINNING + dt.timedelta(days=day))
        for day in range(done, done + number)
    )


def _beside_the_first_inspection(first: Inspection, number: int) -> None:
    reading = {"kind": "supply_drop", "energised": [1], "value": "0.31", "content_hash": "0" * 64}
    ExtraReading.objects.bulk_create(
        ExtraReading(
            organisation=first.organisation,
            inspection=first,
            recorded_by=first.recorded_by,
            received_at=timezone.now(),
            **reading,
        )
        for _ in range(number)
    )
    judgement = first.judgements.order_by("-number")[0]
    numbers = range(judgement.number + 1, judgement.number + 1 + number)
    Judgement.objects.bulk_create(_copy(judgement, number=following, reason="once more") for following in numbers)
    asked = {"reason": "audit", "requested_at": timezone.now(), "up_to": 1, "total": 1, "content_hash": "0" * 64}
    Rejudging.objects.bulk_create(Rejudging(organisation=first.organisation, **asked) for _ in range(number))
    done = LimitsRevision.objects.filter(organisation=first.organisation).count()
    LimitsRevision.objects.bulk_create(
        LimitsRevision(organisation=first.organisation, number=done + added, entered_by=first.recorded_by)
        for added in range(1, number + 1)
    )
    photo = {"picture": b"", "width_px": 1, "height_px": 1, "sent_hash": "0" * 64, "received_at": timezone.now()}
    Photo.objects.bulk_create(
        Photo(organisation=first.organisation, inspection=first, added_by=first.recorded_by, **photo)
        for _ in range(number)
    )


def _for_each_unit(workshop: Workshop, inspections: list[Inspection]) -> None:
    at, owner = timezone.now(), {"organisation": workshop.organisation}
    for inspection in inspections:
        unit = inspection.installation
        plan, person = builders.check_plan(unit), builders.member(workshop.organisation)
        due = {"plan": plan, "cycle_began_by": unit.uuid, "due_on": TODAY}
        rows: list[models.Model] = [
            DueDate(
                **owner, installation=unit, depot=unit.vehicle.depot, state="due", limb="months", sorts_on=TODAY, **due
            ),
            Reminder(**owner, installation=unit, person=person, lead_stage="due", queued_at=at, **due),
            Defect(**owner, installation=unit, found_by=inspection, code="outside_limits", opened_at=at),
            Decline(
                **owner,
                installation=unit,
                raised_by=inspection,
                attribution="stage",
                stage=1,
                state="watched",
                raised_at=at,
            ),
            Calibration(**owner, meter=inspection.ammeter, performed_on=TODAY),
            MeterComparison(
                **owner,
                first=inspection.ammeter,
                second=workshop.ammeter,
                compared_on=TODAY,
                pairs=[],
                figures={},
                normalised_error=0.2,
                agree=True,
            ),
        ]
        for row in rows:
            row.save(force_insert=True)
