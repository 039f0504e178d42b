"""The Idempotency-Key header: a request that stores may be sent again and is answered as it was the first time.

References
----------
draft-ietf-httpapi-idempotency-key-header-07; the value is a String of RFC 8941 §3.3.3.
"""

import re

from django.http import HttpResponse
from django.utils.translation import gettext as _
from rest_framework import exceptions, status
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.actors import Actor
from accounts.models.first_answers import LONGEST_KEY
from accounts.repeats import Answer, KeyInUse, KeyTaken, first_answer, keep_answer
from api.renderers import DecimalJSONRenderer
from inspections.documents import content_hash

HEADER = "Idempotency-Key"
# Visible ASCII between quotes; a quote or a backslash inside stands behind a backslash.
STRING = re.compile(r'"((?:[\x20-\x21\x23-\x5b\x5d-\x7e]|\\["\\])+)"')
MEDIA_TYPE = DecimalJSONRenderer.media_type
KEPT_HEADERS = ("ETag", "Location")


class KeyInProgress(exceptions.APIException):
    """The first request with the key is not answered yet."""

    status_code = status.HTTP_409_CONFLICT
    default_code = "in_progress"
    wait = 1


class KeyReused(exceptions.APIException):
    """The key was used for another request."""

    status_code = status.HTTP_422_UNPROCESSABLE_ENTITY
    default_code = "key_reused"


def key_of(request: Request) -> str | None:
    """Return the key a request carries, None where it carries none; refuse one that is no quoted string."""
    sent = request.headers.get(HEADER)
    if sent is None:
        return None
    match = STRING.fullmatch(sent.strip(" \t"))
    if match is None:
        detail = _('%(header)s must be one quoted string of visible ASCII characters, such as %(header)s: "7f1c…".')
        raise exceptions.ValidationError(detail % {"header": HEADER}, "idempotency_key")
    key = re.sub(r"\\(.)", r"\1", match[1])
    if len(key) > LONGEST_KEY:
        detail = _("%(header)s is %(length)s characters long; allowed are 1 to %(most)s.")
        values = {"header": HEADER, "length": len(key), "most": LONGEST_KEY}
        raise exceptions.ValidationError(detail % values, "idempotency_key")
    return key


def fingerprint_of(request: Request, actor: Actor) -> str:
    """Return a hash of who asks what; equal content in another order of keys is the same request."""
    person = None if actor.user is None else actor.user.pk
    return content_hash({"person": person, "method": request.method, "path": request.path, "body": request.data})


def kept_answer(actor: Actor, key: str, fingerprint: str) -> HttpResponse | None:
    """Return the first answer to a repeated request, None for a first one; call it in the request's transaction."""
    try:
        kept = first_answer(actor.organisation, key, fingerprint)
    except KeyInUse:
        raise KeyInProgress(_("The first request with this key is still being worked on.")) from None
    except KeyTaken:
        raise KeyReused(_("This key was used for another request: choose a new one.")) from None
    if kept is None:
        return None
    return HttpResponse(kept.body, status=kept.status, headers=dict(kept.headers), content_type=MEDIA_TYPE)


def keep(actor: Actor, key: str, fingerprint: str, response: Response) -> None:
    """Keep what a request is answered, beside what it stored.

    Refusals are raised before this and keep nothing, as they stored nothing: what is put right may use the key again.
    """
    body = DecimalJSONRenderer().render(response.data)
    headers = {name: response[name] for name in KEPT_HEADERS if name in response}
    keep_answer(actor.organisation, key, fingerprint, Answer(response.status_code, body, headers))
