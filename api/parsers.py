"""JSON in, with decimals as typed and every way of sending nonsense refused as a 400."""

import json
from collections import Counter
from collections.abc import Iterator, Mapping
from decimal import Decimal, InvalidOperation
from typing import IO, Any

from django.conf import settings
from django.utils.translation import gettext as _
from rest_framework import status
from rest_framework.exceptions import APIException, ParseError
from rest_framework.parsers import BaseParser

DEEPEST = 32
LONGEST_SHOWN = 40
SURROGATES = range(0xD800, 0xE000)


class BodyTooLarge(APIException):
    """The body is longer than the service reads."""

    status_code = status.HTTP_413_REQUEST_ENTITY_TOO_LARGE
    default_code = "too_large"
    default_detail = _("The body is larger than %(most)s bytes.") % {"most": settings.DATA_UPLOAD_MAX_MEMORY_SIZE}


class DecimalJSONParser(BaseParser):
    """Parse numbers as Decimal, so that 40.10 keeps its digits."""

    media_type = "application/json"

    def parse(self, stream: IO[bytes], media_type: str | None = None, parser_context: Any = None) -> Any:
        """Return the parsed body."""
        body = _limited(stream)
        try:
            document = json.loads(
                body.decode("utf-8"),
                parse_float=_decimal,
                parse_int=_integer,
                parse_constant=_refuse_constant,
                object_pairs_hook=_object_without_twins,
            )
        except RecursionError:
            raise _too_deep() from None
        except ValueError as error:
            raise ParseError(_("The body is not JSON: %(error)s") % {"error": error}) from None
        for depth, text in _walk(document):
            if depth > DEEPEST:
                raise _too_deep()
            _refuse_unstorable(text)
        return document


def _limited(stream: IO[bytes]) -> bytes:
    most = settings.DATA_UPLOAD_MAX_MEMORY_SIZE
    body = stream.read(most + 1)
    if len(body) > most:
        raise BodyTooLarge
    return body


def _too_deep() -> ParseError:
    return ParseError(_("The body is nested deeper than %(deepest)s levels.") % {"deepest": DEEPEST}, "too_deep")


def _decimal(text: str) -> Decimal:
    try:
        return Decimal(text)
    except InvalidOperation:
        raise ValueError(f"the number {text[:LONGEST_SHOWN]} has too large an exponent") from None


def _integer(text: str) -> int | Decimal:
    # An int of thousands of digits is a ValueError in Python; as a Decimal it reaches its field and is refused there.
    return int(text) if len(text) <= LONGEST_SHOWN else Decimal(text)


def _refuse_constant(name: str) -> None:
    raise ValueError(f"{name} is not a JSON number")


def _object_without_twins(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        twin, _times = Counter(key for key, _value in pairs).most_common(1)[0]
        raise ValueError(f"the key {twin[:LONGEST_SHOWN]!r} stands twice in one object")
    return found


def _walk(document: Any) -> Iterator[tuple[int, str]]:
    waiting = [(1, document)]
    while waiting:
        depth, value = waiting.pop()
        if isinstance(value, Mapping):
            waiting += [(depth + 1, item) for item in value.values()]
            yield depth, "".join(value)
        elif isinstance(value, list):
            waiting += [(depth + 1, item) for item in value]
            yield depth, ""
        elif isinstance(value, str):
            yield depth, value


def _refuse_unstorable(text: str) -> None:
    if "\x00" in text or any(ord(character) in SURROGATES for character in text):
        raise ParseError(_("Text holds a character that cannot be stored: U+0000 or half of a surrogate pair."))
