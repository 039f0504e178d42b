"""How the organisation judges, read and changed; its revisions; and the survey's limits, type by type."""

from typing import Any

from django.http.response import HttpResponseBase
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.models import Organisation
from accounts.roles import Ability
from api import filters_rules as filters
from api.etags import etag_of, require_match
from api.serializers import rules
from api.views.base import ActorView, RowViewSet
from api.views.filing import FilingViewSet
from api.views.guarded import guarded
from fleet.models import RetarderType
from inspections.limits import limits_in_force
from inspections.models import LimitsRevision
from inspections.services.rules import change_rules
from inspections.services.survey_limits import state_survey_limits


class RulesView(ActorView):
    """Decision rule, calibration policy, bounds of the coil temperature, limits, and what a check looks at."""

    @extend_schema(responses=rules.RulesSerializer)
    def get(self, request: Request) -> Response:
        """Answer what a check of now is judged by."""
        self.actor.require(Ability.READ)
        return Response(self._shown())

    @extend_schema(request=rules.RulesFormSerializer, responses=rules.RulesSerializer)
    def patch(self, request: Request) -> HttpResponseBase:
        """Change what is sent, for the checks to come; nothing that was judged changes."""
        return guarded(self._change, self.actor, check=self._compare, keyed=True)(request)

    def _change(self, request: Request) -> Response:
        sent = rules.RulesFormSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        change_rules(self.actor, sent.validated_data)
        data = self._shown()
        return Response(data, headers={"ETag": etag_of(data)})

    def _compare(self) -> None:
        """Keep other writers out until the transaction ends, and refuse where it is not what the client saw."""
        list(
            Organisation.objects.filter(pk=self.actor.organisation.pk).select_for_update(no_key=True).values_list("pk")
        )
        require_match(self.request, self._shown(), required=True)

    def _shown(self) -> dict[str, Any]:
        organisation = Organisation.objects.get(pk=self.actor.organisation.pk)
        return rules.rules_answer(organisation, limits_in_force(organisation))


class LimitsRevisionViewSet(RowViewSet):
    """Bounds, limits and lists as they held; a change of the rules adds one."""

    queryset = LimitsRevision.objects.select_related("entered_by")
    serializer_class = rules.LimitsRevisionSerializer
    filterset_class = filters.LimitsRevisionFilter


class RetarderTypeViewSet(FilingViewSet):
    """Types of retarder, with the rating their units are judged by."""

    queryset = RetarderType.objects.prefetch_related("revisions")
    serializer_class = rules.TypeOnFileSerializer
    filterset_class = filters.RetarderTypeFilter

    @extend_schema(request=rules.SurveyLimitsFormSerializer, responses=rules.TypeOnFileSerializer)
    @action(detail=True, methods=["post"], url_path="survey-limits", pagination_class=None, filterset_class=None)
    def survey_limits(self, request: Request, **kwargs: Any) -> Response:
        """State what the survey's numbers are held against, as a revision of the rating; the amps stay."""
        return self.taken(rules.SurveyLimitsFormSerializer, _state)


def _state(actor: Any, kind: RetarderType, *, survey_limits: Any, reason: str) -> None:
    state_survey_limits(actor, kind, survey_limits, reason=reason)
