"""Which entries belong to the history of one object: its own, and those of the rows that are part of it."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet

from accounts.models import AuditEntry, Member, Organisation
from fleet.models import CounterReading, Installation, RatingRevision, RetarderType, UsageCounter, Vehicle
from inspections.models import (
    Calibration,
    Defect,
    DefectStep,
    DriverLink,
    ExtraReading,
    Inspection,
    Judgement,
    Meter,
    MeterComparison,
    Photo,
)
from schedules.models import CheckPlan

Parts = dict[str, QuerySet[Any]]


def _of_vehicle(row: Any) -> Parts:
    return {
        "installation": Installation.objects.of(row.organisation_id).filter(vehicle=row),
        "usage_counter": UsageCounter.objects.of(row.organisation_id).filter(vehicle=row),
        "counter_reading": CounterReading.objects.of(row.organisation_id).filter(counter__vehicle=row),
        "driver_link": DriverLink.objects.of(row.organisation_id).filter(vehicle=row),
    }


def _of_installation(row: Any) -> Parts:
    return {"check_plan": CheckPlan.objects.of(row.organisation_id).filter(installation=row)}


def _of_inspection(row: Any) -> Parts:
    return {
        "judgement": Judgement.objects.of(row.organisation_id).filter(inspection=row),
        "extra_reading": ExtraReading.objects.of(row.organisation_id).filter(inspection=row),
        "photo": Photo.objects.of(row.organisation_id).filter(inspection=row),
    }


def _of_meter(row: Any) -> Parts:
    return {
        "calibration": Calibration.objects.of(row.organisation_id).filter(meter=row),
        "meter_comparison": MeterComparison.objects.of(row.organisation_id).filter(Q(first=row) | Q(second=row)),
    }


def _of_defect(row: Any) -> Parts:
    return {
        "defect_step": DefectStep.objects.of(row.organisation_id).filter(defect=row),
        "photo": Photo.objects.of(row.organisation_id).filter(defect=row),
    }


def _of_retarder_type(row: Any) -> Parts:
    return {"rating_revision": RatingRevision.objects.of(row.organisation_id).filter(retarder_type=row)}


def _of_member(_row: Any) -> Parts:
    return {}


# The objects that have a history page of their own.
FAMILIES: dict[str, tuple[Any, Callable[[Any], Parts]]] = {
    "vehicle": (Vehicle, _of_vehicle),
    "installation": (Installation, _of_installation),
    "inspection": (Inspection, _of_inspection),
    "meter": (Meter, _of_meter),
    "defect": (Defect, _of_defect),
    "retarder_type": (RetarderType, _of_retarder_type),
    "member": (Member, _of_member),
}


def object_called(organisation: Organisation, name: str, uuid: UUID) -> Any:
    """Return the organisation's object, None where there is none."""
    if name not in FAMILIES:
        return None
    model, _parts = FAMILIES[name]
    return model.objects.of(organisation).filter(uuid=uuid).first()


def entries_about(organisation: Organisation, name: str, row: Any) -> QuerySet[AuditEntry]:
    """Return the entries of an object and its parts."""
    about = Q(object_type=name, object_id=row.uuid)
    for part, rows in FAMILIES[name][1](row).items():
        about |= Q(object_type=part, object_id__in=rows.values("uuid"))
    return AuditEntry.objects.of(organisation).filter(about)
