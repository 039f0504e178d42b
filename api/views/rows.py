"""Lists and details of what is on file."""

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api import filters
from api.serializers import filing, rows
from api.serializers.answers import TrendSerializer
from api.serializers.defects import ReasonSerializer
from api.trends import trend_answer
from api.views.base import RowViewSet
from api.views.filing import FilingViewSet
from api.views.identifying import IdentifyingViewSet
from fleet.models import Installation, Vehicle
from inspections.models import Decline, Meter
from inspections.releases import with_release
from inspections.services.calibrations import record_calibration
from inspections.services.filing import (
    close_check_plan,
    file_check_plan,
    file_vehicle,
    refile_check_plan,
    refile_installation,
    refile_vehicle,
)
from inspections.services.meters import add_meter, change_meter
from schedules.models import CheckPlan, DueDate, Reminder
from schedules.queries import due_dates
from schedules.services.settling import settle_changed_due_date

VEHICLE_AND_DEPOT = "installation__vehicle__depot"


class VehicleViewSet(FilingViewSet):
    """Vehicles of the fleet."""

    queryset = Vehicle.objects.select_related("depot")
    serializer_class = rows.VehicleSerializer
    filterset_class = filters.VehicleFilter

    @extend_schema(request=filing.VehicleFormSerializer, responses={201: rows.VehicleSerializer})
    def create(self, request: Request) -> Response:
        """Add a vehicle."""
        return self.added(filing.VehicleFormSerializer, file_vehicle)

    @extend_schema(request=filing.VehicleFormSerializer, responses=rows.VehicleSerializer)
    def partial_update(self, request: Request, **kwargs: Any) -> Response:
        """Change what is on file of a vehicle."""
        return self.changed(filing.VehicleFormSerializer, refile_vehicle)


class InstallationViewSet(IdentifyingViewSet):
    """Retarders in vehicles, with the rating each is judged by."""

    queryset = Installation.objects.select_related(
        "vehicle__depot", "retarder__retarder_type", "retarder__found_as", "relay_box_type"
    ).prefetch_related("retarder__retarder_type__revisions")
    serializer_class = rows.InstallationSerializer
    filterset_class = filters.InstallationFilter

    @extend_schema(request=filing.InstallationFormSerializer, responses=rows.InstallationSerializer)
    def partial_update(self, request: Request, **kwargs: Any) -> Response:
        """Change when and how a retarder is fitted."""
        return self.changed(filing.InstallationFormSerializer, refile_installation)

    @extend_schema(responses=TrendSerializer, filters=False)
    @action(detail=True, pagination_class=None, filterset_class=None)
    def trend(self, request: Request, **kwargs: Any) -> Response:
        """Answer each stage's level over time."""
        return Response(trend_answer(self.get_object()))


class MeterViewSet(FilingViewSet):
    """Test meters with their calibrations."""

    queryset = Meter.objects.prefetch_related("calibrations")
    serializer_class = rows.MeterSerializer
    filterset_class = filters.MeterFilter

    @extend_schema(request=filing.MeterFormSerializer, responses={201: rows.MeterSerializer})
    def create(self, request: Request) -> Response:
        """Add a test meter with its stated accuracy."""
        return self.added(filing.MeterFormSerializer, add_meter)

    @extend_schema(request=filing.MeterFiguresFormSerializer, responses=rows.MeterSerializer)
    def partial_update(self, request: Request, **kwargs: Any) -> Response:
        """Change what is on file of a meter; readings keep the figures of their day."""
        return self.changed(filing.MeterFiguresFormSerializer, change_meter)

    @extend_schema(request=filing.CalibrationFormSerializer, responses=rows.MeterSerializer)
    @action(detail=True, methods=["post"], pagination_class=None, filterset_class=None)
    def calibrations(self, request: Request, **kwargs: Any) -> Response:
        """Keep a calibration of the meter."""
        return self.taken(filing.CalibrationFormSerializer, record_calibration)


class CheckPlanViewSet(FilingViewSet):
    """How often each installation is checked."""

    queryset = CheckPlan.objects.select_related(VEHICLE_AND_DEPOT)
    serializer_class = rows.CheckPlanSerializer
    filterset_class = filters.CheckPlanFilter

    @extend_schema(request=filing.CheckPlanFormSerializer, responses={201: rows.CheckPlanSerializer})
    def create(self, request: Request) -> Response:
        """Add a plan to an installation; of several the earliest due date wins."""
        return self.added(filing.CheckPlanFormSerializer, file_check_plan)

    @extend_schema(request=filing.CheckPlanFiguresFormSerializer, responses=rows.CheckPlanSerializer)
    def partial_update(self, request: Request, **kwargs: Any) -> Response:
        """Change a running plan."""
        return self.changed(filing.CheckPlanFiguresFormSerializer, refile_check_plan)

    @extend_schema(request=ReasonSerializer, responses=rows.CheckPlanSerializer)
    @action(detail=True, methods=["post"], pagination_class=None, filterset_class=None)
    def end(self, request: Request, **kwargs: Any) -> Response:
        """End a plan; what it made due stays in the record."""
        return self.taken(ReasonSerializer, close_check_plan)


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
        return with_release(due_dates(self.actor.organisation).select_related(VEHICLE_AND_DEPOT, "plan"))

    @extend_schema(request=ReasonSerializer, responses=rows.DueSerializer, filters=False)
    @action(detail=True, methods=["post"], url_path="settle-verdict", pagination_class=None, filterset_class=None)
    def settle_verdict(self, request: Request, **kwargs: Any) -> Response:
        """Let the due date stand although the verdict it rests on was given anew with another outcome."""
        sent = ReasonSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        settle_changed_due_date(self.actor, self.get_object(), **sent.validated_data)
        return Response(self.get_serializer(self.get_object()).data)


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
