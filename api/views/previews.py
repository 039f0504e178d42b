"""Trends and due dates worked out without storing anything."""

from dataclasses import asdict
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.roles import Ability
from api.serializers.answers import TrendSerializer
from api.serializers.previews import (
    DueDatePreviewAnswerSerializer,
    DueDatePreviewSerializer,
    TrendPreviewSerializer,
)
from api.serializers.readings import rating_from
from api.trends import FITTED_KEYS
from api.views.base import ActorView
from calc.due import Plan, local_date, next_due
from calc.trend import preview
from calc.usage import CounterReading
from inspections.queries import INSIDE_LIMITS


class TrendPreviewView(ActorView):
    """A series in, its trend out, nothing kept."""

    @extend_schema(request=TrendPreviewSerializer, responses=TrendSerializer)
    def post(self, request: Request) -> Response:
        """Judge a series of checks without storing it."""
        self.actor.require(Ability.READ)
        sent = TrendPreviewSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        return Response(_trend(sent.validated_data))


class DueDatePreviewView(ActorView):
    """A plan and its events in, the next due date out, nothing kept."""

    @extend_schema(request=DueDatePreviewSerializer, responses=DueDatePreviewAnswerSerializer)
    def post(self, request: Request) -> Response:
        """Work out when the next check is due without storing it."""
        self.actor.require(Ability.READ)
        sent = DueDatePreviewSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        return Response(_due(sent.validated_data))


def _trend(sent: dict[str, Any]) -> dict[str, Any]:
    rating = rating_from(sent["rating"])
    lower = rating.tolerance_lower_percent
    shared = sent.get("shared_expanded_uncertainty_percent")
    checks = sorted(sent["inspections"], key=lambda check: check["performed_at"])
    found = preview(
        [check["performed_at"] for check in checks],
        [_floats(check["levels_percent"]) for check in checks],
        [_floats(check["expanded_uncertainties_percent"]) for check in checks],
        lower_limits_percent=[None if lower is None else 100.0 - lower] * rating.stages,
        shared_expanded_uncertainty_percent=None if shared is None else float(shared),
    )
    stages = [
        {
            "stage": stage.stage,
            "points": _points(checks, stage.stage - 1),
            **{key: asdict(stage)[key] for key in FITTED_KEYS},
            "level_percent": stage.level_percent,
            "declining": stage.declining,
        }
        for stage in found.stages
    ]
    return {
        "stages": stages,
        "attribution": found.attribution,
        "method": found.method,
        "method_version": found.method_version,
    }


def _floats(values: list[Any]) -> list[float | None]:
    return [None if value is None else float(value) for value in values]


def _points(checks: list[dict[str, Any]], place: int) -> list[dict[str, Any]]:
    return [
        {
            "performed_at": check["performed_at"],
            "level_percent": check["levels_percent"][place],
            "expanded_uncertainty_percent": check["expanded_uncertainties_percent"][place],
        }
        for check in checks
        if check["levels_percent"][place] is not None
    ]


def _due(sent: dict[str, Any]) -> dict[str, Any]:
    plan, events = sent["plan"], sent["events"]
    checks = [
        each["on"] for each in events if each["kind"] == "check" and (each.get("verdict") or "pass") in INSIDE_LIMITS
    ]
    fitted = [each["on"] for each in events if each["kind"] == "fitted"]
    km, hours = (
        [CounterReading(each["on"], float(each["value"])) for each in sent["usage"] if each["limb"] == limb]
        for limb in ("km", "hours")
    )
    due = next_due(
        Plan(
            plan.get("months"),
            plan.get("days"),
            _number(plan.get("km")),
            _number(plan.get("hours")),
            plan["lead_days"],
            plan.get("anchor_on"),
        ),
        last_check_on=max(checks, default=None),
        fitted_on=max(fitted, default=None),
        km_readings=km,
        hour_readings=hours,
        as_of_on=local_date(sent["as_of"], sent["time_zone"]),
    )
    return {**asdict(due), "limbs": [asdict(limb) for limb in due.limbs.values()]}


def _number(value: Any) -> float | None:
    return None if value is None else float(value)
