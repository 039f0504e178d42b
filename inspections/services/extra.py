"""Add a reading to a stored inspection, beside its evidence."""

from uuid import UUID

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.audit import Deed, write_audit
from accounts.errors import Conflict, Refused
from accounts.roles import Ability
from accounts.tracking import content
from inspections.documents import Document, content_hash
from inspections.experience import confirmed_counts
from inspections.models import ExtraReading, Inspection
from inspections.queries import first_judgement
from inspections.rules import extra_reading_faults
from inspections.services.judging import Result, judged
from inspections.services.part_search import evidence_with_added


@transaction.atomic
def add_extra_reading(
    actor: Actor, inspection_id: UUID, document: Document
) -> tuple[ExtraReading, Result, bool] | None:
    """Store one extra reading and return it, the judgement with its hypotheses, and whether this call stored it.

    None where the organisation has no such inspection.  The same content under the same id stores nothing.
    """
    actor.require(Ability.CAPTURE)
    inspection = (
        Inspection.objects.of(actor.organisation).select_related("rating_revision").filter(uuid=inspection_id).first()
    )
    if inspection is None:
        return None
    stages = len(inspection.rating_revision.rated_currents_a)
    if faults := extra_reading_faults((), document, stages):
        raise Refused(*faults)
    fresh = _row(actor, inspection, document, stages)
    # The insert is the decision: of two twins one finds the id taken, on either engine.
    ExtraReading.objects.bulk_create([fresh], ignore_conflicts=True)
    stored = ExtraReading.objects.of(actor.organisation).get(uuid=document["id"])
    if stored.content_hash != fresh.content_hash:
        raise Conflict(_("The extra reading %(id)s is stored with other content.") % {"id": document["id"]})
    created = stored.received_at == fresh.received_at
    if created:
        write_audit(actor, [Deed("record", stored, after=content(stored))])
    return stored, _ranked_anew(inspection), created


def _row(actor: Actor, inspection: Inspection, document: Document, stages: int) -> ExtraReading:
    if actor.user is None:
        raise TypeError("a reading is recorded by a person")
    energised = document.get("energised")
    value = document.get("value")
    return ExtraReading(
        organisation=actor.organisation,
        uuid=document["id"],
        inspection=inspection,
        kind=document["kind"],
        stage=document.get("stage"),
        coil=document.get("coil"),
        energised=list(range(1, stages + 1)) if energised is None else energised,
        value=None if value is None else str(value),
        over_range=document.get("over_range", False),
        received_at=timezone.now(),
        recorded_by=actor.user,
        content_hash=content_hash({**document, "inspection": inspection.uuid}),
    )


def _ranked_anew(inspection: Inspection) -> Result:
    """Return the first judgement's evidence with every reading added since, its likely causes ranked in full."""
    evidence = evidence_with_added(inspection, first_judgement(inspection))
    return judged(evidence, rank="always", confirmed_counts=confirmed_counts(inspection.organisation))
