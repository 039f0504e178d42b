"""What is due, and what the due dates of installations are worked out from."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable

from django.db.models import Q, QuerySet

from accounts.models import Member, Organisation
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


def running_plans(installation_ids: Iterable[int]) -> dict[int, list[CheckPlan]]:
    """Return each installation's running check plans."""
    plans = defaultdict(list)
    for plan in CheckPlan.objects.filter(installation__in=installation_ids, ended_at__isnull=True).order_by("pk"):
        plans[plan.installation_id].append(plan)
    return plans


def counter_series(vehicle_ids: Iterable[int]) -> dict[tuple[int, str], tuple[CounterReading, ...]]:
    """Return, for (vehicle, kind), the readings made continuous over counter replacements."""
    histories = defaultdict(list)
    readings = defaultdict(list)
    counters = list(UsageCounter.objects.filter(vehicle__in=vehicle_ids))
    for row in CounterReadingRow.objects.filter(counter__in=counters).order_by("read_on"):
        readings[row.counter_id].append(CounterReading(row.read_on, row.value))
    for counter in counters:
        histories[counter.vehicle_id, counter.kind].append(CounterHistory(readings[counter.pk], counter.offset))
    return {key: continuous(series) for key, series in histories.items()}


def people_to_tell(organisation: Organisation, on: dt.date) -> QuerySet[Member]:
    """Return who is told of due checks: managers and administrators whose access has not ended."""
    return Member.objects.of(organisation).filter(
        Q(ends_on__isnull=True) | Q(ends_on__gte=on), role__in=PLAN_KEEPERS, user__is_active=True
    )
