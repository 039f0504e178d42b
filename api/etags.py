"""Entity tags: what a client saw is what it changes, or the change is refused.

A tag is a hash over the whole representation, so it changes with anything that can be seen, related rows included.  It
is compared while the row is locked, in the transaction of the change.

References
----------
RFC 9110 §8.8.3, §13 (entity tags, preconditions), RFC 6585 §3 (428).
"""

import hashlib
from collections.abc import Iterable
from typing import Any

from django.http import HttpResponse, HttpResponseNotModified
from django.http.response import HttpResponseBase
from django.utils.http import parse_etags
from django.utils.translation import gettext as _
from rest_framework import exceptions, status
from rest_framework.request import Request
from rest_framework.response import Response

from api.renderers import DecimalJSONRenderer

# A compressed body is another sequence of bytes and has a tag of its own, which names the same state of the row.
COMPRESSED = "-gzip"
WEAK = "W/"


class PreconditionFailed(exceptions.APIException):
    """The row is not as the client saw it."""

    status_code = status.HTTP_412_PRECONDITION_FAILED
    default_code = "precondition_failed"


class PreconditionRequired(exceptions.APIException):
    """A change has to say what it changes."""

    status_code = status.HTTP_428_PRECONDITION_REQUIRED
    default_code = "precondition_required"


def etag_of(data: Any) -> str:
    """Return the strong tag of a representation."""
    return etag_of_bytes(DecimalJSONRenderer().render(data))


def etag_of_bytes(body: bytes) -> str:
    """Return the strong tag of a rendered representation."""
    return f'"{hashlib.sha256(body).hexdigest()[:32]}"'


def compressed_tag(etag: str) -> str:
    """Return the tag of the same state in a compressed body.

    >>> compressed_tag('"7f1c"')
    '"7f1c-gzip"'
    """
    return f'{etag[:-1]}{COMPRESSED}"'


def matches_strongly(header: str, etag: str) -> bool:
    """Tell whether an If-Match names the tag: a weak tag names nothing."""
    named = parse_etags(header)
    return named == ["*"] or (not etag.startswith(WEAK) and etag in map(_state, named))


def matches_weakly(header: str, etag: str) -> bool:
    """Tell whether an If-None-Match names the tag, weak or strong."""
    named = parse_etags(header)
    return named == ["*"] or etag.removeprefix(WEAK) in (_state(tag.removeprefix(WEAK)) for tag in named)


def require_match(request: Request, data: Any, *, required: bool) -> None:
    """Refuse a change of something that is not, or is no longer, what the client saw."""
    header = request.headers.get("If-Match")
    if header is None:
        if required:
            detail = _("Read the row, and send its ETag in If-Match with the change.")
            raise PreconditionRequired(detail)
        return
    if not matches_strongly(header, etag_of(data)):
        raise PreconditionFailed(_("The row has changed since it was read: read it again, then change it."))


def conditional(request: Request, response: Response) -> HttpResponseBase:
    """Return a read as asked for: with its tag, or as not modified."""
    body = response.render().content
    etag = etag_of_bytes(body)
    response["ETag"] = etag
    known = request.headers.get("If-None-Match")
    if known is None or not matches_weakly(known, etag):
        return response
    unchanged = HttpResponseNotModified()
    unchanged["ETag"] = _as_it_was_named(parse_etags(known), etag)
    return unchanged


def mark_compressed(response: HttpResponse) -> None:
    """Give a compressed answer the strong tag of its bytes."""
    etag = response.get("ETag", "").removeprefix(WEAK)
    if etag:
        response["ETag"] = compressed_tag(etag)


def _as_it_was_named(tags: Iterable[str], etag: str) -> str:
    return compressed_tag(etag) if compressed_tag(etag) in tags else etag


def _state(tag: str) -> str:
    return f'{tag[: -len(COMPRESSED) - 1]}"' if tag.endswith(f'{COMPRESSED}"') else tag
