"""Store visits, one or many, sign them, add readings to them, read them back."""

from collections.abc import Sequence
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import exceptions, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.errors import NotAllowed
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
from api.serializers.submissions import InspectionBatchSerializer, InspectionSerializer, inspection_form
from api.views.base import RowViewSet
from api.views.records import RecordActionMixin
from inspections.documents import Document
from inspections.models import Inspection
from inspections.queries import first_judgement, inspections_with_names
from inspections.services.extra import add_extra_reading
from inspections.services.judging import full_result
from inspections.services.record import Outcome, Recorded, record_inspection, record_inspections
from inspections.services.signing import sign_inspection

ANSWERS = {200: InspectionAnswerSerializer, 201: InspectionAnswerSerializer}


class InspectionViewSet(RecordActionMixin, RowViewSet):
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
        return Response(self.shown(self.get_object()))

    def shown(self, row: Inspection) -> dict[str, Any]:
        """Return the inspection with its first judgement."""
        judgement = first_judgement(row)
        return inspection_answer(row, judgement, full_result(row, judgement))

    @extend_schema(request=InspectionSerializer, responses=ANSWERS)
    def create(self, request: Request) -> Response:
        """Store and judge one visit; the same content again answers 200 with what is stored."""
        code, body = _told(record_inspection(self.actor, inspection_form().run_validation(request.data)))
        return Response(body, status=code)

    @extend_schema(request=InspectionBatchSerializer, responses={207: BulkAnswerSerializer}, filters=False)
    @action(detail=False, methods=["post"], pagination_class=None, filterset_class=None)
    def bulk(self, request: Request) -> Response:
        """Store and judge visits one by one; a refused one keeps none of the others out."""
        sent = InspectionBatchSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        results = self._bulk_results(sent.validated_data["items"])
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

    def _bulk_results(self, items: Sequence[Any]) -> list[dict[str, Any]]:
        checked = [_checked(item) for item in items]
        outcomes = iter(self._outcomes([each for each in checked if not isinstance(each, Exception)]))
        told = (_told(each if isinstance(each, Exception) else next(outcomes)) for each in checked)
        ids = (item.get("id") if isinstance(item, dict) else None for item in items)
        return [{"id": sent_id, "status": code, "body": body} for sent_id, (code, body) in zip(ids, told, strict=True)]

    def _outcomes(self, documents: Sequence[Document]) -> Sequence[Outcome | NotAllowed]:
        try:
            return record_inspections(self.actor, documents)
        except NotAllowed as refusal:
            return [refusal] * len(documents)


def _checked(item: Any) -> Document | exceptions.ValidationError:
    try:
        document: Document = inspection_form().run_validation(item)
    except exceptions.ValidationError as refusal:
        return refusal
    return document


def _told(outcome: Recorded | Exception) -> tuple[int, dict[str, Any]]:
    """Return the status and the body that one visit is answered with."""
    if isinstance(outcome, Recorded):
        code = status.HTTP_201_CREATED if outcome.created else status.HTTP_200_OK
        return code, inspection_answer(outcome.inspection, outcome.judgement, outcome.result)
    refusal = known_refusal(outcome)
    if refusal is None:
        raise outcome
    return refusal.status_code, problem(refusal.status_code, faults_of(refusal))
