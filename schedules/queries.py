"""What is due, and what the due dates of installations are worked out from."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from typing import NamedTuple
from uuid import UUID

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


class FittedUnit(NamedTuple):
    """An installation, and the depot whose dates count for it."""

    pk: int
    uuid: UUID
    organisation_id: int
    fitted_on: dt.date | None
    vehicle_id: int
    depot_id: int
    time_zone: str

    @classmethod
    def of(cls, installation: Installation) -> "FittedUnit":
        """Return an installation that carries its vehicle and depot."""
        depot = installation.vehicle.depot
        where = installation.vehicle_id, depot.pk, depot.time_zone
        return cls(installation.pk, installation.uuid, installation.organisation_id, installation.fitted_on, *where)


def fitted_units_in_service(organisation: Organisation, *, first: int, last: int) -> list[FittedUnit]:
    """Return the fitted retarders in service from one key to another, in their order."""
    rows = installations_in_service(organisation).filter(pk__gte=first, pk__lte=last).order_by("pk")
    where = "vehicle_id", "vehicle__depot_id", "vehicle__depot__time_zone"
    return [FittedUnit(*row) for row in rows.values_list("pk", "uuid", "organisation_id", "fitted_on", *where)]


def due_dates(organisation: Organisation) -> QuerySet[DueDate]:
    """Return the due dates of installations in service, with what a list shows beside them."""
    return (
        DueDate.objects.of(organisation)
        .filter(installation__removed_on__isnull=True, installation__vehicle__in_service=True)
        .select_related("installation__vehicle", "depot", "plan")
    )


class RunningPlan(NamedTuple):
    """What a due date is worked out from: the night reads a hundred thousand, so none is made a row of the table."""

    pk: int
    installation_id: int
    months: int | None
    days: int | None
    km: float | None
    hours: float | None
    lead_days: int
    anchor_on: dt.date | None
    pass_required: bool

    @property
    def counts_usage(self) -> bool:
        """Return whether a counter has a say in it."""
        return self.km is not None or self.hours is not None


_RUNNING_PLANS = Prepared(
    lambda ids: (
        CheckPlan.objects.filter(installation__in=ids, ended_at__isnull=True)
        .order_by("pk")
        .values_list(*RunningPlan._fields)
    ),
    Many(BigIntegerField()),
)
_COUNTERS = Prepared(
    lambda ids: UsageCounter.objects.filter(vehicle__in=ids).values_list("pk", "vehicle_id", "kind", "offset"),
    Many(BigIntegerField()),
)
_COUNTER_READINGS = Prepared(
    lambda ids: (
        CounterReadingRow.objects.filter(counter__in=ids).order_by("read_on").values_list("counter", "read_on", "value")
    ),
    Many(BigIntegerField()),
)


def running_plans(installation_ids: Iterable[int]) -> dict[int, list[RunningPlan]]:
    """Return each installation's running check plans."""
    plans = defaultdict(list)
    for row in _RUNNING_PLANS([*installation_ids]):
        plan = RunningPlan(*row)
        plans[plan.installation_id].append(plan)
    return plans


def plans_count_usage(organisation: Organisation) -> bool:
    """Return whether a counter has a say in any of the running check plans."""
    counting = Q(km__isnull=False) | Q(hours__isnull=False)
    return CheckPlan.objects.of(organisation).filter(counting, ended_at__isnull=True).exists()


def counter_series(vehicle_ids: Iterable[int]) -> dict[tuple[int, str], tuple[CounterReading, ...]]:
    """Return, for (vehicle, kind), the readings made continuous over counter replacements."""
    histories = defaultdict(list)
    readings = defaultdict(list)
    counters = _COUNTERS([*vehicle_ids])
    for counter, read_on, value in _COUNTER_READINGS([pk for pk, *_rest in counters]):
        readings[counter].append(CounterReading(read_on, value))
    for pk, vehicle, kind, offset in counters:
        histories[vehicle, kind].append(CounterHistory(readings[pk], offset))
    return {key: continuous(series) for key, series in histories.items()}


def people_to_tell(organisation: Organisation, on: dt.date) -> QuerySet[Member]:
    """Return who is told of due checks: managers and administrators whose access has not ended."""
    return Member.objects.of(organisation).filter(
        Q(ends_on__isnull=True) | Q(ends_on__gte=on), role__in=PLAN_KEEPERS, user__is_active=True
    )
