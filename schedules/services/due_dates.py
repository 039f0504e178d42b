"""Work out and store when installations are next due."""

import datetime as dt
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple
from uuid import UUID

from django.db import connection, transaction
from django.db.models import BigIntegerField
from django.utils import timezone

from accounts.prepared import Many, Prepared
from calc.due import Due, Plan, local_date, next_due, state_on
from calc.usage import CounterReading
from fleet.models import Installation
from schedules.models import NEVER, DueDate
from schedules.queries import FittedUnit, RunningPlan, counter_series, running_plans

ROWS_PER_STATEMENT = 500
# What each counter counts for: the limb's readings by the counter's kind.
LIMB_COUNTERS = {"km": "odometer", "hours": "engine_hours"}


class Stored(NamedTuple):
    """What is stored of a due date."""

    depot_id: int
    plan_id: int | None
    due_on: dt.date | None
    limb: str | None
    state: str
    overdue_days: int
    last_check_on: dt.date | None
    cycle_began_by: UUID
    sorts_on: dt.date


STORED_FIELDS = Stored._fields

_STORED = Prepared(
    lambda ids: DueDate.objects.filter(installation__in=ids).values_list("installation", *STORED_FIELDS),
    Many(BigIntegerField()),
)
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

    def counting_for(self, plan: RunningPlan | None) -> CompletedCheck | None:
        """Return the check that the plan counts from."""
        return self.certain if plan is not None and plan.pass_required else self.inside


NO_CHECKS = LastChecks()


def refresh_due_dates(
    installations: Sequence[Installation],
    last_checks_of: Callable[[Iterable[int]], Mapping[int, LastChecks]],
    *,
    as_of: dt.datetime,
) -> int:
    """Store the due date of each installation as known at an instant, and return how many changed.

    The installations carry their vehicle and its depot.  Running it again changes nothing.
    """
    return refresh_due_dates_of([FittedUnit.of(each) for each in installations], last_checks_of, as_of=as_of)


@transaction.atomic(savepoint=False)
def refresh_due_dates_of(
    units: Sequence[FittedUnit],
    last_checks_of: Callable[[Iterable[int]], Mapping[int, LastChecks]],
    *,
    as_of: dt.datetime,
) -> int:
    """Store the due date of each unit as known at an instant, and return how many changed."""
    ids = [unit.pk for unit in units]
    _hold(ids)
    last_checks = last_checks_of(ids)
    plans = running_plans(ids)
    counting = {unit.vehicle_id for unit in units if any(plan.counts_usage for plan in plans.get(unit.pk, ()))}
    series = counter_series(counting)
    stored = {pk: tuple(row) for pk, *row in _STORED(ids)}
    as_of_on = {zone: local_date(as_of, zone) for zone in {unit.time_zone for unit in units}}
    changed = []
    for unit in units:
        known = last_checks.get(unit.pk, NO_CHECKS)
        fresh = _due_date(unit, plans.get(unit.pk, ()), known, series, as_of_on[unit.time_zone])
        if fresh != stored.get(unit.pk):
            changed.append((unit, fresh))
    _store(changed)
    return len(changed)


def _store(changed: Sequence[tuple[FittedUnit, Stored]]) -> None:
    now = timezone.now()
    rows = [
        DueDate(
            organisation_id=unit.organisation_id,
            installation_id=unit.pk,
            changed_at=now,
            **dict(zip(STORED_FIELDS, fresh, strict=True)),
        )
        for unit, fresh in changed
    ]
    DueDate.objects.bulk_create(
        rows,
        update_conflicts=True,
        unique_fields=["installation"],
        update_fields=[*(name.removesuffix("_id") for name in STORED_FIELDS), "changed_at"],
        batch_size=ROWS_PER_STATEMENT,
    )


def _hold(ids: Sequence[int]) -> None:
    """Keep other refreshes of these installations out until the transaction ends.

    Of two checks recorded at once neither sees the other, and the last to write would store a date without the
    other's check: so what a date is worked out from is asked for only once the lock is held.
    """
    if connection.features.has_select_for_update:
        _LOCKED(ids)


def _due_date(
    unit: FittedUnit,
    plans: Sequence[RunningPlan],
    last_checks: LastChecks,
    series: Mapping[tuple[int, str], Sequence[CounterReading]],
    as_of_on: dt.date,
) -> Stored:
    if not plans:
        plan, said = None, _Said(None, None, "no_plan", 0)
    else:
        due, plan = min(((_next_due(plan, unit, last_checks, series, as_of_on), plan) for plan in plans), key=_urgency)
        said = _Said(due.due_on, due.limb, due.state, due.overdue_days)
        said = _brought_forward(said, plan, last_checks.trend_check_on, as_of_on)
    last_check = last_checks.counting_for(plan)
    return Stored(
        unit.depot_id,
        None if plan is None else plan.pk,
        *said,
        last_check.performed_on if last_check else None,
        last_check.inspection if last_check else unit.uuid,
        said.due_on or NEVER,
    )


class _Said(NamedTuple):
    due_on: dt.date | None
    limb: str | None
    state: str
    overdue_days: int


def _brought_forward(said: _Said, plan: RunningPlan, trend_check_on: dt.date | None, as_of_on: dt.date) -> _Said:
    """Let a unit that is losing current come in earlier than its plan says, never later."""
    if trend_check_on is None or said.state == "cannot_tell" or (said.due_on or NEVER) <= trend_check_on:
        return said
    overdue_days = max(0, (as_of_on - trend_check_on).days)
    return _Said(trend_check_on, "trend", state_on(trend_check_on, plan.lead_days, as_of_on), overdue_days)


def _urgency(worked_out: tuple[Due, RunningPlan]) -> tuple[bool, dt.date, int]:
    due, plan = worked_out
    return due.state == "cannot_tell", due.due_on or NEVER, plan.pk


def _next_due(
    plan: RunningPlan,
    unit: FittedUnit,
    last_checks: LastChecks,
    series: Mapping[tuple[int, str], Sequence[CounterReading]],
    as_of_on: dt.date,
) -> Due:
    last_check = last_checks.counting_for(plan)
    km_readings, hour_readings = (series.get((unit.vehicle_id, counter), ()) for counter in LIMB_COUNTERS.values())
    return next_due(
        Plan(plan.months, plan.days, plan.km, plan.hours, plan.lead_days, plan.anchor_on),
        last_check_on=last_check.performed_on if last_check else None,
        fitted_on=unit.fitted_on,
        km_readings=km_readings,
        hour_readings=hour_readings,
        as_of_on=as_of_on,
    )
