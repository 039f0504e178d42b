"""What clients post: assessments, inspections, batches of them."""

from functools import cache
from typing import Any
from uuid import UUID

from django.utils.translation import gettext_lazy as _
from drf_spectacular.extensions import OpenApiSerializerFieldExtension
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.fields import Flag, Id, Instant, OneOf, Quantity, Text
from api.serializers.readings import (
    CablesSerializer,
    MeterFiguresSerializer,
    RatingSerializer,
    ReadingsSerializer,
    StageReadingSerializer,
    rating_from,
)
from inspections.models import PURPOSES

MOST_ITEMS = 500


class MeterOrId(serializers.Field[Any, Any, Any, Any]):
    """A meter on file by its id, or its figures inline."""

    def to_internal_value(self, data: Any) -> UUID | dict[str, Any]:
        """Return the id or the checked figures."""
        if not isinstance(data, dict):
            return Id().to_internal_value(data)
        figures = MeterFiguresSerializer(data=data)
        figures.is_valid(raise_exception=True)
        return dict(figures.validated_data)

    def to_representation(self, value: Any) -> Any:
        """Return what was given."""
        return value


class MeterOrIdShape(OpenApiSerializerFieldExtension):  # type: ignore[no-untyped-call]
    """How the schema describes a meter by id or inline."""

    target_class = MeterOrId

    def map_serializer_field(self, auto_schema: Any, direction: Any) -> dict[str, Any]:
        """Return either form."""
        figures = auto_schema.resolve_serializer(MeterFiguresSerializer, direction)
        return {"oneOf": [{"type": "string", "format": "uuid"}, figures.ref]}


class AssessmentSerializer(ReadingsSerializer):
    """Readings to judge without storing, against an inline rating or an installation's rating on file."""

    installation = Id(required=False, allow_null=True)
    rating = RatingSerializer(required=False, allow_null=True)
    ammeter = MeterOrId()
    voltmeter = MeterOrId()
    cables = CablesSerializer(required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Ask for exactly one rating, and hand it on as calc knows it."""
        attrs = super().validate(attrs)
        if ("rating" in attrs) == ("installation" in attrs):
            raise serializers.ValidationError({"rating": _("Give either rating or installation.")}, "required")
        if "rating" in attrs:
            attrs["rating"] = rating_from(attrs["rating"])
        return attrs


class PreviewSerializer(AssessmentSerializer):
    """A check before it: rating or installation, meters and coil temperature, and the volts that are expected."""

    stage_readings = serializers.ListField(
        child=StageReadingSerializer(), required=False, allow_null=True, max_length=0
    )
    supply_voltage_v = Quantity(low=1, high=1_000, required=False, allow_null=True)


class InspectionSerializer(ReadingsSerializer):
    """One visit's evidence under an id that the client made."""

    id = Id(client_made=True)
    installation = Id()
    performed_at = Instant()
    ammeter = Id()
    voltmeter = Id()
    purpose = OneOf(PURPOSES, required=False, allow_null=True)
    retest_of = serializers.ListField(child=Id(), required=False, allow_null=True, max_length=50)
    notes = Text(max_length=10_000, required=False, allow_null=True, allow_blank=True)
    sign = Flag(required=False)
    supersedes = Id(required=False, allow_null=True)
    supersede_reason = Text(max_length=1_000, required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Fill in purpose, method and signature, and ask for a reason where an earlier check is replaced."""
        attrs = super().validate(attrs)
        attrs.setdefault("purpose", "routine")
        attrs.setdefault("coil_temperature_method", "measured" if "coil_temperature_c" in attrs else "unknown")
        attrs.setdefault("sign", True)
        if "supersedes" in attrs and "supersede_reason" not in attrs:
            raise serializers.ValidationError({"supersede_reason": _("Needed where a check is replaced.")}, "required")
        return attrs


@cache
def inspection_form() -> InspectionSerializer:
    """Return the form of a visit, made once: the framework copies every field of a form that is made anew.

    Checking reads the form and writes nothing to it, so any number of threads may share it.
    """
    return InspectionSerializer()


@extend_schema_field({})
class Unchecked(serializers.Field[Any, Any, Any, Any]):
    """Any JSON value, to be checked later and on its own."""

    def to_internal_value(self, data: Any) -> Any:
        """Return what was sent."""
        return data


class InspectionBatchSerializer(serializers.Serializer[Any]):
    """Inspections to store one by one; each is checked and answered on its own."""

    items = serializers.ListField(child=Unchecked(allow_null=True), max_length=MOST_ITEMS)
