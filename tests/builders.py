"""Rows for tests, each with one call; what a test does not name is made up and unique."""

import datetime as dt
import itertools
from dataclasses import dataclass
from typing import Any, TypeVar
from uuid import uuid4

from django.db import models
from django.utils import timezone

from accounts.actors import Actor, member_actor
from accounts.models import ApiToken, Depot, Member, Organisation, User
from accounts.roles import Role
from accounts.tenancy import founding_transaction
from fleet.models import Installation, RatingRevision, RelayBoxType, Retarder, RetarderType, Vehicle
from inspections.models import Defect, Meter
from schedules.models import CheckPlan
from tests.naming import name

Row = TypeVar("Row", bound=models.Model)
_numbers = itertools.count(1)

CLAMP = {"accuracy_percent": 2.0, "accuracy_counts": 5, "resolution": 0.1, "range_max": 400.0}
VOLTMETER = {"accuracy_percent": 0.5, "accuracy_counts": 2, "resolution": 0.01, "range_max": 60.0}
FITTED_ON = dt.date(2024, 1, 15)


def _insert(model: type[Row], of: Organisation, **columns: Any) -> Row:
    """Insert a row of the organisation, under its name."""
    name(of)
    return model._default_manager.create(organisation=of, **columns)


def organisation(**columns: Any) -> Organisation:
    """Make an organisation."""
    number = next(_numbers)
    made = Organisation(**{"slug": f"works-{number}", "name": f"Works {number}", **columns})
    with founding_transaction(made):
        pass
    name(made)
    return made


def member(of: Organisation, role: Role = Role.TECHNICIAN, **columns: Any) -> Member:
    """Make a person with a role."""
    user = User.objects.create(username=f"person-{next(_numbers)}")
    return _insert(Member, of, user=user, role=role, **columns)


def actor(of: Organisation, role: Role = Role.TECHNICIAN) -> Actor:
    """Make a person and return them acting."""
    return member_actor(member(of, role), source="test")


def token(of: Member) -> str:
    """Issue a bearer token."""
    name(of.organisation)
    _row, text = ApiToken.objects.create(user=of.user, organisation=of.organisation, name="test")  # type: ignore[no-untyped-call]
    return str(text)


def depot(of: Organisation, time_zone: str = "Europe/London") -> Depot:
    """Make a depot."""
    return _insert(Depot, of, name=f"Depot {next(_numbers)}", time_zone=time_zone)


def vehicle(of: Organisation, **columns: Any) -> Vehicle:
    """Make a 12 V vehicle."""
    number = next(_numbers)
    base = columns.pop("depot", None) or depot(of)
    return _insert(
        Vehicle,
        of,
        **{
            "depot": base,
            "fleet_number": f"V {number}",
            "registration": f"TEST {number}",
            "system_voltage_v": 12,
            **columns,
        },
    )


def retarder_type(of: Organisation, **figures: Any) -> RetarderType:
    """Make a type with one rating: four stages of 35.5 A at 14.0 V and 20 °C, ±10 %."""
    values = {
        "rated_currents_a": [35.5] * 4,
        "reference_voltage_v": 14.0,
        "reference_voltage_basis": "stated",
        "tolerance_lower_percent": 10.0,
        "tolerance_upper_percent": 10.0,
        "system_voltage_v": 12,
        "coils_in_series": 2,
        "coils_in_parallel": 2,
        "sources": {"rated_currents_a": "plate (test)"},
        **figures,
    }
    made = _insert(RetarderType, of, designation=f"Type {next(_numbers)}", stages=len(values["rated_currents_a"]))
    _insert(RatingRevision, of, retarder_type=made, number=1, **values)
    return made


def relay_box_type(of: Organisation, **columns: Any) -> RelayBoxType:
    """Make a relay box that switches output k with input k."""
    values = {
        "designation": f"Box {next(_numbers)}",
        "stages": 4,
        "drive": "relay",
        "control_input": "positive_switched",
        "fuses": "per_stage",
        "outputs_by_input": [[1], [2], [3], [4]],
        "lamps": 4,
        **columns,
    }
    return _insert(RelayBoxType, of, **values)


def installation(of: Organisation, **columns: Any) -> Installation:
    """Make a unit in a vehicle."""
    kind = columns.pop("retarder_type", None) or retarder_type(of)
    unit = columns.pop("retarder", None) or _insert(
        Retarder, of, retarder_type=kind, serial_number=f"S{next(_numbers)}"
    )
    carrier = columns.pop("vehicle", None) or vehicle(of)
    box = columns.pop("relay_box_type", None) or relay_box_type(of, stages=kind.stages)
    named = {"retarder": unit, "vehicle": carrier, "relay_box_type": box, "fitted_on": FITTED_ON}
    return _insert(Installation, of, **named | columns)


def meter(of: Organisation, kind: str, **figures: Any) -> Meter:
    """Make a clamp or a voltmeter."""
    usual = CLAMP if kind == "ammeter" else VOLTMETER
    return _insert(Meter, of, kind=kind, designation=f"Meter {next(_numbers)}", **(usual | figures))


def check_plan(of: Installation, **limbs: Any) -> CheckPlan:
    """Make a plan of six months, or of the limbs named."""
    limbs = limbs or {"months": 6}
    return _insert(CheckPlan, of.organisation, installation=of, **limbs)


@dataclass(frozen=True)
class Workshop:
    """An organisation with one unit to check and the meters to do it with."""

    organisation: Organisation
    installation: Installation
    ammeter: Meter
    voltmeter: Meter


def workshop(**columns: Any) -> Workshop:
    """Make a workshop; columns go to the installation."""
    owner = organisation()
    unit = installation(owner, **columns)
    return Workshop(owner, unit, meter(owner, "ammeter"), meter(owner, "voltmeter"))


def defect(of: Workshop, **columns: Any) -> Defect:
    """Make an open defect of stage 2."""
    values = {"code": "outside_limits", "stage": 2, "opened_at": timezone.now(), **columns}
    return _insert(Defect, of.organisation, installation=of.installation, **values)


def single_pass(current_a: float = 36.3, supply_voltage_v: float = 14.0, stages: int = 4) -> list[dict[str, Any]]:
    """Return the readings of a single pass, every stage alike."""
    return [
        {"stage": stage, "energised": [stage], "supply_voltage_v": supply_voltage_v, "current_a": current_a}
        for stage in range(1, stages + 1)
    ]


def inspection_document(of: Workshop, **fields: Any) -> dict[str, Any]:
    """Return an inspection as a client would post it; a healthy unit unless the fields say otherwise."""
    return {
        "id": str(uuid4()),
        "installation": str(of.installation.uuid),
        "performed_at": "2026-03-02T09:30:00+00:00",
        "purpose": "routine",
        "engine_state": "idle",
        "ammeter": str(of.ammeter.uuid),
        "voltmeter": str(of.voltmeter.uuid),
        "coil_temperature_c": 20.0,
        "coil_temperature_bound_c": 3.0,
        "coil_temperature_method": "parked",
        "stage_readings": single_pass(),
        **fields,
    }
