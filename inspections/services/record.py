"""Record an inspection: one door in, one transaction, stored once."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.audit import Deed, write_audit
from accounts.errors import Conflict, Fault, Refused
from accounts.models import User
from accounts.roles import Ability
from calc.due import local_date
from fleet.models import Installation
from inspections.documents import Document, content_hash, stored_document
from inspections.evidence import evidence_of, meter_of, rating_of, relay_box_document, rule_of
from inspections.models import Defect, Inspection, Judgement
from inspections.queries import first_judgement, installation_by_id, last_checks, meters_by_id, rating_on_file
from inspections.rules import coverage_faults, reading_faults
from inspections.services.assess import resolved_meters, unknown_id
from inspections.services.defects import propose_defects
from inspections.services.judging import Result, full_result, give_verdict, judged
from schedules.services.due_dates import refresh_due_dates

# A phone's clock may run ahead by this much; the visit is kept and flagged.
CLOCK_TOLERANCE = dt.timedelta(minutes=10)


@dataclass(frozen=True, slots=True)
class Recorded:
    """A stored inspection, its first judgement with budgets, and whether this call stored it."""

    inspection: Inspection
    judgement: Judgement
    result: Result
    created: bool


@dataclass(slots=True)
class _Visit:
    """What a document turned out to mean once its ids were looked up."""

    installation: Installation
    document: dict[str, Any]
    required_stages: tuple[int, ...]
    replaces: Inspection | None = None
    faults: list[Fault] = field(default_factory=list)


@transaction.atomic
def record_inspection(actor: Actor, document: Document, *, received_at: dt.datetime | None = None) -> Recorded:
    """Judge and store one visit, move the due date and propose defects; the same content again stores nothing.

    Raises Refused where the document cannot be evidence, and Conflict where its id holds other content.
    """
    actor.require(Ability.CAPTURE)
    digest = content_hash(document)
    if known := _stored(actor, document["id"], digest):
        return known
    received_at = received_at or timezone.now()
    visit = _visit(actor, document, received_at)
    inspection, judgement, result = _judged_row(actor, visit, digest, received_at)
    try:
        with transaction.atomic():
            inspection.save(force_insert=True)
    except IntegrityError:
        # A twin of this request was faster: it holds the id, so its answer is the answer.
        if twin := _stored(actor, document["id"], digest):
            return twin
        raise
    judgement.save(force_insert=True)
    _follow(actor, visit, inspection, result, received_at)
    return Recorded(inspection, judgement, result, created=True)


def _stored(actor: Actor, inspection_id: UUID, digest: str) -> Recorded | None:
    inspection = Inspection.objects.of(actor.organisation).filter(uuid=inspection_id).first()
    if inspection is None:
        return None
    if inspection.content_hash != digest:
        raise Conflict(_("The inspection %(id)s is stored with other content.") % {"id": inspection_id})
    judgement = first_judgement(inspection)
    return Recorded(inspection, judgement, full_result(inspection, judgement), created=False)


def _visit(actor: Actor, document: Document, received_at: dt.datetime) -> _Visit:
    installation = installation_by_id(actor.organisation, document["installation"])
    if installation is None:
        raise Refused(unknown_id(("installation",), document["installation"]))
    defects, faults = _retested_defects(actor, installation, document.get("retest_of") or [])
    stages = len(rating_on_file(installation).rated_currents_a)
    visit = _Visit(installation, dict(document), _required_stages(stages, document, defects), faults=faults)
    visit.document |= resolved_meters(actor, document)
    visit.document |= {"relay_box": relay_box_document(installation.relay_box_type)}
    visit.faults += reading_faults(visit.document, stages=stages, ammeter=meter_of(visit.document["ammeter"]))
    visit.faults += coverage_faults(visit.document, visit.required_stages)
    visit.faults += _time_faults(installation, document["performed_at"], received_at)
    visit.replaces = _replaced(actor, visit)
    if visit.faults:
        raise Refused(*visit.faults)
    return visit


def _required_stages(stages: int, document: Document, defects: Sequence[Defect]) -> tuple[int, ...]:
    every_stage = tuple(range(1, stages + 1))
    named = {defect.stage for defect in defects}
    if document["purpose"] != "retest" or not named or None in named:
        return every_stage
    return tuple(stage for stage in every_stage if stage in named)


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


def _replaced(actor: Actor, visit: _Visit) -> Inspection | None:
    wanted = visit.document.get("supersedes")
    if wanted is None:
        return None
    row = Inspection.objects.of(actor.organisation).filter(uuid=wanted, installation=visit.installation).first()
    if row is None:
        visit.faults.append(unknown_id(("supersedes",), wanted))
    elif row.superseded_by_id is not None:
        detail = _("%(id)s has been replaced already.") % {"id": wanted}
        visit.faults.append(Fault(("supersedes",), "already_replaced", detail))
    return row


def _judged_row(
    actor: Actor, visit: _Visit, digest: str, received_at: dt.datetime
) -> tuple[Inspection, Judgement, Result]:
    document, installation = visit.document, visit.installation
    person = _person(actor)
    rule, probability = rule_of(document, actor.organisation)
    revision = rating_on_file(installation)
    evidence = evidence_of(
        document,
        rating=rating_of(revision),
        decision_rule=rule,
        max_false_accept_probability=probability,
        required_stages=visit.required_stages,
    )
    meters = meters_by_id(actor.organisation, [document["ammeter"]["id"], document["voltmeter"]["id"]])
    signed = document.get("sign", True) and actor.may(Ability.SIGN)
    inspection = Inspection(
        organisation=actor.organisation,
        uuid=document["id"],
        installation=installation,
        depot=installation.vehicle.depot,
        performed_at=document["performed_at"],
        performed_on=local_date(document["performed_at"], installation.vehicle.depot.time_zone),
        received_at=received_at,
        recorded_by=person,
        purpose=document["purpose"],
        engine_state=document.get("engine_state"),
        coil_temperature_method=document["coil_temperature_method"],
        ammeter=meters[document["ammeter"]["id"]],
        voltmeter=meters[document["voltmeter"]["id"]],
        evidence=stored_document({**document, "required_stages": list(visit.required_stages)}),
        content_hash=digest,
        clock_ahead=document["performed_at"] > received_at,
        signed_at=received_at if signed else None,
        signed_by=person if signed else None,
        rating_revision=revision,
    )
    result = judged(evidence)
    judgement = give_verdict(inspection, result, evidence=evidence, by=person, at=received_at)
    return inspection, judgement, result


def _person(actor: Actor) -> User:
    if actor.user is None:
        raise TypeError("an inspection is recorded by a person")
    return actor.user


def _follow(actor: Actor, visit: _Visit, inspection: Inspection, result: Result, at: dt.datetime) -> None:
    deeds = [_deed(inspection)]
    if visit.replaces is not None:
        deeds.append(_supersede(visit.replaces, inspection, visit.document["supersede_reason"]))
    deeds += propose_defects(actor, inspection, result, at=at)
    refresh_due_dates([visit.installation], last_checks([visit.installation.pk]), as_of=at)
    write_audit(actor, deeds)


def _supersede(old: Inspection, new: Inspection, reason: str) -> Deed:
    Inspection.objects.filter(pk=old.pk).update(superseded_by=new, superseded_reason=reason, changed_at=timezone.now())
    return Deed("supersede", "inspection", old.uuid, after={"superseded_by": new.uuid}, reason=reason)


def _deed(inspection: Inspection) -> Deed:
    after = {
        "content_hash": inspection.content_hash,
        "verdict": inspection.verdict,
        "signed_at": inspection.signed_at,
    }
    return Deed("record", "inspection", inspection.uuid, after=after, device_at=inspection.performed_at)
