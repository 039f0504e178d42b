"""JSON out: decimals as numbers with the digits they were typed with."""

import datetime as dt
from decimal import Decimal
from typing import Any

import orjson
from django.utils.functional import Promise
from rest_framework.negotiation import BaseContentNegotiation
from rest_framework.parsers import BaseParser
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request

# Instants are always told in UTC.
OURS = orjson.OPT_PASSTHROUGH_DATETIME | orjson.OPT_PASSTHROUGH_DATACLASS


class DecimalJSONRenderer(BaseRenderer):
    """Render the API's only form."""

    media_type = "application/json"
    format = "json"
    charset = None

    def render(self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None) -> bytes:
        """Return the body; no body stays empty."""
        if data is None:
            return b""
        return orjson.dumps(data, default=_plain, option=OURS)


def _plain(value: Any) -> Any:
    if isinstance(value, Decimal):
        return orjson.Fragment(str(value))
    if isinstance(value, Promise):
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
