"""Addresses under /api/v1/."""

from csp.decorators import csp_update
from django.urls import include, path, register_converter
from django.urls.converters import UUIDConverter
from drf_spectacular.views import SpectacularJSONAPIView, SpectacularSwaggerSplitView
from rest_framework.routers import SimpleRouter

from api.views import rows
from api.views.assessments import AssessmentPreviewView, AssessmentView
from api.views.defects import DefectViewSet
from api.views.inspections import InspectionViewSet
from api.views.instruments import CalibrationViewSet, ComparisonPreviewView, ComparisonViewSet
from api.views.photos import PhotoViewSet
from api.views.previews import DueDatePreviewView, TrendPreviewView
from api.views.rejudgings import RejudgingViewSet
from api.views.rules import LimitsRevisionViewSet, RetarderTypeViewSet, RulesView


class OutsideId(UUIDConverter):
    """A UUID in an address, in small or capital letters."""

    regex = "[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{12}"


register_converter(OutsideId, "outside_id")

router = SimpleRouter(use_regex_path=False)
router.register("vehicles", rows.VehicleViewSet, "vehicle")
router.register("installations", rows.InstallationViewSet, "installation")
router.register("inspections", InspectionViewSet, "inspection")
router.register("meters", rows.MeterViewSet, "meter")
router.register("calibrations", CalibrationViewSet, "calibration")
router.register("meter-comparisons", ComparisonViewSet, "meter-comparison")
router.register("defects", DefectViewSet, "defect")
router.register("photos", PhotoViewSet, "photo")
router.register("check-plans", rows.CheckPlanViewSet, "check-plan")
router.register("due", rows.DueViewSet, "due")
router.register("rejudgings", RejudgingViewSet, "rejudging")
router.register("retarder-types", RetarderTypeViewSet, "retarder-type")
router.register("limits-revisions", LimitsRevisionViewSet, "limits-revision")
router.register("declines", rows.DeclineViewSet, "decline")
router.register("reminders", rows.ReminderViewSet, "reminder")

# The page's own bundle styles some elements inline; no other page may.
docs = csp_update({"style-src": ["'unsafe-inline'"]})(SpectacularSwaggerSplitView.as_view(url_name="schema"))

urlpatterns = [
    path("schema/", SpectacularJSONAPIView.as_view(), name="schema"),
    path("docs/", docs, name="docs"),
    path("assessments/", AssessmentView.as_view(), name="assessment"),
    path("assessments/preview/", AssessmentPreviewView.as_view(), name="assessment-preview"),
    path("trends/preview/", TrendPreviewView.as_view(), name="trend-preview"),
    path("due-dates/preview/", DueDatePreviewView.as_view(), name="due-date-preview"),
    path("meter-comparisons/preview/", ComparisonPreviewView.as_view(), name="meter-comparison-preview"),
    path("rules/", RulesView.as_view(), name="rules"),
    path("", include(router.urls)),
]
