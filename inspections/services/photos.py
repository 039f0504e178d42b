"""Put a photo beside an inspection or a defect, and withdraw one with a reason."""

import hashlib
from uuid import UUID

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.audit import Deed, write_audit
from accounts.errors import Conflict, Fault, Refused
from accounts.roles import Ability
from accounts.rows import change_row
from accounts.tracking import content
from inspections.models import Defect, Inspection, Photo
from inspections.pictures import drawn_anew

MOST_PHOTOS = 20


@transaction.atomic
def add_photo(
    actor: Actor, subject: Inspection | Defect, *, sent: bytes, photo_id: UUID, caption: str = ""
) -> tuple[Photo, bool]:
    """Store the photo and return it, and whether this call stored it.

    The same file under the same id stores nothing; another one is a Conflict.  The row of the subject is locked, so
    that photos that come at once are counted.
    """
    actor.require(Ability.CAPTURE)
    if actor.user is None:
        raise TypeError("a photo is taken by a person")
    picture = drawn_anew(sent)
    list(type(subject)._default_manager.filter(pk=subject.pk).select_for_update(no_key=True).values_list("pk"))
    sent_hash = hashlib.sha256(sent).hexdigest()
    stored = Photo.objects.of(actor.organisation).defer("picture").filter(uuid=photo_id).first()
    if stored is not None:
        if stored.sent_hash != sent_hash or subject not in (stored.inspection, stored.defect):
            raise Conflict(_("The photo %(id)s is stored with other content.") % {"id": photo_id})
        return stored, False
    _refuse_too_many(subject)
    photo = Photo(
        organisation=actor.organisation,
        uuid=photo_id,
        inspection=subject if isinstance(subject, Inspection) else None,
        defect=subject if isinstance(subject, Defect) else None,
        caption=caption,
        picture=picture.jpeg,
        width_px=picture.width_px,
        height_px=picture.height_px,
        sent_hash=sent_hash,
        received_at=timezone.now(),
        added_by=actor.user,
    )
    return _stored(actor, photo, sent_hash)


def _refuse_too_many(subject: Inspection | Defect) -> None:
    if subject.photos.filter(withdrawn_at__isnull=True).count() >= MOST_PHOTOS:
        detail = _("There are %(most)s photos here already; withdraw one first.") % {"most": MOST_PHOTOS}
        raise Refused(Fault(("photo",), "too_many", detail))


def _stored(actor: Actor, photo: Photo, sent_hash: str) -> tuple[Photo, bool]:
    # Under another subject a twin may have taken the id meanwhile.
    Photo.objects.bulk_create([photo], ignore_conflicts=True)
    stored = Photo.objects.of(actor.organisation).get(uuid=photo.uuid)
    if (stored.sent_hash, stored.inspection_id, stored.defect_id) != (sent_hash, photo.inspection_id, photo.defect_id):
        raise Conflict(_("The photo %(id)s is stored with other content.") % {"id": photo.uuid})
    write_audit(actor, [Deed("add", stored, after=content(stored))])
    return stored, True


@transaction.atomic
def withdraw_photo(actor: Actor, photo: Photo, *, reason: str) -> Photo:
    """Take a photo off the pages, once and with a reason; its row stays."""
    actor.require(Ability.SIGN)
    if not reason.strip():
        raise Refused(Fault(("reason",), "required", _("Say why the photo is withdrawn.")))
    row = Photo.objects.of(actor.organisation).select_for_update(no_key=True).get(pk=photo.pk)
    if row.withdrawn_at is not None:
        raise Conflict(_("This photo is withdrawn already."))
    columns = {"withdrawn_at": timezone.now(), "withdrawn_by": actor.user, "withdrawn_reason": reason.strip()}
    return change_row(actor, row, columns, action="withdraw", reason=reason.strip())
