"""Photos as they are sent and as they are told of."""

from typing import Any

from django.utils.translation import gettext_lazy as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.fields import Id, Text
from api.serializers.rows import RowSerializer
from inspections.models import Photo


@extend_schema_field(OpenApiTypes.BINARY)
class FileBytes(serializers.Field[bytes, bytes, bytes, Any]):
    """A file of a form, read."""

    default_error_messages = {"invalid": _("Send a file.")}

    def to_internal_value(self, data: Any) -> bytes:
        """Return the bytes."""
        if not isinstance(data, bytes):
            self.fail("invalid")
        return data


class PhotoFormSerializer(serializers.Serializer[Any]):
    """A photo and what it belongs to: an inspection or a defect."""

    id = Id()
    inspection = Id(required=False)
    defect = Id(required=False)
    caption = Text(max_length=200, required=False, allow_blank=True)
    photo = FileBytes(write_only=True)

    def validate(self, attrs: Any) -> Any:
        """Refuse a photo of nothing and a photo of two things."""
        if ("inspection" in attrs) == ("defect" in attrs):
            raise serializers.ValidationError(_("A photo belongs to one inspection or to one defect."), "belongs_to")
        return attrs


class PhotoSerializer(RowSerializer):
    """What is known of a photo; the picture has an address of its own."""

    inspection = serializers.UUIDField(source="inspection.uuid", read_only=True, allow_null=True, default=None)
    defect = serializers.UUIDField(source="defect.uuid", read_only=True, allow_null=True, default=None)
    added_by = serializers.CharField(source="added_by.username", read_only=True)

    class Meta:
        model = Photo
        fields = [
            "id", "inspection", "defect", "caption", "width_px", "height_px", "received_at", "added_by",
            "withdrawn_at", "withdrawn_reason", "changed_at",
        ]  # fmt: skip
