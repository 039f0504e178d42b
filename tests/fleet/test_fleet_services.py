"""Vehicles, ratings, units and counters, written through their services."""

import datetime as dt
from typing import Any

import pytest

from accounts.actors import Actor
from accounts.errors import NotAllowed, Refused
from accounts.models import AuditEntry
from accounts.roles import Role
from fleet.models import RatingRevision
from fleet.services import (
    add_counter,
    add_retarder,
    add_retarder_type,
    add_vehicle,
    fit_retarder,
    record_counter_reading,
    remove_retarder,
    replace_counter,
    revise_rating,
)
from schedules.queries import counter_series
from tests import builders

FIGURES: dict[str, Any] = {
    "reference_voltage_v": 12.0,
    "reference_voltage_basis": "stated",
    "tolerance_lower_percent": 10.0,
    "tolerance_upper_percent": 10.0,
    "system_voltage_v": 12,
    "coils_in_series": 2,
    "coils_in_parallel": 2,
}


@pytest.fixture
def manager(db: None) -> Actor:
    return builders.actor(builders.organisation(), Role.MANAGER)


def vehicle_columns(manager: Actor, **columns: Any) -> dict[str, Any]:
    return {"depot": builders.depot(manager.organisation), "fleet_number": "V 1", "system_voltage_v": 24, **columns}


@pytest.mark.parametrize(
    ("vin", "code"),
    [
        ("1M8GDM9A1KP042788", "vin_check_digit"),
        ("1M8GDM9AXKPO42788", "vin_forbidden_letter"),
        ("1M8GDM9AXKP04278", "vin_length"),
        ("1M8GDM9AXKP04278!", "vin_forbidden_character"),
    ],
)
def test_a_number_that_is_no_vin_is_refused_at_its_field(manager: Actor, vin: str, code: str) -> None:
    with pytest.raises(Refused) as refusal:
        add_vehicle(manager, **vehicle_columns(manager, vin=vin))
    (fault,) = refusal.value.faults
    assert (fault.path, fault.code) == (("vin",), code)
    assert vin in fault.detail


def test_a_number_older_than_the_standard_stands_with_a_reason(manager: Actor) -> None:
    columns = vehicle_columns(manager, vin="CHASSIS 4711", vin_exception="built in 1974")
    assert add_vehicle(manager, **columns).vin == "CHASSIS4711"


def test_a_second_vehicle_under_the_same_fleet_number_is_refused_and_leaves_no_entry(manager: Actor) -> None:
    columns = vehicle_columns(manager)
    add_vehicle(manager, **columns)
    entries = AuditEntry.objects.filter(organisation=manager.organisation).count()
    with pytest.raises(Refused):
        add_vehicle(manager, **columns)
    assert AuditEntry.objects.filter(organisation=manager.organisation).count() == entries


def test_a_technician_adds_no_vehicle(manager: Actor) -> None:
    technician = builders.actor(manager.organisation, Role.TECHNICIAN)
    with pytest.raises(NotAllowed):
        add_vehicle(technician, **vehicle_columns(manager))


def test_a_rating_is_revised_beside_the_first_one_and_only_with_a_reason(manager: Actor) -> None:
    kind = add_retarder_type(manager, designation="Linden", rated_currents_a=[35.0] * 4, **FIGURES)
    with pytest.raises(Refused):
        revise_rating(manager, kind, reason="", rated_currents_a=[34.0] * 4, **FIGURES)
    revise_rating(manager, kind, reason="plate read again", rated_currents_a=[34.0] * 4, **FIGURES)
    stored = RatingRevision.objects.filter(retarder_type=kind).order_by("number")
    assert [(row.number, row.rated_currents_a[0]) for row in stored] == [(1, 35.0), (2, 34.0)]


def test_a_reference_voltage_never_comes_from_the_system_voltage(manager: Actor) -> None:
    without = FIGURES | {"reference_voltage_v": None, "reference_voltage_basis": "unknown"}
    kind = add_retarder_type(manager, designation="Willow", rated_currents_a=[40.0] * 3, **without)
    assert RatingRevision.objects.get(retarder_type=kind).reference_voltage_v is None
    with pytest.raises(Refused):
        add_retarder_type(
            manager, designation="Sallow", rated_currents_a=[40.0], **FIGURES | {"reference_voltage_basis": "unknown"}
        )


def test_a_unit_is_in_one_vehicle_at_a_time(manager: Actor) -> None:
    kind = add_retarder_type(manager, designation="Elder", rated_currents_a=[35.0] * 4, **FIGURES)
    unit = add_retarder(manager, retarder_type=kind, serial_number="1")
    first, second = (builders.vehicle(manager.organisation) for _number in range(2))
    fitted = fit_retarder(manager, retarder=unit, vehicle=first, fitted_on=dt.date(2025, 1, 1))
    with pytest.raises(Refused):
        fit_retarder(manager, retarder=unit, vehicle=second)
    with pytest.raises(Refused):
        remove_retarder(manager, fitted, removed_on=dt.date(2024, 12, 31))
    remove_retarder(manager, fitted, removed_on=dt.date(2025, 6, 1))
    assert fit_retarder(manager, retarder=unit, vehicle=second, fitted_on=dt.date(2025, 6, 2)).vehicle == second


def test_usage_goes_on_without_a_step_when_a_counter_is_replaced(manager: Actor) -> None:
    vehicle = builders.vehicle(manager.organisation)
    old = add_counter(manager, vehicle=vehicle, kind="odometer")
    record_counter_reading(manager, counter=old, read_on=dt.date(2025, 1, 1), value=90_000.0)
    new = replace_counter(manager, old, on=dt.date(2025, 2, 1), last_value=94_000.0)
    record_counter_reading(manager, counter=new, read_on=dt.date(2025, 3, 1), value=12.0)
    series = counter_series([vehicle.pk])[vehicle.pk, "odometer"]
    assert [reading.value for reading in series] == [90_000.0, 94_012.0]
