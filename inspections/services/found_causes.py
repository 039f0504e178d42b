"""Open a defect from a likely cause that somebody has settled on."""

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.audit import Deed, write_audit
from accounts.errors import Fault, Refused
from accounts.roles import Ability
from accounts.tracking import content
from calc.hypotheses import CAUSES
from inspections.models import Defect, Inspection


@transaction.atomic
def open_found_cause(actor: Actor, inspection: Inspection, *, cause: str, stage: int | None) -> Defect:
    """Open a defect named after its cause; where the same one is open already, return it."""
    actor.require(Ability.CAPTURE)
    if faults := [*_cause_faults(cause), *_stage_faults(inspection, stage)]:
        raise Refused(*faults)
    fresh = Defect(
        organisation=actor.organisation,
        installation=inspection.installation,
        found_by=inspection,
        stage=stage,
        code=cause,
        opened_at=timezone.now(),
    )
    # The insert is the decision: of two taps one finds the defect open, on either engine.
    Defect.objects.bulk_create([fresh], ignore_conflicts=True)
    rows = Defect.objects.filter(installation=inspection.installation_id, closed_at__isnull=True)
    stored = rows.get(stage=stage, code=cause)
    if stored.uuid == fresh.uuid:
        write_audit(actor, [Deed("open", stored, after=content(stored))])
    return stored


def _cause_faults(cause: str) -> list[Fault]:
    if cause in CAUSES:
        return []
    detail = _("%(value)s is no cause; allowed are: %(allowed)s.")
    return [Fault(("cause",), "invalid", detail % {"value": cause, "allowed": ", ".join(CAUSES)})]


def _stage_faults(inspection: Inspection, stage: int | None) -> list[Fault]:
    stages = len(inspection.rating_revision.rated_currents_a)
    if stage is None or 1 <= stage <= stages:
        return []
    detail = _("%(value)s is outside the unit's stages; allowed are 1 to %(stages)s.")
    return [Fault(("stage",), "no_such_stage", detail % {"value": stage, "stages": stages})]
