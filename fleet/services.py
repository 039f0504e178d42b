"""What fleet decides and writes: vehicles, their counters, types and ratings, units and where they are fitted."""

import datetime as dt
from collections.abc import Sequence
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from accounts.actors import Actor
from accounts.errors import Fault, Refused
from accounts.models import Depot
from accounts.roles import Ability
from accounts.rows import change_row, store_row
from fleet.models import (
    CounterReading,
    Installation,
    RatingRevision,
    RelayBoxType,
    Retarder,
    RetarderType,
    UsageCounter,
    Vehicle,
)
from fleet.vin import normalised_vin, vin_fault


@transaction.atomic
def add_vehicle(actor: Actor, *, depot: Depot, vin: str = "", vin_exception: str = "", **columns: Any) -> Vehicle:
    """Add a vehicle; a VIN that is none needs a reason, such as a build older than the standard."""
    actor.require(Ability.MANAGE)
    vin = _checked_vin(vin, vin_exception)
    vehicle = Vehicle(organisation=actor.organisation, depot=depot, vin=vin, vin_exception=vin_exception, **columns)
    return store_row(actor, vehicle)


@transaction.atomic
def change_vehicle(actor: Actor, vehicle: Vehicle, **columns: Any) -> Vehicle:
    """Change what is on file of a vehicle that the caller has locked."""
    actor.require(Ability.MANAGE)
    if columns.keys() & {"vin", "vin_exception"}:
        columns["vin"] = _checked_vin(
            columns.get("vin", vehicle.vin), columns.get("vin_exception", vehicle.vin_exception)
        )
    return change_row(actor, vehicle, columns)


def _checked_vin(vin: str, vin_exception: str) -> str:
    vin = normalised_vin(vin)
    if vin and not vin_exception and (fault := vin_fault(vin)):
        raise Refused(Fault(("vin",), f"vin_{fault}", _vin_sentence(fault, vin)))
    return vin


def _vin_sentence(fault: str, vin: str) -> str:
    sentences = {
        "length": _("%(vin)s has %(length)s characters; allowed is 17, or a reason in vin_exception."),
        "forbidden_letter": _("%(vin)s holds I, O or Q, which no VIN does."),
        "forbidden_character": _("%(vin)s holds more than letters and digits."),
        "check_digit": _(
            "The check digit of %(vin)s, in position 9, does not fit; if it stands so, say why in vin_exception."
        ),
    }
    return sentences[fault] % {"vin": vin, "length": len(vin)}


@transaction.atomic
def add_retarder_type(
    actor: Actor, *, designation: str, rated_currents_a: Sequence[float], **figures: Any
) -> RetarderType:
    """Add a kind of retarder with the first revision of its rating."""
    actor.require(Ability.MANAGE)
    kind = RetarderType(organisation=actor.organisation, designation=designation, stages=len(rated_currents_a))
    store_row(actor, kind)
    _store_rating(actor, kind, 1, rated_currents_a=list(rated_currents_a), **figures)
    return kind


@transaction.atomic
def revise_rating(actor: Actor, kind: RetarderType, *, reason: str, **figures: Any) -> RatingRevision:
    """Add a revision that replaces the newest one for verdicts to come; those given stand as they were given."""
    actor.require(Ability.MANAGE)
    if not reason:
        raise Refused(Fault(("reason",), "required", _("A rating is revised with a reason.")))
    newest = RatingRevision.objects.filter(retarder_type=kind).latest("number")
    if not kind.identified and any(rated_a is not None for rated_a in figures["rated_currents_a"]):
        detail = _("The type of this unit is not identified: say which it is; a rating of its own it cannot have.")
        raise Refused(Fault(("rated_currents_a",), "not_identified", detail))
    if len(figures["rated_currents_a"]) != kind.stages:
        detail = _("%(found)s figures for %(stages)s stages; allowed is one a stage.")
        values = {"found": len(figures["rated_currents_a"]), "stages": kind.stages}
        raise Refused(Fault(("rated_currents_a",), "length", detail % values))
    return _store_rating(actor, kind, newest.number + 1, reason=reason, **figures)


def _store_rating(actor: Actor, kind: RetarderType, number: int, **figures: Any) -> RatingRevision:
    revision = RatingRevision(
        organisation=actor.organisation, retarder_type=kind, number=number, entered_by=actor.user, **figures
    )
    return store_row(actor, revision, reason=revision.reason)


@transaction.atomic
def add_relay_box_type(actor: Actor, **columns: Any) -> RelayBoxType:
    """Add a kind of relay box."""
    actor.require(Ability.MANAGE)
    return store_row(actor, RelayBoxType(organisation=actor.organisation, **columns))


@transaction.atomic
def add_retarder(actor: Actor, *, retarder_type: RetarderType, serial_number: str, **columns: Any) -> Retarder:
    """Add a unit."""
    actor.require(Ability.MANAGE)
    retarder = Retarder(
        organisation=actor.organisation, retarder_type=retarder_type, serial_number=serial_number, **columns
    )
    return store_row(actor, retarder)


@transaction.atomic
def fit_retarder(actor: Actor, *, retarder: Retarder, vehicle: Vehicle, **columns: Any) -> Installation:
    """Fit a unit to a vehicle; a unit is in one vehicle at a time."""
    actor.require(Ability.MANAGE)
    return store_row(
        actor, Installation(organisation=actor.organisation, retarder=retarder, vehicle=vehicle, **columns)
    )


@transaction.atomic
def change_installation(actor: Actor, installation: Installation, **columns: Any) -> Installation:
    """Change what is on file of a fitting that the caller has locked: when, how and with which cables."""
    actor.require(Ability.MANAGE)
    return change_row(actor, installation, columns)


@transaction.atomic
def remove_retarder(actor: Actor, installation: Installation, *, removed_on: dt.date) -> Installation:
    """Write down that the unit left the vehicle; its history stays with it."""
    actor.require(Ability.MANAGE)
    fitted_on = installation.fitted_on
    if fitted_on is not None and removed_on < fitted_on:
        detail = _("%(removed)s is before the fitting on %(fitted)s.") % {"removed": removed_on, "fitted": fitted_on}
        raise Refused(Fault(("removed_on",), "before_fitting", detail))
    return change_row(actor, installation, {"removed_on": removed_on}, action="remove")


@transaction.atomic
def add_counter(actor: Actor, *, vehicle: Vehicle, kind: str, offset: float = 0.0) -> UsageCounter:
    """Add a counter to a vehicle; a vehicle has one running counter of a kind."""
    actor.require(Ability.MANAGE)
    return store_row(actor, UsageCounter(organisation=actor.organisation, vehicle=vehicle, kind=kind, offset=offset))


@transaction.atomic
def replace_counter(actor: Actor, counter: UsageCounter, *, on: dt.date, last_value: float) -> UsageCounter:
    """End a counter at its last value and start its successor from zero, so that usage goes on without a step."""
    actor.require(Ability.MANAGE)
    change_row(actor, counter, {"removed_on": on}, action="replace")
    return add_counter(actor, vehicle=counter.vehicle, kind=counter.kind, offset=counter.offset + last_value)


@transaction.atomic
def record_counter_reading(
    actor: Actor, *, counter: UsageCounter, read_on: dt.date, value: float, source: str = ""
) -> CounterReading:
    """Keep what a counter showed on a day, in km or h."""
    actor.require(Ability.CAPTURE)
    reading = CounterReading(
        organisation=actor.organisation, counter=counter, read_on=read_on, value=value, source=source
    )
    return store_row(actor, reading)
