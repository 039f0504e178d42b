"""Lists and details of what is on file."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api import filters
from api.serializers import rows
from api.serializers.answers import TrendSerializer
from api.trends import trend_answer
from api.views.base import RowViewSet
from fleet.models import Installation, Vehicle
from inspections.models import Decline, Meter
from schedules.models import CheckPlan, DueDate, Reminder
from schedules.queries import due_dates

VEHICLE_AND_DEPOT = "installation__vehicle__depot"


class VehicleViewSet(RowViewSet):
    """Vehicles of the fleet."""

    queryset = Vehicle.objects.select_related("depot")
    serializer_class = rows.VehicleSerializer
    filterset_class = filters.VehicleFilter


class InstallationViewSet(RowViewSet):
    """Retarders in vehicles, with the rating each is judged by."""

    queryset = Installation.objects.select_related(
        "vehicle__depot", "retarder__retarder_type", "relay_box_type"
    ).prefetch_related("retarder__retarder_type__revisions")
    serializer_class = rows.InstallationSerializer
    filterset_class = filters.InstallationFilter

    @extend_schema(responses=TrendSerializer, filters=False)
    @action(detail=True, pagination_class=None, filterset_class=None)
    def trend(self, request: Request, **kwargs: Any) -> Response:
        """Answer each stage's level over time."""
        return Response(trend_answer(self.get_object()))


class MeterViewSet(RowViewSet):
    """Test meters with their calibrations."""

    queryset = Meter.objects.prefetch_related("calibrations")
    serializer_class = rows.MeterSerializer
    filterset_class = filters.MeterFilter


class CheckPlanViewSet(RowViewSet):
    """How often each installation is checked."""

    queryset = CheckPlan.objects.select_related(VEHICLE_AND_DEPOT)
    serializer_class = rows.CheckPlanSerializer
    filterset_class = filters.CheckPlanFilter


class DueViewSet(RowViewSet):
    """When each installation in service is next due, earliest first."""

    queryset = DueDate.objects.all()
    serializer_class = rows.DueSerializer
    filterset_class = filters.DueFilter
    ordering = ("sorts_on", "pk")

    def get_queryset(self) -> QuerySet[Any]:
        """Return installations in service only."""
        rows_of_organisation = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return rows_of_organisation
        return due_dates(self.actor.organisation).select_related(VEHICLE_AND_DEPOT, "plan")


class ReminderViewSet(RowViewSet):
    """What is owed to whom, and whether it was delivered."""

    queryset = Reminder.objects.select_related(VEHICLE_AND_DEPOT, "plan", "person__user")
    serializer_class = rows.ReminderSerializer
    filterset_class = filters.ReminderFilter


class DeclineViewSet(RowViewSet):
    """What the night's work has flagged."""

    queryset = Decline.objects.select_related(VEHICLE_AND_DEPOT, "raised_by")
    serializer_class = rows.DeclineSerializer
    filterset_class = filters.DeclineFilter
