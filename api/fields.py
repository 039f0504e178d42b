"""Fields that take a value as JSON types it, and say in a refusal what came and what is allowed."""

import datetime as dt
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any
from uuid import RFC_4122, UUID

from django.utils.translation import gettext_lazy as _
from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from accounts.instants import instant

EARLIEST = dt.datetime(1950, 1, 1, tzinfo=dt.UTC)
# Python's decimal arithmetic rounds past 28 digits, and two readings would become one.
MOST_DIGITS = 28
LARGEST = Decimal(1_000_000)
LONGEST_SHOWN = 60


class Quantity(serializers.Field[Decimal, Any, Decimal, Any]):
    """A measured number: a JSON number, finite, in range, its digits kept."""

    default_error_messages = {
        "invalid": _("{value} is not a JSON number."),
        "range": _("{value} is out of range; allowed is {low} to {high}."),
        "digits": _("{value} has more than {most} digits."),
    }

    def __init__(
        self, *, low: Decimal | float = 0, high: Decimal | float = LARGEST, above: bool = False, **kwargs: Any
    ) -> None:
        """Take the range; with `above` the lower end itself is outside."""
        super().__init__(**kwargs)
        self.low, self.high, self.above = low, high, above

    def to_internal_value(self, data: Any) -> Decimal:
        """Return the number as typed."""
        if isinstance(data, bool) or not isinstance(data, int | Decimal):
            self.fail("invalid", value=shown(data))
        number = Decimal(data)
        if not self.low <= number <= self.high or (self.above and number == self.low):
            low = f"above {self.low}" if self.above else self.low
            self.fail("range", value=shown(data), low=low, high=self.high)
        if len(number.as_tuple().digits) > MOST_DIGITS or -int(number.as_tuple().exponent) > MOST_DIGITS:
            self.fail("digits", value=shown(data), most=MOST_DIGITS)
        return number

    def to_representation(self, value: Decimal | str) -> Decimal:
        """Return the number; a document keeps it as text, for the sake of its digits."""
        return Decimal(value) if isinstance(value, str) else value


class Whole(serializers.Field[int, Any, int, Any]):
    """A whole JSON number in a range."""

    default_error_messages = {
        "invalid": _("{value} is not a whole JSON number."),
        "range": _("{value} is out of range; allowed is {low} to {high}."),
    }

    def __init__(self, *, low: int, high: int, **kwargs: Any) -> None:
        """Take the range."""
        super().__init__(**kwargs)
        self.low, self.high = low, high

    def to_internal_value(self, data: Any) -> int:
        """Return the number; 4.0 is 4."""
        if isinstance(data, bool) or not isinstance(data, int | Decimal):
            self.fail("invalid", value=shown(data))
        # The range comes first: a number of a million digits is never made whole.
        if not self.low <= data <= self.high:
            self.fail("range", value=shown(data), low=self.low, high=self.high)
        if int(data) != data:
            self.fail("invalid", value=shown(data))
        return int(data)

    def to_representation(self, value: int) -> int:
        """Return the number."""
        return value


class QuantitySchema(OpenApiSerializerFieldExtension):  # type: ignore[no-untyped-call]
    """A measured number in the OpenAPI document, with its range."""

    target_class = "api.fields.Quantity"
    match_subclasses = True

    def map_serializer_field(self, auto_schema: object, direction: str) -> dict[str, Any]:
        """Return the schema."""
        field: Quantity = self.target
        lowest = "exclusiveMinimum" if field.above else "minimum"
        return {"type": "number", lowest: float(field.low), "maximum": float(field.high)}


class WholeSchema(OpenApiSerializerFieldExtension):  # type: ignore[no-untyped-call]
    """A whole number in the OpenAPI document, with its range."""

    target_class = "api.fields.Whole"

    def map_serializer_field(self, auto_schema: object, direction: str) -> dict[str, Any]:
        """Return the schema."""
        field: Whole = self.target
        return {"type": "integer", "minimum": field.low, "maximum": field.high}


@extend_schema_field({"type": "string", "format": "date-time"})
class Instant(serializers.Field[dt.datetime, Any, str, Any]):
    """An RFC 3339 date and time with offset."""

    default_error_messages = {
        "invalid": _("{value} is not an RFC 3339 date and time with offset, such as 2026-11-25T09:30:00+01:00."),
        "range": _("{value} is before 1950."),
    }

    def to_internal_value(self, data: Any) -> dt.datetime:
        """Return the instant in UTC."""
        try:
            at = instant(data if isinstance(data, str) else "")
        except ValueError:
            self.fail("invalid", value=shown(data))
        if at < EARLIEST:
            self.fail("range", value=shown(data))
        return at

    def to_representation(self, value: dt.datetime) -> str:
        """Return the instant with Z."""
        return value.astimezone(dt.UTC).isoformat().replace("+00:00", "Z")


@extend_schema_field({"type": "string", "format": "uuid"})
class Id(serializers.Field[UUID, Any, str, Any]):
    """A UUID as text; `client_made` asks for version 4 or 7 (RFC 9562)."""

    default_error_messages = {
        "invalid": _("{value} is not a UUID."),
        "version": _("{value} is not a UUID of version 4 or 7."),
    }

    def __init__(self, *, client_made: bool = False, **kwargs: Any) -> None:
        """Take whether the client makes the id."""
        super().__init__(**kwargs)
        self.client_made = client_made

    def to_internal_value(self, data: Any) -> UUID:
        """Return the UUID."""
        try:
            found = UUID(data if isinstance(data, str) else "")
        except ValueError:
            self.fail("invalid", value=shown(data))
        # Python also takes braces, no hyphens and hyphens anywhere.
        if str(found) != data.lower():
            self.fail("invalid", value=shown(data))
        if self.client_made and (found.variant != RFC_4122 or found.version not in (4, 7)):
            self.fail("version", value=shown(data))
        return found

    def to_representation(self, value: UUID) -> str:
        """Return the UUID in lower case."""
        return str(value)


class OneOf(serializers.ChoiceField):
    """One of a few words; a refusal lists them."""

    default_error_messages = {"invalid_choice": _("{input} is not allowed; allowed are {allowed}.")}

    def to_internal_value(self, data: Any) -> str:
        """Return the word."""
        if not isinstance(data, str) or data not in self.choices:
            self.fail("invalid_choice", input=shown(data), allowed=", ".join(map(str, self.choices)))
        return data


class Text(serializers.CharField):
    """Text that came as text."""

    default_error_messages = {"invalid": _("{value} is not text.")}

    def to_internal_value(self, data: Any) -> str:
        """Return the text."""
        if not isinstance(data, str):
            self.fail("invalid", value=shown(data))
        return str(super().to_internal_value(data))


class Flag(serializers.BooleanField):
    """True or false as JSON types them."""

    default_error_messages = {"invalid": _("{value} is not true or false.")}

    def to_internal_value(self, data: Any) -> bool:
        """Return the flag."""
        if not isinstance(data, bool):
            self.fail("invalid", value=shown(data))
        return data


def shown(value: Any) -> str:
    """Return a value as it can stand in a sentence: short, whatever was sent."""
    if isinstance(value, Mapping):
        return str(_("an object"))
    if isinstance(value, Sequence) and not isinstance(value, str):
        return str(_("a list"))
    if value is None or isinstance(value, bool):
        return {None: "null", True: "true", False: "false"}[value]
    text = str(value)
    text = text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}…"
    return repr(text) if isinstance(value, str) else text
