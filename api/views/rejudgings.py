"""Sets judged anew: asked, compared, and stored once somebody decides so."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer

from api.filters_rejudgings import RejudgingFilter
from api.serializers import rejudgings
from api.views.base import RowViewSet
from inspections.models import Rejudging
from inspections.services.rejudging import Terms
from inspections.services.rejudging_runs import UNDER_WAY, ask_rejudging, store_rejudging

ANSWERS = dict.fromkeys((200, 201, 202), rejudgings.RejudgingReportSerializer)


class RejudgingViewSet(RowViewSet):
    """Sets that somebody had judged anew."""

    queryset = Rejudging.objects.select_related("requested_by")
    serializer_class = rejudgings.RejudgingSerializer
    filterset_class = RejudgingFilter

    def get_serializer_class(self) -> type[BaseSerializer[Any]]:
        """Show the report where one set is asked for."""
        return rejudgings.RejudgingSerializer if self.action == "list" else rejudgings.RejudgingReportSerializer

    @extend_schema(request=rejudgings.RejudgingFormSerializer, responses=ANSWERS, filters=False)
    def create(self, request: Request) -> Response:
        """Ask what would change; a large set answers 202 and is compared in the background. Nothing is stored yet."""
        sent = rejudgings.RejudgingFormSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        asked = sent.validated_data
        terms = Terms(reason=asked["reason"], **_figures(asked.get("terms", {})))
        row, created = ask_rejudging(self.actor, selection=asked["selection"], terms=terms, uuid=asked["id"])
        return self._answer(row, status.HTTP_201_CREATED if created else status.HTTP_200_OK)

    @extend_schema(request=None, responses=ANSWERS, filters=False)
    @action(detail=True, methods=["post"], pagination_class=None, filterset_class=None)
    def store(self, request: Request, **kwargs: Any) -> Response:
        """Store what was compared as new judgements beside the old; once more changes nothing."""
        return self._answer(store_rejudging(self.actor, self.get_object()), status.HTTP_200_OK)

    def _answer(self, row: Rejudging, code: int) -> Response:
        waiting = row.state in UNDER_WAY
        body = rejudgings.RejudgingReportSerializer(row).data
        return Response(body, status=status.HTTP_202_ACCEPTED if waiting else code)


def _figures(terms: dict[str, Any]) -> dict[str, Any]:
    figures = ("max_false_accept_probability", "tolerance_lower_percent", "tolerance_upper_percent")
    return {**terms, **{name: float(terms[name]) for name in figures if name in terms}}
