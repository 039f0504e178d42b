"""The first check of a vehicle: judged before it is on file, then filed with all it needs in one transaction."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from django.db import transaction

from accounts.actors import Actor
from accounts.errors import Fault, Refused
from accounts.models import Depot
from accounts.roles import Ability
from accounts.services import add_depot
from fleet.models import Installation, Retarder
from fleet.not_identified import add_unidentified_retarder
from fleet.services import add_retarder, add_vehicle, fit_retarder
from inspections.documents import Document
from inspections.services.on_file import filed_meter, filed_retarder_type
from inspections.services.record import Recorded, record_inspection
from schedules.services.plans import add_check_plan

METERS = ("ammeter", "voltmeter")


@transaction.atomic
def file_first_check(actor: Actor, document: Document) -> Recorded:
    """Store rating, meters, vehicle, retarder, installation, plan and check, all of them or none.

    `document` holds one mapping for each under its name, `depot` being a row or a mapping, and the readings in `check`.
    The check is unsigned.  A meter or retarder type that the book has under the same name with the same figures is the
    one that is meant.  `not_identified`, what was counted, stands in for `retarder_type` where nobody can read the
    plate.  A refusal names the part first: `("vehicle", "fleet_number")`.
    """
    actor.require(Ability.MANAGE)
    meters = {}
    for kind in METERS:
        with _part(kind):
            meters[kind] = filed_meter(actor, kind=kind, **document[kind])
    installation = _installation(actor, document)
    with _part("plan"):
        add_check_plan(actor, installation=installation, **document["plan"])
    check = {
        **document["check"],
        "installation": installation.uuid,
        "purpose": "first",
        "sign": False,
        **{kind: meter.uuid for kind, meter in meters.items()},
    }
    with _part("check"):
        return record_inspection(actor, check)


def _installation(actor: Actor, document: Document) -> Installation:
    with _part("depot"):
        depot = _depot(actor, document["depot"])
    with _part("vehicle"):
        vehicle = add_vehicle(actor, depot=depot, **document["vehicle"])
    retarder = _retarder(actor, document)
    with _part("installation"):
        return fit_retarder(actor, retarder=retarder, vehicle=vehicle)


def _retarder(actor: Actor, document: Document) -> Retarder:
    if "not_identified" in document:
        with _part("retarder"):
            return add_unidentified_retarder(actor, **document["retarder"], **document["not_identified"])
    with _part("retarder_type"):
        kind = filed_retarder_type(actor, **document["retarder_type"])
    with _part("retarder"):
        return add_retarder(actor, retarder_type=kind, **document["retarder"])


def _depot(actor: Actor, depot: Depot | Mapping[str, Any]) -> Depot:
    return depot if isinstance(depot, Depot) else add_depot(actor, name=depot["name"], time_zone=depot["time_zone"])


@contextmanager
def _part(name: str) -> Iterator[None]:
    try:
        yield
    except Refused as refused:
        faults = (Fault((name, *fault.path), fault.code, fault.detail) for fault in refused.faults)
        raise Refused(*faults) from None
