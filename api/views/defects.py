"""Defects: what was found wrong, and each step until a passing retest closes it."""

from collections.abc import Callable
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer

from api import filters
from api.serializers import defects, rows
from api.views.base import RowViewSet
from api.views.rows import VEHICLE_AND_DEPOT
from inspections.models import Defect
from inspections.services.defect_life import (
    certify_repair_unnecessary,
    decide_release,
    note_driver_told,
    record_repair,
    settle_changed_verdict,
)


class DefectViewSet(RowViewSet):
    """What was found wrong."""

    queryset = Defect.objects.select_related(VEHICLE_AND_DEPOT, "found_by", "released_by")
    serializer_class = rows.DefectSerializer
    filterset_class = filters.DefectFilter

    def get_queryset(self) -> QuerySet[Any]:
        """Return defects, one by one with the steps of their lives."""
        rows_of_organisation = super().get_queryset()
        if self.action == "list":
            return rows_of_organisation
        return rows_of_organisation.prefetch_related("steps__by", "steps__inspection")

    def get_serializer_class(self) -> type[BaseSerializer[Any]]:
        """Show the steps where one defect is asked for."""
        return rows.DefectSerializer if self.action == "list" else rows.DefectDetailSerializer

    @extend_schema(request=defects.RepairSerializer, responses=rows.DefectDetailSerializer)
    @action(detail=True, methods=["post"])
    def repair(self, request: Request, **kwargs: Any) -> Response:
        """Keep what was done; the defect then waits for a passing retest."""
        return self._take(defects.RepairSerializer, record_repair)

    @extend_schema(request=defects.ReasonSerializer, responses=rows.DefectDetailSerializer)
    @action(detail=True, methods=["post"], url_path="repair-unnecessary")
    def repair_unnecessary(self, request: Request, **kwargs: Any) -> Response:
        """Close the defect without a repair, with a reason."""
        return self._take(defects.ReasonSerializer, certify_repair_unnecessary)

    @extend_schema(request=defects.ReleaseSerializer, responses=rows.DefectDetailSerializer)
    @action(detail=True, methods=["post"])
    def release(self, request: Request, **kwargs: Any) -> Response:
        """Decide whether and how the vehicle may run meanwhile."""
        return self._take(defects.ReleaseSerializer, decide_release)

    @extend_schema(request=defects.DriverToldSerializer, responses=rows.DefectDetailSerializer)
    @action(detail=True, methods=["post"], url_path="driver-told")
    def driver_told(self, request: Request, **kwargs: Any) -> Response:
        """Keep that the driver was told."""
        return self._take(defects.DriverToldSerializer, note_driver_told)

    @extend_schema(request=defects.ReasonSerializer, responses=rows.DefectDetailSerializer)
    @action(detail=True, methods=["post"], url_path="settle-verdict")
    def settle_verdict(self, request: Request, **kwargs: Any) -> Response:
        """Let the defect stand although its verdict was given anew with another outcome."""
        return self._take(defects.ReasonSerializer, settle_changed_verdict)

    def _take(self, form: type[BaseSerializer[Any]], step: Callable[..., Defect]) -> Response:
        defect = self.get_object()
        sent = form(data=self.request.data)
        sent.is_valid(raise_exception=True)
        step(self.actor, defect, **sent.validated_data)
        return Response(self.get_serializer(self.get_object()).data)
