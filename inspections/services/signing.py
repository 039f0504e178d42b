"""Sign an inspection that was stored unsigned."""

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.actors import Actor
from accounts.audit import Deed, write_audit
from accounts.errors import Conflict
from accounts.roles import Ability
from inspections.models import Inspection
from inspections.queries import first_judgement, last_checks
from inspections.services.defect_life import settle_retest
from inspections.services.superseding import supersede_by
from inspections.services.trend_news import note_news
from schedules.services.due_dates import refresh_due_dates


@transaction.atomic
def sign_inspection(actor: Actor, inspection_id: UUID, *, put_back: Sequence[str] = ()) -> Inspection | None:
    """Sign the inspection once; it moves the due date and replaces the check it names.

    None where the organisation has no such inspection.  `put_back` names what the person said was put back on the
    vehicle before leaving; it goes into the audit stream.
    """
    actor.require(Ability.SIGN)
    now = timezone.now()
    rows = Inspection.objects.of(actor.organisation).filter(uuid=inspection_id)
    won = rows.filter(signed_at__isnull=True).update(signed_at=now, signed_by=actor.user, changed_at=now)
    inspection = rows.select_related("installation__vehicle__depot").first()
    if inspection is None:
        return None
    if not won:
        raise Conflict("The inspection is signed already.")
    settled = settle_retest(actor, inspection, first_judgement(inspection).result)
    replaced = supersede_by(inspection, signed_later=True)
    note_news(inspection.organisation_id, [inspection.installation.retarder_id])
    refresh_due_dates([inspection.installation], last_checks, as_of=now)
    after: dict[str, Any] = {"signed_at": now, "signed_by_id": inspection.signed_by_id}
    if put_back:
        after["put_back"] = list(put_back)
    write_audit(actor, [Deed("sign", inspection, before={"signed_at": None}, after=after), *settled, *replaced])
    return inspection
