"""An installation's levels over time as the API answers them; slopes and forecasts come with the night's trend."""

from typing import Any

from fleet.models import Installation
from inspections.models import Inspection
from inspections.queries import levels_over_time
from inspections.services.judging import HUNDREDTHS


def trend_answer(installation: Installation) -> dict[str, Any]:
    """Return each stage's points in time order, and no slope where none has been fitted."""
    inspections = list(levels_over_time(installation))
    stages = installation.retarder.retarder_type.stages
    return {
        "stages": [_stage(stage, inspections) for stage in range(1, stages + 1)],
        "attribution": None,
        "method": None,
        "method_version": None,
    }


def _stage(stage: int, inspections: list[Inspection]) -> dict[str, Any]:
    points = [
        {
            "performed_at": inspection.performed_at,
            "level_percent": getattr(inspection, f"level_{stage}") / HUNDREDTHS,
            "expanded_uncertainty_percent": getattr(inspection, f"u_{stage}") / HUNDREDTHS,
        }
        for inspection in inspections
        if getattr(inspection, f"level_{stage}") is not None
    ]
    unknown = dict.fromkeys(
        [
            "slope_percent_per_year",
            "slope_low",
            "slope_high",
            "crosses_lower_limit_on",
            "crosses_earliest_on",
            "crosses_latest_on",
        ]
    )
    latest = points[-1]["level_percent"] if points else None
    return {"stage": stage, "points": points, **unknown, "level_percent": latest, "declining": False}
