"""Signing a check from a page, and what is said of it."""

from collections.abc import Sequence
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.errors import Conflict, Refused
from inspections.services.signing import sign_inspection


def sign_and_say(request: HttpRequest, actor: Actor, inspection: UUID, *, put_back: Sequence[str]) -> None:
    """Sign the check, and leave a message of what came of it; a check that does not exist is a 404."""
    try:
        signed = sign_inspection(actor, inspection, put_back=put_back)
    except Conflict:
        messages.info(request, _("This check is signed already."))
    except Refused as refused:
        messages.warning(request, str(refused))
    else:
        if signed is None:
            raise Http404
        messages.success(request, _("Signed."))
