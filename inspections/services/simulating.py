"""Store a simulated fleet in an organisation of its own, its checks judged and recorded like real ones."""

import datetime as dt
import secrets
from collections.abc import Callable, Iterator, Sequence
from itertools import chain, islice
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from accounts.actors import Actor, member_actor
from accounts.audit import Deed, write_audit
from accounts.identity import new_id
from accounts.models import Depot, Organisation
from accounts.services import add_depot, create_organisation
from accounts.tenancy import organisation_transaction
from fleet.models import Installation, RelayBoxType, Retarder, Vehicle
from fleet.services import add_relay_box_type, add_retarder_type
from inspections.models import Meter
from inspections.services.calibrations import record_calibration
from inspections.services.meters import add_meter
from inspections.services.record import Recorded, record_inspections
from inspections.simulation.planted import (
    CABLES,
    METERS_PER_DEPOT,
    RETARDER_TYPE,
    STAGES,
    UNITS_PER_METER,
    Check,
    PlantedFleet,
)

CHECKS_AT_ONCE = 200
TOLERANCE_PERCENT = 10.0
CALIBRATED_EVERY = dt.timedelta(days=365)


def simulate_fleet(
    fleet: PlantedFleet, *, slug: str, tell: Callable[[int, int], None] = lambda done, total: None
) -> dict[str, Any]:
    """Store the fleet's rows and checks, and return what refers to them: installations, clamps, mistyped readings.

    The name says that it is simulated, and nobody in it has an address to be written to.
    """
    organisation, actor = _organisation(slug, fleet)
    with organisation_transaction(organisation):
        clamps, voltmeter = _meters(actor, fleet)
        installations = _units(actor, fleet)
    mistyped: list[dict[str, Any]] = []
    total, done = len(installations) * fleet.inspections, 0
    every_check = chain.from_iterable(fleet.checks(unit) for unit in range(len(installations)))
    for some in _batches(every_check):
        with organisation_transaction(organisation):
            documents = [_document(check, installations, clamps, voltmeter) for check in some]
            outcomes = record_inspections(actor, documents, received_at=_received_at(fleet))
        for check, outcome in zip(some, outcomes, strict=True):
            if not isinstance(outcome, Recorded):
                raise outcome
            if check.mistyped_stage is not None:
                mistyped.append({"inspection": str(outcome.inspection.uuid), "stage": check.mistyped_stage})
        done += len(some)
        tell(done, total)
    return {
        "organisation": slug,
        "installations": [str(installation.uuid) for installation in installations],
        "clamps": [str(clamp.uuid) for clamp in clamps],
        "mistyped_readings": mistyped,
    }


def _batches(checks: Iterator[Check]) -> Iterator[Sequence[Check]]:
    while some := list(islice(checks, CHECKS_AT_ONCE)):
        yield some


def _organisation(slug: str, fleet: PlantedFleet) -> tuple[Organisation, Actor]:
    organisation, administrator = create_organisation(
        slug=slug,
        name=f"Simulated fleet, seed {fleet.seed}",
        administrator=f"{slug}-administrator",
        password=secrets.token_urlsafe(24),
    )
    return organisation, member_actor(administrator, source="simulation")


def _meters(actor: Actor, fleet: PlantedFleet) -> tuple[list[Meter], Meter]:
    clamp = {"accuracy_percent": 2.0, "accuracy_counts": 5, "resolution": 0.1, "range_max": 400.0}
    volts = {"accuracy_percent": 0.5, "accuracy_counts": 2, "resolution": 0.01, "range_max": 60.0}
    clamps = [
        add_meter(actor, kind="ammeter", designation=f"Clamp {number + 1}", **clamp) for number in range(fleet.clamps)
    ]
    if fleet.low_clamp is not None and fleet.calibration_on_file:
        on = fleet.low_from_on
        record_calibration(actor, clamps[fleet.low_clamp], performed_on=on, due_on=on + CALIBRATED_EVERY)
    return clamps, add_meter(actor, kind="voltmeter", designation="Voltmeter", **volts)


@transaction.atomic
def _units(actor: Actor, fleet: PlantedFleet) -> list[Installation]:
    """Insert vehicles, units and fittings, all of one form, at once, with an audit entry each."""
    kind = add_retarder_type(
        actor,
        designation=RETARDER_TYPE["designation"],
        rated_currents_a=RETARDER_TYPE["rated_currents_a"],
        reference_voltage_v=RETARDER_TYPE["reference_voltage_v"],
        reference_voltage_basis="stated",
        tolerance_lower_percent=TOLERANCE_PERCENT,
        tolerance_upper_percent=TOLERANCE_PERCENT,
        system_voltage_v=RETARDER_TYPE["system_voltage_v"],
        coils_in_series=RETARDER_TYPE["coils_in_series"],
        coils_in_parallel=RETARDER_TYPE["coils_in_parallel"],
        sources={"rated_currents_a": "simulated"},
    )
    box = _relay_box(actor)
    of_depot = UNITS_PER_METER * METERS_PER_DEPOT
    depots = [_depot(actor, number) for number in range(-(-len(fleet.truths) // of_depot))]
    of: dict[str, Any] = {"organisation": actor.organisation}
    vehicles = [
        Vehicle(**of, depot=depots[unit // of_depot], fleet_number=f"{unit + 1}", system_voltage_v=12)
        for unit in range(len(fleet.truths))
    ]
    retarders = [Retarder(**of, retarder_type=kind, serial_number=truth.serial_number) for truth in fleet.truths]
    Vehicle.objects.bulk_create(vehicles, batch_size=1000)
    Retarder.objects.bulk_create(retarders, batch_size=1000)
    fitted = [
        Installation(**of, retarder=unit, vehicle=vehicle, relay_box_type=box, cables=CABLES, return_path="frame")
        for unit, vehicle in zip(retarders, vehicles, strict=True)
    ]
    Installation.objects.bulk_create(fitted, batch_size=1000)
    write_audit(actor, [Deed("create", row) for row in (*vehicles, *retarders, *fitted)])
    return fitted


def _relay_box(actor: Actor) -> RelayBoxType:
    return add_relay_box_type(
        actor,
        designation="Simulated box",
        stages=STAGES,
        drive="relay",
        control_input="positive_switched",
        fuses="per_stage",
    )


def _depot(actor: Actor, number: int) -> Depot:
    return add_depot(actor, name=f"Depot {number + 1}", time_zone="UTC")


def _document(
    check: Check, installations: Sequence[Installation], clamps: Sequence[Meter], voltmeter: Meter
) -> dict[str, Any]:
    ids: dict[str, UUID] = {
        "id": new_id(),
        "installation": installations[check.unit].uuid,
        "ammeter": clamps[check.clamp].uuid,
        "voltmeter": voltmeter.uuid,
    }
    return {**check.document, **ids, "performed_at": check.performed_at, "sign": True}


def _received_at(fleet: PlantedFleet) -> dt.datetime:
    evening = dt.datetime.combine(fleet.until, dt.time(18), dt.UTC)
    return min(evening, timezone.now())
