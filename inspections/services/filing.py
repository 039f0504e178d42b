"""Put on file and change what checks rest on, with everything that follows: who is due when is worked out anew."""

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.actors import Actor
from accounts.errors import Refused
from accounts.models import Depot
from accounts.roles import Ability
from fleet.models import Installation, Vehicle
from fleet.services import add_vehicle, change_installation, change_vehicle
from inspections.queries import installation_by_id, last_checks
from inspections.services.assess import unknown_id
from schedules.models import CheckPlan
from schedules.services.due_dates import refresh_due_dates
from schedules.services.plans import add_check_plan, change_check_plan, end_check_plan


@transaction.atomic
def file_vehicle(actor: Actor, *, depot: UUID, **columns: Any) -> Vehicle:
    """Add a vehicle to a depot of the organisation."""
    actor.require(Ability.MANAGE)
    return add_vehicle(actor, depot=_depot(actor, depot), **columns)


@transaction.atomic
def refile_vehicle(actor: Actor, vehicle: Vehicle, **columns: Any) -> Vehicle:
    """Change a locked vehicle; another depot has other local dates."""
    actor.require(Ability.MANAGE)
    if "depot" in columns:
        columns["depot"] = _depot(actor, columns["depot"])
    changed = change_vehicle(actor, vehicle, **columns)
    _refresh(Installation.objects.filter(vehicle=changed, removed_on__isnull=True).select_related("vehicle__depot"))
    return changed


@transaction.atomic
def refile_installation(actor: Actor, installation: Installation, **columns: Any) -> Installation:
    """Change a locked fitting; the day it was fitted may be what a plan counts from."""
    changed = change_installation(actor, installation, **columns)
    _refresh([changed])
    return changed


@transaction.atomic
def file_check_plan(actor: Actor, *, installation: UUID, **columns: Any) -> CheckPlan:
    """Add a plan to an installation of the organisation."""
    actor.require(Ability.MANAGE)
    unit = installation_by_id(actor.organisation, installation)
    if unit is None:
        raise Refused(unknown_id(("installation",), installation))
    plan = add_check_plan(actor, installation=unit, **columns)
    _refresh([unit])
    return plan


@transaction.atomic
def refile_check_plan(actor: Actor, plan: CheckPlan, **columns: Any) -> CheckPlan:
    """Change a locked plan."""
    changed = change_check_plan(actor, plan, **columns)
    _refresh([changed.installation])
    return changed


@transaction.atomic
def close_check_plan(actor: Actor, plan: CheckPlan, *, reason: str) -> CheckPlan:
    """End a plan; ending it twice is ending it once."""
    actor.require(Ability.MANAGE)
    if plan.ended_at is None:
        end_check_plan(actor, plan, reason=reason)
        _refresh([plan.installation])
    return plan


def _depot(actor: Actor, wanted: UUID) -> Depot:
    depot = Depot.objects.of(actor.organisation).filter(uuid=wanted).first()
    if depot is None:
        raise Refused(unknown_id(("depot",), wanted))
    return depot


def _refresh(installations: Iterable[Installation]) -> None:
    refresh_due_dates(list(installations), last_checks, as_of=timezone.now())
