"""Put a unit on file whose type nobody can read, and judge all its checks anew once somebody says which it is."""

import datetime as dt
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.actors import Actor
from accounts.errors import Refused
from accounts.roles import Ability
from fleet.models import Installation, Retarder, RetarderType, Vehicle
from fleet.not_identified import add_unidentified_retarder, move_to_type
from fleet.services import fit_retarder
from inspections.models import Inspection, Rejudging
from inspections.queries import last_checks
from inspections.services.assess import unknown_id
from inspections.services.rejudging import Terms
from inspections.services.rejudging_runs import judge_anew_at_once
from schedules.services.due_dates import refresh_due_dates


@transaction.atomic
def file_unidentified_unit(
    actor: Actor, *, vehicle: UUID, serial_number: str, stages: int, fitted_on: dt.date | None = None, **facts: Any
) -> Installation:
    """Fit a unit whose type is not identified to a vehicle of the organisation, under what was counted on it."""
    actor.require(Ability.MANAGE)
    carrier = Vehicle.objects.of(actor.organisation).select_related("depot").filter(uuid=vehicle).first()
    if carrier is None:
        raise Refused(unknown_id(("vehicle",), vehicle))
    unit = add_unidentified_retarder(
        actor, serial_number=serial_number, stages=stages, system_voltage_v=carrier.system_voltage_v, **facts
    )
    fitted = fit_retarder(actor, retarder=unit, vehicle=carrier, fitted_on=fitted_on)
    refresh_due_dates([fitted], last_checks, as_of=timezone.now())
    return fitted


@transaction.atomic
def identify_type(actor: Actor, unit: Retarder, kind: RetarderType, *, reason: str) -> Rejudging | None:
    """Say of which type a unit is, and judge its checks by that type's rating, beside how they were judged.

    The unit is locked first, so that of two who say so at once the second is held to what the first said, and no check
    is counted before it.  What rests on a verdict that changed side says so until somebody decides.  None where there
    is no check to judge.
    """
    move_to_type(actor, unit, kind, reason=reason)
    if not Inspection.objects.filter(installation__retarder=unit).exists():
        return None
    return judge_anew_at_once(actor, selection={"retarder": str(unit.uuid)}, terms=Terms(reason=reason))
