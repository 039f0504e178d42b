"""What a posted visit means once its ids are looked up, and everything that is wrong with it."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.errors import Fault, Refused
from calc.due import local_date
from fleet.models import Installation, RatingRevision
from inspections.calibrations import calibration_faults, certificates_on
from inspections.documents import Document
from inspections.evidence import meter_of, relay_box_document
from inspections.evidence_circuit import installation_document
from inspections.limits import limits_document, unit_document
from inspections.models import Defect, Inspection, Meter
from inspections.rules import coverage_faults, reading_faults
from inspections.services.assess import METER_KINDS, meter_figures, unknown_id
from inspections.services.lookups import OnFile
from inspections.services.superseding import already_replaced

# A phone's clock may run ahead by this much; the visit is kept and flagged.
CLOCK_TOLERANCE = dt.timedelta(minutes=10)


@dataclass(slots=True)
class Visit:
    """What a document turned out to mean once its ids were looked up."""

    installation: Installation
    rating: RatingRevision
    sent: Document
    document: dict[str, Any]
    required_stages: tuple[int, ...]
    stages_repaired: tuple[int, ...] = ()
    replaces: Inspection | None = None
    faults: list[Fault] = field(default_factory=list)


def resolved_visit(actor: Actor, document: Document, received_at: dt.datetime, on_file: OnFile) -> Visit:
    """Find what every id means and check everything; raise Refused with all that is wrong at once."""
    installation = on_file.installations.get(document["installation"])
    if installation is None:
        raise Refused(unknown_id(("installation",), document["installation"]))
    defects, faults = _retested_defects(actor, installation, document.get("retest_of") or [])
    revision = on_file.rating_of(installation)
    stages = len(revision.rated_currents_a)
    required = _required_stages(stages, document, defects)
    repaired = _stages_repaired(document, defects)
    visit = Visit(installation, revision, document, dict(document), required, repaired, faults=faults)
    visit.document |= meter_figures(document, on_file.meters)
    visit.document |= {"relay_box": relay_box_document(installation.relay_box_type)}
    visit.document |= installation_document(installation)
    visit.document |= unit_document(document, revision, installation.vehicle)
    visit.document |= limits_document(on_file.own_limits, document, revision.system_voltage_v)
    visit.document |= _calibrations(actor, visit, [on_file.meters[document[kind]] for kind in METER_KINDS])
    visit.faults += reading_faults(visit.document, stages=stages, ammeter=meter_of(visit.document["ammeter"]))
    visit.faults += coverage_faults(visit.document, visit.required_stages)
    visit.faults += _time_faults(installation, document["performed_at"], received_at)
    visit.replaces = _replaced(actor, visit)
    if visit.faults:
        raise Refused(*visit.faults)
    return visit


def _calibrations(actor: Actor, visit: Visit, meters: Sequence[Meter]) -> dict[str, Any]:
    on = local_date(visit.document["performed_at"], visit.installation.vehicle.depot.time_zone)
    by_kind = {meter.kind: meter for meter in meters}
    return {
        "calibration_faults": calibration_faults(by_kind.values(), on) or None,
        "calibration_required": actor.organisation.calibration_required,
        "certificates": certificates_on(by_kind, on) or None,
    }


def _required_stages(stages: int, document: Document, defects: Sequence[Defect]) -> tuple[int, ...]:
    every_stage = tuple(range(1, stages + 1))
    named = {defect.stage for defect in defects}
    if document["purpose"] != "retest" or not named or None in named:
        return every_stage
    return tuple(stage for stage in every_stage if stage in named)


def _stages_repaired(document: Document, defects: Sequence[Defect]) -> tuple[int, ...]:
    """Return the stages that may draw more than ever before, for their fault may be as old as the record of them.

    Where it is that very difference from the record that was repaired, it is to be gone.
    """
    if document["purpose"] != "retest":
        return ()
    unlike = {defect.stage for defect in defects if defect.code == "stage_unlike_its_history"}
    return tuple(sorted({defect.stage for defect in defects if defect.stage is not None} - unlike))


def _retested_defects(
    actor: Actor, installation: Installation, ids: Sequence[UUID]
) -> tuple[list[Defect], list[Fault]]:
    if not ids:
        return [], []
    rows = Defect.objects.of(actor.organisation).filter(uuid__in=ids, installation=installation)
    found = {defect.uuid: defect for defect in rows}
    faults = [unknown_id(("retest_of", index), uuid) for index, uuid in enumerate(ids) if uuid not in found]
    return list(found.values()), faults


def _time_faults(installation: Installation, performed_at: dt.datetime, received_at: dt.datetime) -> list[Fault]:
    latest = received_at + CLOCK_TOLERANCE
    if performed_at > latest:
        detail = _("%(value)s is more than 10 minutes ahead; allowed is up to %(latest)s.")
        shown = {"value": performed_at.isoformat(), "latest": latest.isoformat(timespec="seconds")}
        return [Fault(("performed_at",), "in_the_future", detail % shown)]
    on = local_date(performed_at, installation.vehicle.depot.time_zone)
    fitted_on, removed_on = installation.fitted_on, installation.removed_on
    if (fitted_on is not None and on < fitted_on) or (removed_on is not None and on > removed_on):
        detail = _("The retarder was not fitted on %(on)s; it was from %(fitted)s to %(removed)s.")
        shown = {"on": str(on), "fitted": str(fitted_on or "…"), "removed": str(removed_on or "…")}
        return [Fault(("performed_at",), "not_fitted", detail % shown)]
    return []


def _replaced(actor: Actor, visit: Visit) -> Inspection | None:
    wanted = visit.document.get("supersedes")
    if wanted is None:
        return None
    row = Inspection.objects.of(actor.organisation).filter(uuid=wanted, installation=visit.installation).first()
    if row is None:
        visit.faults.append(unknown_id(("supersedes",), wanted))
    elif row.superseded_by_id is not None:
        visit.faults.append(already_replaced(row))
    return row
