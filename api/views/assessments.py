"""Judge without storing."""

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.answers import judgement_answer
from api.serializers.answers import JudgementAnswerSerializer
from api.serializers.shapes import PreviewAnswerSerializer
from api.serializers.submissions import AssessmentSerializer, PreviewSerializer
from api.views.base import ActorView
from inspections.services.assess import assess, expect


class AssessmentView(ActorView):
    """Readings in, a judgement out, nothing kept."""

    @extend_schema(request=AssessmentSerializer, responses=JudgementAnswerSerializer)
    def post(self, request: Request) -> Response:
        """Judge readings without storing them."""
        sent = AssessmentSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        return Response(judgement_answer(assess(self.actor, sent.validated_data)))


class AssessmentPreviewView(ActorView):
    """What to expect of a check before anything is measured."""

    @extend_schema(request=PreviewSerializer, responses=PreviewAnswerSerializer)
    def post(self, request: Request) -> Response:
        """Say what each stage should draw, and whether these meters could pass it."""
        sent = PreviewSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        return Response(expect(self.actor, sent.validated_data))
