"""The whole record of one inspection."""

from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import exceptions
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.roles import Ability
from api.record_answers import record_answer
from api.serializers.records import InspectionRecordSerializer
from api.views.base import ActorView
from inspections.whole_record import inspection_with_everything, whole_record


class RecordActionMixin(ActorView):
    """Answers everything that belongs to one inspection, for an archive or an auditor."""

    @extend_schema(responses=InspectionRecordSerializer)
    @action(detail=True, methods=["get"])
    def record(self, request: Request, **kwargs: UUID) -> Response:
        """Answer readings as typed, rating, calibrations of the day, judgements, signature and audit entries."""
        self.actor.require(Ability.READ)
        inspection = inspection_with_everything(self.actor.organisation, kwargs["id"])
        if inspection is None:
            raise exceptions.NotFound
        return Response(record_answer(whole_record(inspection), with_addresses=self.actor.may(Ability.MANAGE)))
