"""What has happened to a vehicle and its units, as one line of time, and the levels of a unit as a trend."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from dashboard.defect_words import defect_title
from dashboard.trend_words import promise_sentence
from fleet.models import Installation, RatingRevision, Vehicle
from inspections.derived import HUNDREDTHS
from inspections.forecast_fans import FanPoint, fans_of
from inspections.models import Defect, Inspection, Trend
from inspections.queries import levels_over_time, rating_on_file
from inspections.trend_expectations import trend_promise

MOST_CHECKS = 40
# Levels are stored as whole hundredths of a percent of rated.
CROSSINGS = ["crosses_earliest_on", "crosses_lower_limit_on", "crosses_latest_on"]


@dataclass(frozen=True, slots=True)
class Moment:
    """One thing that happened on a day."""

    on: dt.date
    kind: str
    text: str
    inspection: Inspection | None = None


def moments_of(vehicle: Vehicle, units: list[Installation]) -> list[Moment]:
    """Return checks, defects and fittings of a vehicle, newest first."""
    found = [*_checks(vehicle), *_defects(vehicle), *_fittings(units)]
    return sorted(found, key=lambda moment: moment.on, reverse=True)


def _checks(vehicle: Vehicle) -> list[Moment]:
    rows = Inspection.objects.of(vehicle.organisation_id).filter(installation__vehicle=vehicle)
    newest = rows.select_related("recorded_by").order_by("-performed_at", "-pk")[:MOST_CHECKS]
    return [Moment(row.performed_on, "check", str(row.recorded_by), row) for row in newest]


def _defects(vehicle: Vehicle) -> list[Moment]:
    found = []
    for defect in Defect.objects.of(vehicle.organisation_id).filter(installation__vehicle=vehicle):
        what = defect_title(defect)
        found.append(Moment(defect.opened_at.date(), "defect", _("Defect opened: %(what)s") % {"what": what}))
        if defect.closed_at is not None:
            found.append(Moment(defect.closed_at.date(), "defect", _("Defect closed: %(what)s") % {"what": what}))
    return found


def _fittings(units: list[Installation]) -> list[Moment]:
    found = []
    for unit in units:
        words = {"unit": unit.retarder.retarder_type.designation, "serial": unit.retarder.serial_number}
        if unit.fitted_on:
            found.append(Moment(unit.fitted_on, "fitting", _("Fitted: %(unit)s, serial %(serial)s") % words))
        if unit.removed_on:
            found.append(Moment(unit.removed_on, "fitting", _("Removed: %(unit)s, serial %(serial)s") % words))
    return found


def trend_given(unit: Installation) -> dict[str, Any]:
    """Return the unit's levels in the contract's shape, with test meters, limits, and where its line breaks."""
    checks = list(levels_over_time(unit).select_related("ammeter"))
    stages = range(1, unit.retarder.retarder_type.stages + 1)
    fitted = fitted_stages(getattr(unit, "trend", None))
    fans = _fans(unit, fitted)
    return {
        "stages": [_stage(stage, checks, fitted.get(stage, {})) | {"fan": fans.get(stage, [])} for stage in stages],
        "events": _events(unit),
        "limits_percent": _limits_percent(rating_on_file(unit)),
        "promise": promise_sentence(trend_promise(checks, len(stages))),
    }


def _fans(unit: Installation, fitted: dict[int, dict[str, Any]]) -> dict[int, list[FanPoint]]:
    """Return the fans of what the night has found to lose current; of nothing else is a forecast shown."""
    losing = {stage for stage, row in fitted.items() if row["declining"]}
    return {stage: fan for stage, fan in fans_of(unit).items() if stage in losing} if losing else {}


def fitted_stages(trend: Trend | None) -> dict[int, dict[str, Any]]:
    """Return what the night's work fitted, by stage, its dates as dates; nothing where nothing is fitted yet."""
    rows = [] if trend is None else trend.stages
    return {row["stage"]: row | {key: _date(row.get(key)) for key in CROSSINGS} for row in rows}


def _date(text: str | None) -> dt.date | None:
    return dt.date.fromisoformat(text) if text else None


def _stage(stage: int, checks: list[Inspection], fitted: dict[str, Any]) -> dict[str, Any]:
    points = [
        {
            "performed_at": check.performed_on,
            "level_percent": level / HUNDREDTHS,
            "expanded_uncertainty_percent": getattr(check, f"u_{stage}") / HUNDREDTHS,
            "meter": check.ammeter.designation,
        }
        for check in checks
        if (level := getattr(check, f"level_{stage}")) is not None
    ]
    latest = points[-1]["level_percent"] if points else None
    return {**fitted, "stage": stage, "points": points, "level_percent": latest}


def _limits_percent(rating: RatingRevision) -> tuple[float | None, float | None]:
    lower, upper = rating.tolerance_lower_percent, rating.tolerance_upper_percent
    return None if lower is None else 100 - lower, None if upper is None else 100 + upper


def _events(unit: Installation) -> list[dict[str, Any]]:
    fitted = unit.retarder.installations.filter(fitted_on__isnull=False).order_by("fitted_on")
    refits = [
        {"on": on, "letter": _("F"), "text": _("fitted to %(vehicle)s") % {"vehicle": number}}
        for on, number in fitted.values_list("fitted_on", "vehicle__fleet_number")[1:]
    ]
    closed = Defect.objects.of(unit.organisation_id).filter(
        installation__retarder=unit.retarder_id, closed_at__isnull=False
    )
    repairs = [
        {"on": defect.closed_at.date(), "letter": _("R"), "text": defect_title(defect)}
        for defect in closed.order_by("closed_at")
        if defect.closed_at
    ]
    return refits + repairs
