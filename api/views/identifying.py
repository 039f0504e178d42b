"""Units whose type is not identified: put on file, held against the types on file, identified."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.errors import Refused
from api.serializers import identifying
from api.serializers.rejudgings import RejudgingReportSerializer
from api.serializers.rows import InstallationSerializer
from api.views.filing import FilingViewSet
from fleet.models import RetarderType
from inspections.services.assess import unknown_id
from inspections.services.identifying import file_unidentified_unit, identify_type
from inspections.services.rejudging_runs import UNDER_WAY
from inspections.type_candidates import type_candidates

NOT_IDENTIFIED = "not-identified"
IDENTIFIED = dict.fromkeys((200, 202), identifying.IdentifiedSerializer)


class IdentifyingViewSet(FilingViewSet):
    """The steps from a unit of no known type to one that is judged by a rating."""

    @extend_schema(
        request=identifying.NotIdentifiedFormSerializer, responses={201: InstallationSerializer}, filters=False
    )
    @action(detail=False, methods=["post"], url_path=NOT_IDENTIFIED, pagination_class=None, filterset_class=None)
    def not_identified(self, request: Request) -> Response:
        """Fit a unit whose type is not identified: it is judged on its balance and its own history."""
        answer = self.added(identifying.NotIdentifiedFormSerializer, file_unidentified_unit)
        answer["Location"] = answer["Location"].replace(f"/{NOT_IDENTIFIED}/", "/")
        return answer

    @extend_schema(responses=identifying.TypeCandidatesSerializer, filters=False)
    @action(detail=True, url_path="type-candidates", pagination_class=None, filterset_class=None)
    def type_candidates(self, request: Request, **kwargs: Any) -> Response:
        """Answer which types on file the unit could be of, by what its stages conduct."""
        return Response(identifying.candidates_answer(type_candidates(self.get_object())))

    @extend_schema(request=identifying.IdentifyFormSerializer, responses=IDENTIFIED)
    @action(detail=True, methods=["post"], pagination_class=None, filterset_class=None)
    def identify(self, request: Request, **kwargs: Any) -> Response:
        """Say of which type the unit is: its checks are judged anew, beside how they were; once more undoes it."""
        sent = identifying.IdentifyFormSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        unit, wanted = self.get_object(), sent.validated_data["retarder_type"]
        kind = RetarderType.objects.of(self.actor.organisation).filter(uuid=wanted).first()
        if kind is None:
            raise Refused(unknown_id(("retarder_type",), wanted))
        run = identify_type(self.actor, unit.retarder, kind, reason=sent.validated_data["reason"])
        body = {
            "installation": self.shown(self.get_queryset().get(pk=unit.pk)),
            "rejudging": None if run is None else RejudgingReportSerializer(run).data,
        }
        waiting = run is not None and run.state in UNDER_WAY
        return Response(body, status=status.HTTP_202_ACCEPTED if waiting else status.HTTP_200_OK)
