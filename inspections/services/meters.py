"""Test meters and their calibrations."""

import datetime as dt
from typing import Any

from django.db import transaction

from accounts.actors import Actor
from accounts.roles import Ability
from accounts.rows import store_row
from inspections.models import Calibration, Meter


@transaction.atomic
def add_meter(actor: Actor, **columns: Any) -> Meter:
    """Add a clamp or voltmeter with its stated accuracy."""
    actor.require(Ability.MANAGE)
    return store_row(actor, Meter(organisation=actor.organisation, **columns))


@transaction.atomic
def record_calibration(
    actor: Actor, meter: Meter, *, performed_on: dt.date, due_on: dt.date | None, **columns: Any
) -> Calibration:
    """Keep a calibration, and from the newest one the date the next is due."""
    actor.require(Ability.MANAGE)
    calibration = Calibration(
        organisation=actor.organisation, meter=meter, performed_on=performed_on, due_on=due_on, **columns
    )
    store_row(actor, calibration)
    newest = Calibration.objects.filter(meter=meter).latest("performed_on")
    Meter.objects.filter(pk=meter.pk).update(calibration_due_on=newest.due_on)
    return calibration
