"""A due date that rests on a verdict which was given anew with another outcome says so until somebody decides."""

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.audit import Deed, write_audit
from accounts.errors import Fault, Refused
from accounts.roles import Ability
from schedules.models import DueDate


@transaction.atomic
def settle_changed_due_date(actor: Actor, due_date: DueDate, *, reason: str) -> DueDate:
    """Decide, by name and with a reason, that the due date stands as it is; deciding it twice changes nothing."""
    actor.require(Ability.MANAGE)
    if not reason.strip():
        raise Refused(Fault(("reason",), "required", _("A due date is settled with a reason.")))
    flagged = DueDate.objects.of(actor.organisation).filter(pk=due_date.pk, verdict_changed=True)
    if flagged.update(verdict_changed=False, changed_at=timezone.now()):
        after = {"due_on": due_date.due_on, "verdict_changed": False}
        write_audit(actor, [Deed("verdict_settled", due_date.installation, after=after, reason=reason)])
    due_date.refresh_from_db()
    return due_date
