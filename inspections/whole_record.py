"""One inspection with everything that belongs to its record, in a number of queries that does not grow with it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from accounts.models import AuditEntry, Organisation
from fleet.models import RatingRevision
from inspections.calibrations import calibration_on
from inspections.models import Calibration, ExtraReading, Inspection, Judgement
from inspections.replacements import replaced_check


@dataclass(frozen=True, slots=True)
class WholeRecord:
    """An inspection and what stands beside it; lists are in the order in which they came about."""

    inspection: Inspection
    judgements: list[Judgement]
    extra_readings: list[ExtraReading]
    # By kind of meter; None where no calibration was on file by the day of the check.
    calibrations: Mapping[str, Calibration | None]
    replaces: Inspection | None
    entries: list[AuditEntry]

    @property
    def first_rating(self) -> RatingRevision:
        """Return the rating that the first judgement was given on."""
        return self.judgements[0].rating_revision

    @property
    def newest(self) -> Judgement:
        """Return the judgement that stands."""
        return self.judgements[-1]


def inspection_with_everything(organisation: Organisation, inspection_id: UUID) -> Inspection | None:
    """Return one inspection of the organisation with the rows that its record names."""
    return (
        Inspection.objects.of(organisation)
        .filter(uuid=inspection_id)
        .select_related(
            "organisation",
            "depot",
            "installation__vehicle__depot",
            "installation__retarder__retarder_type",
            "installation__relay_box_type",
            "ammeter",
            "voltmeter",
            "recorded_by",
            "signed_by",
            "superseded_by__signed_by",
            "superseded_by__recorded_by",
        )
        .first()
    )


def whole_record(inspection: Inspection) -> WholeRecord:
    """Return the record of an inspection that came from `inspection_with_everything`."""
    of = inspection.organisation_id
    judgements = (
        Judgement.objects.of(of)
        .filter(inspection=inspection)
        .select_related("rating_revision__retarder_type", "rating_revision__entered_by", "judged_by")
        .order_by("number")
    )
    extra_readings = (
        ExtraReading.objects.of(of)
        .filter(inspection=inspection)
        .select_related("recorded_by")
        .order_by("received_at", "pk")
    )
    meters = {"ammeter": inspection.ammeter, "voltmeter": inspection.voltmeter}
    return WholeRecord(
        inspection=inspection,
        judgements=list(judgements),
        extra_readings=list(extra_readings),
        calibrations={kind: calibration_on(meter, inspection.performed_on) for kind, meter in meters.items()},
        replaces=replaced_check(inspection),
        entries=entries_about(inspection),
    )


def entries_about(inspection: Inspection) -> list[AuditEntry]:
    """Return what the audit stream says of an inspection, its judgements and the readings added to it."""
    return list(
        AuditEntry.objects.filter(organisation=inspection.organisation_id, **_about(inspection))
        .select_related("actor", "on_behalf_of")
        .order_by("sequence")
    )


def _about(inspection: Inspection) -> dict[str, Any]:
    uuids = [inspection.uuid]
    for model in (Judgement, ExtraReading):
        rows: Any = model.objects.filter(inspection=inspection)
        uuids += rows.values_list("uuid", flat=True)
    return {"object_type__in": ["inspection", "judgement", "extra_reading"], "object_id__in": uuids}
