"""An invented workshop for the post bench: units, meters, plans, and visits to post."""

import datetime as dt
import random
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

from accounts.actors import Actor, system_actor
from accounts.services import add_depot, create_organisation, issue_token
from accounts.tenancy import organisation_transaction
from fleet.models import Installation, RelayBoxType, RetarderType
from fleet.services import add_relay_box_type, add_retarder, add_retarder_type, add_vehicle, fit_retarder
from inspections.services.meters import add_meter
from schedules.services.plans import add_check_plan

UNITS = 20
STAGES = 4
RATED_A, REFERENCE_V, SUPPLY_V = 35.5, 14.0, 13.8
FIRST_VISIT = dt.datetime(2024, 3, 1, 8, 0, tzinfo=dt.UTC)


@dataclass(frozen=True, slots=True)
class BenchWorkshop:
    """What visits name, and a token to post them with."""

    token: str
    installations: tuple[str, ...]
    ammeter: str
    voltmeter: str


def bench_workshop() -> BenchWorkshop:
    """Put the workshop on file."""
    organisation, _member = create_organisation(
        slug="bench",
        name="Bench",
        administrator="bench",
        password="a bench has no secrets",  # noqa: S106
    )
    with organisation_transaction(organisation):
        actor = system_actor(organisation, source="bench")
        units = _units(actor)
        ammeter = add_meter(
            actor, kind="ammeter", designation="clamp", accuracy_percent=2.0, accuracy_counts=5.0, resolution=0.1
        )
        voltmeter = add_meter(
            actor, kind="voltmeter", designation="volts", accuracy_percent=0.5, accuracy_counts=2.0, resolution=0.01
        )
    token = issue_token(username="bench", organisation="bench")
    return BenchWorkshop(token, tuple(str(unit.uuid) for unit in units), str(ammeter.uuid), str(voltmeter.uuid))


def _units(actor: Actor) -> list[Installation]:
    kind = add_retarder_type(
        actor,
        designation="bench unit",
        rated_currents_a=[RATED_A] * STAGES,
        reference_voltage_v=REFERENCE_V,
        reference_voltage_basis="stated",
        tolerance_lower_percent=10.0,
        tolerance_upper_percent=10.0,
        system_voltage_v=12,
        coils_in_series=2,
        coils_in_parallel=2,
    )
    box = add_relay_box_type(
        actor,
        designation="bench box",
        stages=STAGES,
        drive="relay",
        control_input="positive_switched",
        fuses="per_stage",
        lamps=STAGES,
    )
    return [_unit(actor, number, kind, box) for number in range(UNITS)]


def _unit(actor: Actor, number: int, kind: RetarderType, box: RelayBoxType) -> Installation:
    depot = add_depot(actor, name=f"depot {number}", time_zone="Europe/London")
    vehicle = add_vehicle(actor, depot=depot, fleet_number=str(number), system_voltage_v=12)
    retarder = add_retarder(actor, retarder_type=kind, serial_number=str(number))
    unit = fit_retarder(
        actor, retarder=retarder, vehicle=vehicle, relay_box_type=box, fitted_on=FIRST_VISIT.date().replace(day=1)
    )
    add_check_plan(actor, installation=unit, months=6)
    return unit


def visits(of: BenchWorkshop, draw: random.Random, count: int) -> list[dict[str, Any]]:
    """Return visits of sound units, each another one, as a client posts them."""
    return [_visit(of, draw) for _ in range(count)]


def _visit(of: BenchWorkshop, draw: random.Random) -> dict[str, Any]:
    healthy_a = RATED_A * SUPPLY_V / REFERENCE_V
    return {
        "id": str(uuid4()),
        "installation": draw.choice(of.installations),
        "performed_at": (FIRST_VISIT + dt.timedelta(minutes=draw.randrange(1_000_000))).isoformat(),
        "purpose": "routine",
        "engine_state": "idle",
        "ammeter": of.ammeter,
        "voltmeter": of.voltmeter,
        "coil_temperature_c": 20.0,
        "coil_temperature_bound_c": 3.0,
        "coil_temperature_method": "parked",
        "rest": {"supply_voltage_v": 14.1, "current_a": 0.0},
        "stage_readings": [
            {
                "stage": stage,
                "energised": [stage],
                "supply_voltage_v": round(SUPPLY_V + draw.uniform(-0.05, 0.05), 2),
                "current_a": round(healthy_a * draw.uniform(0.99, 1.01), 1),
            }
            for stage in range(1, STAGES + 1)
        ],
    }
