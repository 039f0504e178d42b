"""Record an inspection: one door in, one transaction, stored once."""

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import BigIntegerField, UUIDField
from django.utils import timezone
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.audit import Deed, write_audit
from accounts.errors import Conflict, Refused
from accounts.models import User
from accounts.prepared import Many, One, Prepared, PreparedInsert
from accounts.roles import Ability
from calc.due import local_date
from calc.evidence import Evidence
from inspections.documents import Document, content_hash, stored_document
from inspections.evidence import evidence_of, rating_of, rule_of
from inspections.models import Inspection, Judgement
from inspections.own_history import own_history_document
from inspections.queries import first_judgement, last_checks
from inspections.services.defect_life import settle_retest
from inspections.services.defects import propose_defects
from inspections.services.judging import Result, full_result, give_verdict, judged_batch
from inspections.services.lookups import OnFile, on_file
from inspections.services.superseding import supersede_by
from inspections.services.trend_news import note_news
from inspections.services.visits import Visit, resolved_visit
from schedules.services.due_dates import refresh_due_dates


@dataclass(frozen=True, slots=True)
class Recorded:
    """A stored inspection, its first judgement with budgets, and whether this call stored it."""

    inspection: Inspection
    judgement: Judgement
    result: Result
    created: bool


Outcome = Recorded | Refused | Conflict

_STORED_KEYS = Prepared(
    lambda organisation, ids: Inspection.objects.of(organisation).filter(uuid__in=ids).values_list("pk", flat=True),
    One(BigIntegerField()),
    Many(UUIDField()),
)
_INSERT_INSPECTIONS, _INSERT_JUDGEMENTS = PreparedInsert(Inspection), PreparedInsert(Judgement)


@transaction.atomic
def record_inspection(actor: Actor, document: Document, *, received_at: dt.datetime | None = None) -> Recorded:
    """Judge and store one visit, move the due date and propose defects; the same content again stores nothing.

    Raises Refused where the document cannot be evidence, and Conflict where its id holds other content.
    """
    (outcome,) = _outcomes(actor, [document], received_at)
    if isinstance(outcome, Recorded):
        return outcome
    raise outcome


@transaction.atomic
def record_inspections(
    actor: Actor, documents: Sequence[Document], *, received_at: dt.datetime | None = None
) -> list[Outcome]:
    """Judge and store visits as if they came one by one, and return what became of each, in their order.

    A refused one keeps none of the others out.
    """
    return _outcomes(actor, documents, received_at)


def _outcomes(actor: Actor, documents: Sequence[Document], received_at: dt.datetime | None) -> list[Outcome]:
    actor.require(Ability.CAPTURE)
    at = received_at or timezone.now()
    return [outcome for run in _runs(documents) for outcome in _recorded(actor, run, at)]


def _runs(documents: Sequence[Document]) -> Iterator[list[Document]]:
    """Yield visits that can be judged and stored together: none names what another of them makes or changes."""
    run: dict[UUID, Document] = {}
    for document in documents:
        alone = document.get("supersedes") is not None or bool(document.get("retest_of"))
        if run and (alone or document["id"] in run):
            yield [*run.values()]
            run = {}
        if alone:
            yield [document]
        else:
            run[document["id"]] = document
    if run:
        yield [*run.values()]


def _recorded(actor: Actor, run: Sequence[Document], at: dt.datetime) -> list[Outcome]:
    digests = {document["id"]: content_hash(document) for document in run}
    outcomes: dict[UUID, Outcome] = _stored(actor, digests)
    fresh = [document for document in run if document["id"] not in outcomes]
    looked_up = on_file(actor.organisation, fresh)
    visits = []
    for document in fresh:
        try:
            visits.append(resolved_visit(actor, document, at, looked_up))
        except Refused as refusal:
            outcomes[document["id"]] = refusal
    judged_rows = _judged_rows(actor, visits, digests, at, looked_up)
    try:
        with transaction.atomic():
            _INSERT_INSPECTIONS([row.inspection for row in judged_rows])
    except IntegrityError:
        # A twin of one of these was faster: it holds the id, so its answer is the answer.
        outcomes |= _beside_twins(actor, [visit.sent for visit in visits], digests, at)
    else:
        _INSERT_JUDGEMENTS([row.judgement for row in judged_rows])
        _follow(actor, judged_rows, at)
        outcomes |= {row.inspection.uuid: row for row in judged_rows}
    return [outcomes[document["id"]] for document in run]


def _beside_twins(
    actor: Actor, documents: Sequence[Document], digests: Mapping[UUID, str], at: dt.datetime
) -> dict[UUID, Outcome]:
    twins = _stored(actor, {document["id"]: digests[document["id"]] for document in documents})
    if not twins:
        raise TypeError("an inspection collides with something that is no twin of it")
    rest = [document for document in documents if document["id"] not in twins]
    return twins | dict(zip((document["id"] for document in rest), _recorded(actor, rest, at), strict=True))


def _stored(actor: Actor, digests: Mapping[UUID, str]) -> dict[UUID, Outcome]:
    """Return what is stored under the ids: the same content as it was judged first, or a conflict."""
    outcomes: dict[UUID, Outcome] = {}
    # Nearly every visit is new, and asking for the keys costs less than asking for rows.
    stored = _STORED_KEYS(actor.organisation.pk, digests)
    for inspection in Inspection.objects.filter(pk__in=stored) if stored else ():
        if inspection.content_hash == digests[inspection.uuid]:
            judgement = first_judgement(inspection)
            result = full_result(inspection, judgement)
            outcomes[inspection.uuid] = Recorded(inspection, judgement, result, created=False)
        else:
            detail = _("The inspection %(id)s is stored with other content.") % {"id": inspection.uuid}
            outcomes[inspection.uuid] = Conflict(detail)
    return outcomes


def _judged_rows(
    actor: Actor, visits: Sequence[Visit], digests: Mapping[UUID, str], at: dt.datetime, looked_up: OnFile
) -> list[Recorded]:
    person = _person(actor)
    # Whatever order they come in, a visit is held against what was measured before it.
    for visit in sorted(visits, key=lambda visit: visit.document["performed_at"]):
        _keep_own_history(visit, looked_up)
    evidences = [_evidence(actor, visit) for visit in visits]
    results = judged_batch(evidences, confirmed_counts=looked_up.confirmed_counts)
    rows = []
    for visit, evidence, result in zip(visits, evidences, results, strict=True):
        inspection = _row(actor, visit, digests[visit.sent["id"]], at, looked_up)
        judgement = give_verdict(inspection, result, evidence=evidence, by=person, at=at)
        rows.append(Recorded(inspection, judgement, result, created=True))
    return rows


def _keep_own_history(visit: Visit, looked_up: OnFile) -> None:
    """Put what a unit without a rating conducted earlier into its evidence; the check is the next one's history."""
    unit = visit.installation.retarder
    if visit.rating.identified:
        return
    replaced = None if visit.replaces is None else visit.replaces.uuid
    baseline = looked_up.own_histories.baseline(unit.pk, visit.document["performed_at"], replaced=replaced)
    visit.document["own_history"] = own_history_document(baseline)
    visit.document["stages_repaired"] = [*visit.stages_repaired] or None
    looked_up.own_histories.add(unit.pk, visit.document, rating_of(visit.rating))


def _evidence(actor: Actor, visit: Visit) -> Evidence:
    rule, probability = rule_of(visit.document, actor.organisation)
    return evidence_of(
        visit.document,
        rating=rating_of(visit.rating),
        decision_rule=rule,
        max_false_accept_probability=probability,
        required_stages=visit.required_stages,
    )


def _row(actor: Actor, visit: Visit, digest: str, at: dt.datetime, looked_up: OnFile) -> Inspection:
    document, installation, person = visit.document, visit.installation, _person(actor)
    signed = document.get("sign", True) and actor.may(Ability.SIGN)
    return Inspection(
        organisation=actor.organisation,
        uuid=document["id"],
        installation=installation,
        depot=installation.vehicle.depot,
        performed_at=document["performed_at"],
        performed_on=local_date(document["performed_at"], installation.vehicle.depot.time_zone),
        received_at=at,
        recorded_by=person,
        purpose=document["purpose"],
        engine_state=document.get("engine_state"),
        coil_temperature_method=document["coil_temperature_method"],
        ammeter=looked_up.meters[visit.sent["ammeter"]],
        voltmeter=looked_up.meters[visit.sent["voltmeter"]],
        evidence=stored_document({**document, "required_stages": list(visit.required_stages)}),
        content_hash=digest,
        clock_ahead=document["performed_at"] > at,
        signed_at=at if signed else None,
        signed_by=person if signed else None,
        rating_revision=visit.rating,
    )


def _person(actor: Actor) -> User:
    if actor.user is None:
        raise TypeError("an inspection is recorded by a person")
    return actor.user


def _follow(actor: Actor, rows: Sequence[Recorded], at: dt.datetime) -> None:
    deeds: list[Deed] = []
    for row in rows:
        deeds += [_deed(row.inspection), Deed("judge", row.judgement), *supersede_by(row.inspection)]
        deeds += settle_retest(actor, row.inspection, row.result)
        deeds += propose_defects(actor, row.inspection, row.result, at=at)
    signed = [row.inspection.installation for row in rows if row.inspection.signed_at is not None]
    note_news(actor.organisation.pk, [installation.retarder_id for installation in signed])
    installations = {row.inspection.installation_id: row.inspection.installation for row in rows}
    refresh_due_dates([*installations.values()], last_checks, as_of=at)
    write_audit(actor, deeds)


def _deed(inspection: Inspection) -> Deed:
    after = {
        "content_hash": inspection.content_hash,
        "verdict": inspection.verdict,
        "signed_at": inspection.signed_at,
    }
    return Deed("record", inspection, after=after, device_at=inspection.performed_at)
