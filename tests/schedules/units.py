"""Units with plans and counters, and the night that works their due dates out."""

import datetime as dt
from typing import Any

from accounts.instants import instant
from accounts.models import Organisation
from fleet.models import CounterReading, Installation, UsageCounter
from inspections.services.night import NightReport, run_night
from schedules.models import DueDate
from tests import builders


def unit(
    of: Organisation, *, time_zone: str = "Europe/London", fitted_on: dt.date | None = None, **plan: Any
) -> Installation:
    """Return a unit based in a time zone, with the plan where limbs are named."""
    carrier = builders.vehicle(of, depot=builders.depot(of, time_zone))
    made = builders.installation(of, vehicle=carrier, fitted_on=fitted_on)
    if plan:
        builders.check_plan(made, **plan)
    return made


def counter(of: Installation, kind: str, *readings: tuple[dt.date, float], **columns: Any) -> UsageCounter:
    """Return a counter of the unit's vehicle with its readings."""
    made = UsageCounter.objects.create(organisation=of.organisation, vehicle=of.vehicle, kind=kind, **columns)
    read(made, *readings)
    return made


def read(of: UsageCounter, *readings: tuple[dt.date, float]) -> None:
    """Store what the counter showed."""
    for on, value in readings:
        CounterReading.objects.create(organisation=of.organisation, counter=of, read_on=on, value=value)


def night(at: str) -> NightReport:
    """Do the night's work as of an instant."""
    return run_night(as_of=instant(at))


def due(of: Installation, at: str) -> DueDate:
    """Return the unit's due date after the night's work as of an instant."""
    night(at)
    return DueDate.objects.get(installation=of)
