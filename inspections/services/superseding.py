"""Replace a check by a later one: both stay, with the reason; it takes effect when the later one is signed."""

from django.utils import timezone
from django.utils.translation import gettext as _

from accounts.audit import Deed
from accounts.errors import Fault, Refused
from inspections.models import Inspection
from inspections.services.trend_news import note_news


def supersede_by(new: Inspection, *, signed_later: bool = False) -> list[Deed]:
    """Let a signed inspection replace the one it names, once; an unsigned one replaces nothing yet.

    What is signed later may find its target replaced meanwhile: it then replaces the version that stands.
    """
    wanted = new.evidence.get("supersedes")
    if wanted is None or new.signed_at is None:
        return []
    old = Inspection.objects.get(organisation=new.organisation_id, uuid=wanted)
    if signed_later:
        old = _standing_version(old)
    reason = new.evidence["supersede_reason"]
    free = Inspection.objects.filter(pk=old.pk, superseded_by__isnull=True)
    if not free.update(superseded_by=new, superseded_reason=reason, changed_at=timezone.now()):
        # Another replacement was faster.
        raise Refused(already_replaced(old))
    note_news(old.organisation_id, [old.installation.retarder_id])
    old.superseded_by, old.superseded_reason = new, reason
    before, after = {"superseded_by_id": None}, {"superseded_by_id": new.pk}
    return [Deed("supersede", old, before=before, after=after, reason=reason)]


def _standing_version(inspection: Inspection) -> Inspection:
    while inspection.superseded_by is not None:
        inspection = inspection.superseded_by
    return inspection


def already_replaced(inspection: Inspection) -> Fault:
    """Return what is wrong with replacing an inspection a second time."""
    detail = _("%(id)s has been replaced already.") % {"id": inspection.uuid}
    return Fault(("supersedes",), "already_replaced", detail)
