"""Record an inspection: one door in, one transaction, stored once."""

import datetime as dt
from dataclasses import dataclass
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.audit import Deed, write_audit
from accounts.errors import Conflict
from accounts.models import User
from accounts.roles import Ability
from calc.due import local_date
from inspections.documents import Document, content_hash, stored_document
from inspections.evidence import evidence_of, rating_of, rule_of
from inspections.models import Inspection, Judgement
from inspections.queries import first_judgement, last_checks, meters_by_id, rating_on_file
from inspections.services.defect_life import settle_retest
from inspections.services.defects import propose_defects
from inspections.services.judging import Result, full_result, give_verdict, judged
from inspections.services.superseding import supersede_by
from inspections.services.visits import Visit, resolved_visit
from schedules.services.due_dates import refresh_due_dates


@dataclass(frozen=True, slots=True)
class Recorded:
    """A stored inspection, its first judgement with budgets, and whether this call stored it."""

    inspection: Inspection
    judgement: Judgement
    result: Result
    created: bool


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
    visit = resolved_visit(actor, document, received_at)
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


def _judged_row(
    actor: Actor, visit: Visit, digest: str, received_at: dt.datetime
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


def _follow(actor: Actor, visit: Visit, inspection: Inspection, result: Result, at: dt.datetime) -> None:
    deeds = [_deed(inspection), *supersede_by(inspection)]
    deeds += settle_retest(actor, inspection, result)
    deeds += propose_defects(actor, inspection, result, at=at)
    refresh_due_dates([visit.installation], last_checks, as_of=at)
    write_audit(actor, deeds)


def _deed(inspection: Inspection) -> Deed:
    after = {
        "content_hash": inspection.content_hash,
        "verdict": inspection.verdict,
        "signed_at": inspection.signed_at,
    }
    return Deed("record", "inspection", inspection.uuid, after=after, device_at=inspection.performed_at)
