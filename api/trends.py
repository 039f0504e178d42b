"""An installation's levels over time, with what the night's work made of them, as the API answers them."""

from typing import Any

from fleet.models import Installation
from inspections.derived import HUNDREDTHS
from inspections.models import Inspection, Trend
from inspections.queries import levels_over_time

FITTED_KEYS = [
    "slope_percent_per_year",
    "slope_low",
    "slope_high",
    "crosses_lower_limit_on",
    "crosses_earliest_on",
    "crosses_latest_on",
]


def trend_answer(installation: Installation) -> dict[str, Any]:
    """Return each stage's points in time order beside its trend; null where nothing has been fitted yet."""
    inspections = list(levels_over_time(installation))
    trend = Trend.objects.of(installation.organisation_id).filter(installation=installation).first()
    fitted = {} if trend is None else {stage["stage"]: stage for stage in trend.stages}
    stages = installation.retarder.retarder_type.stages
    return {
        "stages": [_stage(stage, inspections, fitted.get(stage, {})) for stage in range(1, stages + 1)],
        "attribution": trend and trend.attribution,
        "method": trend and trend.method,
        "method_version": trend and trend.method_version,
    }


def _stage(stage: int, inspections: list[Inspection], fitted: dict[str, Any]) -> dict[str, Any]:
    points = [
        {
            "performed_at": inspection.performed_at,
            "level_percent": getattr(inspection, f"level_{stage}") / HUNDREDTHS,
            "expanded_uncertainty_percent": getattr(inspection, f"u_{stage}") / HUNDREDTHS,
        }
        for inspection in inspections
        if getattr(inspection, f"level_{stage}") is not None
    ]
    latest = points[-1]["level_percent"] if points else None
    return {
        "stage": stage,
        "points": points,
        **{key: fitted.get(key) for key in FITTED_KEYS},
        "level_percent": fitted.get("level_percent", latest),
        "declining": fitted.get("declining", False),
    }
