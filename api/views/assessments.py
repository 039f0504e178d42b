"""Judge without storing."""

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.answers import judgement_answer
from api.serializers.answers import JudgementAnswerSerializer
from api.serializers.submissions import AssessmentSerializer
from api.views.base import ActorView
from inspections.services.assess import assess


class AssessmentView(ActorView):
    """Readings in, a judgement out, nothing kept."""

    @extend_schema(request=AssessmentSerializer, responses=JudgementAnswerSerializer)
    def post(self, request: Request) -> Response:
        """Judge readings without storing them."""
        sent = AssessmentSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        return Response(judgement_answer(assess(self.actor, sent.validated_data)))
