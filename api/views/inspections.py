"""Store visits, one or many, sign them, add readings to them, read them back."""

from typing import Any

from django.db import transaction
from drf_spectacular.utils import extend_schema
from rest_framework import exceptions, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.roles import Ability
from api import filters
from api.answers import extra_reading_answer, inspection_answer
from api.problems import faults_of, known_refusal, problem
from api.serializers.answers import (
    BulkAnswerSerializer,
    ExtraReadingAnswerSerializer,
    InspectionAnswerSerializer,
    InspectionRowSerializer,
)
from api.serializers.readings import ClientExtraReadingSerializer
from api.serializers.submissions import InspectionBatchSerializer, InspectionSerializer
from api.views.base import RowViewSet
from inspections.models import Inspection
from inspections.queries import first_judgement, inspections_with_names
from inspections.services.extra import add_extra_reading
from inspections.services.judging import full_result
from inspections.services.record import record_inspection
from inspections.services.signing import sign_inspection

ANSWERS = {200: InspectionAnswerSerializer, 201: InspectionAnswerSerializer}


class InspectionViewSet(RowViewSet):
    """Visits with their evidence and verdicts."""

    queryset = Inspection.objects.all()
    serializer_class = InspectionRowSerializer
    filterset_class = filters.InspectionFilter
    ordering = ("-performed_at", "-pk")

    def get_queryset(self) -> Any:
        """Return inspections with the names their rows show."""
        if getattr(self, "swagger_fake_view", False):
            return super().get_queryset()
        self.actor.require(Ability.READ)
        return inspections_with_names(self.actor.organisation)

    @extend_schema(responses=InspectionAnswerSerializer)
    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Answer one inspection with its first judgement."""
        inspection = self.get_object()
        judgement = first_judgement(inspection)
        return Response(inspection_answer(inspection, judgement, full_result(inspection, judgement)))

    @extend_schema(request=InspectionSerializer, responses=ANSWERS)
    def create(self, request: Request) -> Response:
        """Store and judge one visit; the same content again answers 200 with what is stored."""
        code, body = self._record(request.data)
        return Response(body, status=code)

    @extend_schema(request=InspectionBatchSerializer, responses={207: BulkAnswerSerializer}, filters=False)
    @action(detail=False, methods=["post"], pagination_class=None, filterset_class=None)
    def bulk(self, request: Request) -> Response:
        """Store and judge visits one by one; a refused one keeps none of the others out."""
        sent = InspectionBatchSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        results = [self._bulk_result(item) for item in sent.validated_data["items"]]
        return Response({"results": results}, status=status.HTTP_207_MULTI_STATUS)

    @extend_schema(request=None, responses=InspectionAnswerSerializer)
    @action(detail=True, methods=["post"])
    def sign(self, request: Request, **kwargs: Any) -> Response:
        """Sign an inspection that was stored unsigned."""
        inspection = sign_inspection(self.actor, kwargs["id"])
        if inspection is None:
            raise exceptions.NotFound
        return self.retrieve(request, **kwargs)

    @extend_schema(
        request=ClientExtraReadingSerializer,
        responses={200: ExtraReadingAnswerSerializer, 201: ExtraReadingAnswerSerializer},
    )
    @action(detail=True, methods=["post"], url_path="extra-readings")
    def extra_readings(self, request: Request, **kwargs: Any) -> Response:
        """Store one extra reading beside the inspection."""
        sent = ClientExtraReadingSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        added = add_extra_reading(self.actor, kwargs["id"], sent.validated_data)
        if added is None:
            raise exceptions.NotFound
        reading, result, created = added
        return Response(extra_reading_answer(reading, result), status=201 if created else 200)

    def _record(self, item: Any) -> tuple[int, dict[str, Any]]:
        sent = InspectionSerializer(data=item)
        sent.is_valid(raise_exception=True)
        recorded = record_inspection(self.actor, sent.validated_data)
        code = status.HTTP_201_CREATED if recorded.created else status.HTTP_200_OK
        return code, inspection_answer(recorded.inspection, recorded.judgement, recorded.result)

    def _bulk_result(self, item: Any) -> dict[str, Any]:
        sent_id = item.get("id") if isinstance(item, dict) else None
        try:
            with transaction.atomic():
                code, body = self._record(item)
        except Exception as error:
            refusal = known_refusal(error)
            if refusal is None:
                raise
            code, body = refusal.status_code, problem(refusal.status_code, faults_of(refusal))
        return {"id": sent_id, "status": code, "body": body}
