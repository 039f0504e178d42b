"""Sign an inspection that was stored unsigned."""

from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.actors import Actor
from accounts.audit import Deed, write_audit
from accounts.errors import Conflict
from accounts.roles import Ability
from inspections.models import Inspection
from inspections.queries import last_checks
from schedules.services.due_dates import refresh_due_dates


@transaction.atomic
def sign_inspection(actor: Actor, inspection_id: UUID) -> Inspection | None:
    """Sign the inspection once and let it move the due date; None where the organisation has no such inspection."""
    actor.require(Ability.SIGN)
    now = timezone.now()
    rows = Inspection.objects.of(actor.organisation).filter(uuid=inspection_id)
    won = rows.filter(signed_at__isnull=True).update(signed_at=now, signed_by=actor.user, changed_at=now)
    inspection = rows.select_related("installation__vehicle__depot").first()
    if inspection is None:
        return None
    if not won:
        raise Conflict("The inspection is signed already.")
    refresh_due_dates([inspection.installation], last_checks([inspection.installation_id]), as_of=now)
    write_audit(actor, [Deed("sign", "inspection", inspection.uuid, after={"signed_at": now})])
    return inspection
