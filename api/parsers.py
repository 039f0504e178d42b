"""JSON in, with decimals as typed and every way of sending nonsense refused as a 400."""

import json
import re
from collections import Counter
from collections.abc import Iterable, Iterator
from decimal import Decimal, InvalidOperation
from typing import IO, Any

from django.conf import settings
from django.utils.translation import gettext as _
from rest_framework import status
from rest_framework.exceptions import APIException, ParseError
from rest_framework.parsers import BaseParser

DEEPEST = 32
LONGEST_SHOWN = 40
# Of which every number fits 64 bits: an answer may have to say one again.
LONGEST_INTEGER = 18
UNSTORABLE = re.compile("[\x00\ud800-\udfff]")


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
        _refuse_deep(document)
        # Without an escape no text can hold what cannot be stored.
        if b"\\u" in body and any(UNSTORABLE.search(text) for text in _texts(document)):
            raise ParseError(_("Text holds a character that cannot be stored: U+0000 or half of a surrogate pair."))
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
    return int(text) if len(text) <= LONGEST_INTEGER else Decimal(text)


def _refuse_constant(name: str) -> None:
    raise ValueError(f"{name} is not a JSON number")


def _object_without_twins(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        twin, _times = Counter(key for key, _value in pairs).most_common(1)[0]
        raise ValueError(f"the key {twin[:LONGEST_SHOWN]!r} stands twice in one object")
    return found


def _refuse_deep(document: Any) -> None:
    level = [document] if isinstance(document, dict | list) else []
    for _depth in range(DEEPEST):
        level = [item for value in level for item in _items(value) if isinstance(item, dict | list)]
        if not level:
            return
    raise _too_deep()


def _items(value: dict[str, Any] | list[Any]) -> Iterable[Any]:
    return value.values() if isinstance(value, dict) else value


def _texts(document: Any) -> Iterator[str]:
    waiting = [document]
    while waiting:
        value = waiting.pop()
        if isinstance(value, str):
            yield value
        elif isinstance(value, dict | list):
            waiting += _items(value)
            yield from value if isinstance(value, dict) else ()
