"""What each limb of a check plan says, beside the stored due date that the earliest of them made."""

import datetime as dt

from calc.due import LimbDue, Plan, next_due
from fleet.models import Installation
from schedules.models import DueDate
from schedules.queries import counter_series


def limbs_of(due: DueDate | None, unit: Installation, *, today: dt.date) -> list[LimbDue]:
    """Return the limbs of the plan that runs, counted from the check the stored due date was counted from."""
    if due is None or due.plan is None:
        return []
    plan = due.plan
    series = counter_series([unit.vehicle_id])
    found = next_due(
        Plan(plan.months, plan.days, plan.km, plan.hours, plan.lead_days, plan.anchor_on),
        last_check_on=due.last_check_on,
        fitted_on=unit.fitted_on,
        km_readings=series.get((unit.vehicle_id, "odometer"), ()),
        hour_readings=series.get((unit.vehicle_id, "engine_hours"), ()),
        as_of_on=today,
    )
    return list(found.limbs.values())
