"""Calibrations with the checks they throw doubt on, and comparisons of two meters."""

from dataclasses import asdict
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api import filters_instruments as filters
from api.serializers import instruments
from api.views.base import ActorView, RowViewSet
from inspections.models import Calibration, MeterComparison
from inspections.services.comparisons import compare_meters, record_comparison
from inspections.services.doubt import JudgedInDoubt, rejudge_in_doubt


class CalibrationViewSet(RowViewSet):
    """Calibrations of every meter; one is added at its meter's address, and none is ever changed."""

    queryset = Calibration.objects.select_related("meter", "recorded_by")
    serializer_class = instruments.CalibrationRowSerializer
    filterset_class = filters.CalibrationFilter

    @extend_schema(
        request=instruments.DoubtSerializer,
        responses=dict.fromkeys((200, 202), instruments.JudgedInDoubtSerializer),
        filters=False,
    )
    @action(detail=True, methods=["post"], pagination_class=None, filterset_class=None)
    def rejudge(self, request: Request, **kwargs: Any) -> Response:
        """Judge the checks in doubt anew with the error taken out, beside their earlier verdicts.

        A large set answers 202 and goes on in the background, as the judging anew that is named.
        """
        sent = instruments.DoubtSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        done = rejudge_in_doubt(self.actor, self.get_object(), **sent.validated_data)
        return Response(_answer(done), status=status.HTTP_202_ACCEPTED if done.left else status.HTTP_200_OK)


def _answer(done: JudgedInDoubt) -> dict[str, Any]:
    changes = [{"before": pair[0], "after": pair[1], "count": count} for pair, count in sorted(done.changes.items())]
    run = None if done.run is None else done.run.uuid
    return {"judged": done.judged, "left": done.left, "changes": changes, "rejudging": run}


class ComparisonViewSet(RowViewSet):
    """Comparisons of two meters that read the same thing."""

    queryset = MeterComparison.objects.select_related("first", "second", "recorded_by")
    serializer_class = instruments.ComparisonSerializer
    filterset_class = filters.ComparisonFilter

    @extend_schema(
        request=instruments.ComparisonFormSerializer, responses={201: instruments.ComparisonSerializer}, filters=False
    )
    def create(self, request: Request) -> Response:
        """Keep a comparison; the same id with the same content again answers what is stored."""
        sent = instruments.ComparisonFormSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        row = record_comparison(self.actor, **sent.validated_data)
        return Response(self.get_serializer(row).data, status=status.HTTP_201_CREATED)


class ComparisonPreviewView(ActorView):
    """Two meters' readings in, E_n out, nothing kept."""

    @extend_schema(request=instruments.ComparisonPreviewSerializer, responses=instruments.ComparisonAnswerSerializer)
    def post(self, request: Request) -> Response:
        """Compare two meters without storing it."""
        sent = instruments.ComparisonPreviewSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        found = asdict(compare_meters(self.actor, **sent.validated_data))
        return Response(instruments.ComparisonAnswerSerializer(found).data)
