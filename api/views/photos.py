"""Photos beside inspections and defects."""

from collections.abc import Mapping
from typing import IO, Any

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import exceptions, status
from rest_framework.decorators import action
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.errors import Refused
from api.filters_photos import PhotoFilter
from api.parsers import BodyTooLarge, DecimalJSONParser
from api.serializers.defects import ReasonSerializer
from api.serializers.photos import PhotoFormSerializer, PhotoSerializer
from api.views.filing import FilingViewSet
from inspections.models import Defect, Inspection, Photo
from inspections.pictures import MOST_BYTES, picture_headers
from inspections.services.assess import unknown_id
from inspections.services.photos import add_photo, withdraw_photo

# The form's other fields and its boundaries.
MOST_AROUND_THE_FILE = 64 * 1024


class PhotoFormParser(MultiPartParser):
    """A form with a file, read into plain values; a body longer than a photo may be is not read at all."""

    def parse(
        self, stream: IO[Any], media_type: str | None = None, parser_context: Mapping[str, Any] | None = None
    ) -> Any:
        """Return the fields as text and the files as bytes."""
        sent = (parser_context or {})["request"].META.get("CONTENT_LENGTH") or 0
        if int(sent) > MOST_BYTES + MOST_AROUND_THE_FILE:
            raise BodyTooLarge
        form = super().parse(stream, media_type, parser_context)
        files: Mapping[str, Any] = form.files
        return form.data.dict() | {name: file.read() for name, file in files.items()}


class PhotoViewSet(FilingViewSet):
    """Photos; the picture itself is a JPEG without anything but the picture."""

    queryset = Photo.objects.select_related("inspection", "defect", "added_by").defer("picture", "inspection__evidence")
    serializer_class = PhotoSerializer
    filterset_class = PhotoFilter
    parser_classes = [DecimalJSONParser, PhotoFormParser]

    @extend_schema(
        request={"multipart/form-data": PhotoFormSerializer}, responses={200: PhotoSerializer, 201: PhotoSerializer}
    )
    def create(self, request: Request) -> Response:
        """Store a photo; the same file under the same id answers 200 with what is stored."""
        sent = PhotoFormSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        values = sent.validated_data
        photo, created = add_photo(
            self.actor,
            self._subject(values),
            sent=values["photo"],
            photo_id=values["id"],
            caption=values.get("caption", ""),
        )
        return self._answer(photo, status.HTTP_201_CREATED if created else status.HTTP_200_OK)

    @extend_schema(responses={(200, "image/jpeg"): OpenApiResponse(OpenApiTypes.BINARY)}, filters=False)
    @action(detail=True, methods=["get"], pagination_class=None, filterset_class=None)
    def picture(self, request: Request, **kwargs: Any) -> HttpResponse:
        """Answer the picture; a withdrawn one is not shown any more."""
        photo = self.get_object()
        if photo.withdrawn_at is not None:
            raise exceptions.NotFound
        return HttpResponse(bytes(photo.picture), headers=picture_headers(photo.uuid))

    @extend_schema(request=ReasonSerializer, responses=PhotoSerializer)
    @action(detail=True, methods=["post"], pagination_class=None, filterset_class=None)
    def withdraw(self, request: Request, **kwargs: Any) -> Response:
        """Take the photo off the pages, with a reason; its row stays."""
        return self.taken(ReasonSerializer, withdraw_photo)

    def _subject(self, values: Mapping[str, Any]) -> Inspection | Defect:
        owner = self.actor.organisation
        tables: dict[str, QuerySet[Any]] = {
            "inspection": Inspection.objects.of(owner),
            "defect": Defect.objects.of(owner),
        }
        name = next(name for name in tables if name in values)
        row = tables[name].filter(uuid=values[name]).first()
        if row is None:
            raise Refused(unknown_id((name,), values[name]))
        return row  # type: ignore[no-any-return]
