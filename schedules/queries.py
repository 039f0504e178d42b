"""What is due, and what the due dates of installations are worked out from."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable

from django.db.models import BigIntegerField, Q, QuerySet

from accounts.models import Member, Organisation
from accounts.prepared import Many, Prepared
from accounts.roles import Role
from calc.usage import CounterHistory, CounterReading, continuous
from fleet.models import CounterReading as CounterReadingRow
from fleet.models import Installation, UsageCounter
from schedules.models import CheckPlan, DueDate

PLAN_KEEPERS = [Role.MANAGER.value, Role.ADMINISTRATOR.value]


def installations_in_service(organisation: Organisation) -> QuerySet[Installation]:
    """Return the fitted retarders of vehicles that are not off the road."""
    return Installation.objects.of(organisation).filter(removed_on__isnull=True, vehicle__in_service=True)


def due_dates(organisation: Organisation) -> QuerySet[DueDate]:
    """Return the due dates of installations in service, with what a list shows beside them."""
    return (
        DueDate.objects.of(organisation)
        .filter(installation__removed_on__isnull=True, installation__vehicle__in_service=True)
        .select_related("installation__vehicle", "depot", "plan")
    )


_RUNNING_PLANS = Prepared(
    lambda ids: CheckPlan.objects.filter(installation__in=ids, ended_at__isnull=True).order_by("pk"),
    Many(BigIntegerField()),
)
_COUNTERS = Prepared(lambda ids: UsageCounter.objects.filter(vehicle__in=ids), Many(BigIntegerField()))
_COUNTER_READINGS = Prepared(
    lambda ids: CounterReadingRow.objects.filter(counter__in=ids).order_by("read_on"), Many(BigIntegerField())
)


def running_plans(installation_ids: Iterable[int]) -> dict[int, list[CheckPlan]]:
    """Return each installation's running check plans."""
    plans = defaultdict(list)
    for plan in _RUNNING_PLANS([*installation_ids]):
        plans[plan.installation_id].append(plan)
    return plans


def counter_series(vehicle_ids: Iterable[int]) -> dict[tuple[int, str], tuple[CounterReading, ...]]:
    """Return, for (vehicle, kind), the readings made continuous over counter replacements."""
    histories = defaultdict(list)
    readings = defaultdict(list)
    counters = _COUNTERS([*vehicle_ids])
    for row in _COUNTER_READINGS([counter.pk for counter in counters]):
        readings[row.counter_id].append(CounterReading(row.read_on, row.value))
    for counter in counters:
        histories[counter.vehicle_id, counter.kind].append(CounterHistory(readings[counter.pk], counter.offset))
    return {key: continuous(series) for key, series in histories.items()}


def people_to_tell(organisation: Organisation, on: dt.date) -> QuerySet[Member]:
    """Return who is told of due checks: managers and administrators whose access has not ended."""
    return Member.objects.of(organisation).filter(
        Q(ends_on__isnull=True) | Q(ends_on__gte=on), role__in=PLAN_KEEPERS, user__is_active=True
    )
