"""Work out and store when installations are next due."""

import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from django.db import connection, transaction
from django.db.models import BigIntegerField
from django.utils import timezone

from accounts.prepared import Many, Prepared
from calc.due import Due, Plan, local_date, next_due, state_on
from calc.usage import CounterReading
from fleet.models import Installation
from schedules.models import NEVER, CheckPlan, DueDate
from schedules.queries import counter_series, running_plans

STORED_FIELDS = [
    "depot_id",
    "plan_id",
    "due_on",
    "limb",
    "state",
    "overdue_days",
    "last_check_on",
    "cycle_began_by",
    "sorts_on",
]
# What each counter counts for: the limb's readings by the counter's kind.
LIMB_COUNTERS = {"km": "odometer", "hours": "engine_hours"}

_STORED = Prepared(lambda ids: DueDate.objects.filter(installation__in=ids), Many(BigIntegerField()))
_LOCKED = Prepared(
    lambda ids: Installation.objects.filter(pk__in=ids).order_by("pk").select_for_update(no_key=True).values_list("pk"),
    Many(BigIntegerField()),
)


@dataclass(frozen=True, slots=True)
class CompletedCheck:
    """A signed check that counts, told by the room above: its id and its local date."""

    inspection: UUID
    performed_on: dt.date


@dataclass(frozen=True, slots=True)
class LastChecks:
    """The newest check inside limits, certain or not, and the newest certain one, for plans that demand it."""

    inside: CompletedCheck | None = None
    certain: CompletedCheck | None = None
    # The day from which the trend would have the unit checked, where it is losing current.
    trend_check_on: dt.date | None = None

    def counting_for(self, plan: CheckPlan | None) -> CompletedCheck | None:
        """Return the check that the plan counts from."""
        return self.certain if plan is not None and plan.pass_required else self.inside


@transaction.atomic(savepoint=False)
def refresh_due_dates(
    installations: Sequence[Installation],
    last_checks_of: Callable[[Iterable[int]], Mapping[int, LastChecks]],
    *,
    as_of: dt.datetime,
) -> int:
    """Store the due date of each installation as known at an instant, and return how many changed.

    The installations carry their vehicle and its depot.  Running it again changes nothing.
    """
    ids = [installation.pk for installation in installations]
    _hold(ids)
    last_checks = last_checks_of(ids)
    plans = running_plans(ids)
    series = counter_series({installation.vehicle_id for installation in installations})
    stored = {row.installation_id: row for row in _STORED(ids)}
    fresh = [
        _due_date(
            installation, plans.get(installation.pk, []), last_checks.get(installation.pk, LastChecks()), series, as_of
        )
        for installation in installations
    ]
    changed = [row for row in fresh if _differs(row, stored.get(row.installation_id))]
    now = timezone.now()
    for row in changed:
        row.changed_at = now
    DueDate.objects.bulk_create(
        changed,
        update_conflicts=True,
        unique_fields=["installation"],
        update_fields=[*(name.removesuffix("_id") for name in STORED_FIELDS), "changed_at"],
    )
    return len(changed)


def _hold(ids: Sequence[int]) -> None:
    """Keep other refreshes of these installations out until the transaction ends.

    Of two checks recorded at once neither sees the other, and the last to write would store a date without the
    other's check: so what a date is worked out from is asked for only once the lock is held.
    """
    if connection.features.has_select_for_update:
        _LOCKED(ids)


def _differs(row: DueDate, stored: DueDate | None) -> bool:
    return stored is None or any(getattr(row, name) != getattr(stored, name) for name in STORED_FIELDS)


def _due_date(
    installation: Installation,
    plans: Sequence[CheckPlan],
    last_checks: LastChecks,
    series: Mapping[tuple[int, str], Sequence[CounterReading]],
    as_of: dt.datetime,
) -> DueDate:
    depot = installation.vehicle.depot
    as_of_on = local_date(as_of, depot.time_zone)
    row = DueDate(organisation_id=installation.organisation_id, installation=installation, depot=depot, state="no_plan")
    worked_out = [(_next_due(plan, installation, last_checks, series, as_of_on), plan) for plan in plans]
    if worked_out:
        due, row.plan = min(worked_out, key=_urgency)
        row.due_on, row.limb, row.state, row.overdue_days = due.due_on, due.limb, due.state, due.overdue_days
        _bring_forward(row, row.plan, last_checks.trend_check_on, as_of_on)
    last_check = last_checks.counting_for(row.plan)
    row.last_check_on = last_check.performed_on if last_check else None
    row.cycle_began_by = last_check.inspection if last_check else installation.uuid
    row.sorts_on = row.due_on or NEVER
    return row


def _bring_forward(row: DueDate, plan: CheckPlan, trend_check_on: dt.date | None, as_of_on: dt.date) -> None:
    """Let a unit that is losing current come in earlier than its plan says, never later."""
    if trend_check_on is None or row.state == "cannot_tell" or (row.due_on or NEVER) <= trend_check_on:
        return
    row.due_on, row.limb = trend_check_on, "trend"
    row.state = state_on(trend_check_on, plan.lead_days, as_of_on)
    row.overdue_days = max(0, (as_of_on - trend_check_on).days)


def _urgency(worked_out: tuple[Due, CheckPlan]) -> tuple[bool, dt.date, int]:
    due, plan = worked_out
    return due.state == "cannot_tell", due.due_on or NEVER, plan.pk


def _next_due(
    plan: CheckPlan,
    installation: Installation,
    last_checks: LastChecks,
    series: Mapping[tuple[int, str], Sequence[CounterReading]],
    as_of_on: dt.date,
) -> Due:
    last_check = last_checks.counting_for(plan)
    km_readings, hour_readings = (
        series.get((installation.vehicle_id, counter), ()) for counter in LIMB_COUNTERS.values()
    )
    return next_due(
        Plan(plan.months, plan.days, plan.km, plan.hours, plan.lead_days, plan.anchor_on),
        last_check_on=last_check.performed_on if last_check else None,
        fitted_on=installation.fitted_on,
        km_readings=km_readings,
        hour_readings=hour_readings,
        as_of_on=as_of_on,
    )
