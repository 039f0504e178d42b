"""JSON out: decimals as numbers with the digits they were typed with."""

import datetime as dt
from typing import Any
from uuid import UUID

import simplejson
from django.utils.functional import Promise
from rest_framework.negotiation import BaseContentNegotiation
from rest_framework.parsers import BaseParser
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request


class DecimalJSONRenderer(BaseRenderer):
    """Render the API's only form."""

    media_type = "application/json"
    format = "json"
    charset = None

    def render(self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None) -> bytes:
        """Return the body; no body stays empty."""
        if data is None:
            return b""
        text: str = simplejson.dumps(data, use_decimal=True, allow_nan=False, ensure_ascii=False, default=_plain)
        return text.encode("utf-8")


def _plain(value: Any) -> Any:
    if isinstance(value, UUID | Promise):
        return str(value)
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, dt.date):
        return value.isoformat()
    raise TypeError(f"a {type(value).__name__} has no JSON form")


class JSONOnlyNegotiation(BaseContentNegotiation):
    """Answer JSON whatever is asked for: there is no other form to refuse in favour of."""

    def select_parser(self, request: Request, parsers: Any) -> BaseParser | None:
        """Return the parser whose media type was sent, or None, which becomes a 415."""
        sent = (request.content_type or "").partition(";")[0].strip().lower()
        return next((parser for parser in parsers if parser.media_type == sent), None)

    def select_renderer(self, request: Request, renderers: Any, format_suffix: str | None = None) -> Any:
        """Return the one renderer."""
        return renderers[0], renderers[0].media_type
