"""Every constraint of fleet refuses a row that breaks it."""

import datetime as dt
from typing import Any

import pytest
from django.db.models import Model

from fleet.models import CounterReading, UsageCounter
from tests import builders
from tests.accounts.constraints import assert_refused_by, constraint_names, store_twin
from tests.naming import name

ON = dt.date(2026, 3, 2)
SAME_ID = object()
VIN = "1M8GDM9AXKP042788"

CASES: list[tuple[str, str, dict[str, Any]]] = [
    ("vehicle_id", "vehicle", {"uuid": SAME_ID, "fleet_number": "other", "vin": ""}),
    ("vehicle_fleet_number", "vehicle", {"vin": ""}),
    ("vehicle_vin", "vehicle", {"fleet_number": "other"}),
    ("vehicle_system_voltage", "vehicle", {"fleet_number": "other", "vin": "", "system_voltage_v": 48}),
    ("vehicle_alternator_positive", "vehicle", {"fleet_number": "other", "vin": "", "alternator_rated_a": 0.0}),
    ("counter_id", "counter", {"uuid": SAME_ID, "kind": "engine_hours"}),
    ("counter_one_running", "counter", {}),
    ("counter_kind_known", "counter", {"kind": "litres"}),
    ("counter_reading_id", "counter_reading", {"uuid": SAME_ID, "read_on": dt.date(2026, 3, 3)}),
    ("counter_reading_once_a_day", "counter_reading", {}),
    ("counter_reading_not_negative", "counter_reading", {"read_on": dt.date(2026, 3, 3), "value": -0.1}),
    ("retarder_type_id", "retarder_type", {"uuid": SAME_ID, "designation": "other"}),
    ("retarder_type_designation", "retarder_type", {}),
    ("retarder_type_stages", "retarder_type", {"designation": "other", "stages": 0}),
    ("retarder_type_stages", "retarder_type", {"designation": "other", "stages": 9}),
    ("retarder_type_counted_positive", "retarder_type", {"designation": "other", "coils_counted": 0}),
    ("retarder_type_counted_positive", "retarder_type", {"designation": "other", "leads_counted": 0}),
    ("retarder_type_counted_positive", "retarder_type", {"designation": "other", "air_gap_mm": 0.0}),
    ("rating_id", "rating", {"uuid": SAME_ID, "number": 2}),
    ("rating_revision_once", "rating", {}),
    ("rating_reference_voltage_has_its_basis", "rating", {"number": 2, "reference_voltage_basis": "guessed"}),
    ("rating_system_voltage", "rating", {"number": 2, "system_voltage_v": 48}),
    ("rating_tolerance_positive", "rating", {"number": 2, "tolerance_lower_percent": 0.0}),
    ("rating_tolerance_positive", "rating", {"number": 2, "tolerance_upper_percent": -5.0}),
    (
        "rating_tolerance_positive",
        "rating",
        {"number": 2, "tolerance_lower_percent": None, "tolerance_upper_percent": None},
    ),
    ("rating_reference_voltage_has_its_basis", "rating", {"number": 2, "reference_voltage_basis": "not_identified"}),
    ("rating_without_amps_if_not_identified", "rating", {"number": 2, "rated_currents_a": [None] * 4}),
    (
        "rating_without_amps_if_not_identified",
        "rating",
        {
            "number": 2,
            "reference_voltage_basis": "not_identified",
            **dict.fromkeys(
                (
                    *("reference_voltage_v", "coils_in_series", "coils_in_parallel"),
                    *("tolerance_lower_percent", "tolerance_upper_percent"),
                )
            ),
        },
    ),
    ("rating_wiring_positive", "rating", {"number": 2, "coils_in_series": 0}),
    ("rating_wiring_positive", "rating", {"number": 2, "coils_in_series": None}),
    ("rating_wiring_positive", "rating", {"number": 2, "coils_in_series": None, "coils_in_parallel": None}),
    ("rating_wiring_positive", "rating", {"number": 2, "coils_in_parallel": 0}),
    ("relay_box_type_id", "relay_box_type", {"uuid": SAME_ID, "designation": "other"}),
    ("relay_box_type_designation", "relay_box_type", {}),
    ("relay_box_type_stages", "relay_box_type", {"designation": "other", "stages": 9}),
    ("relay_box_type_drive_known", "relay_box_type", {"designation": "other", "drive": "steam"}),
    ("relay_box_type_input_known", "relay_box_type", {"designation": "other", "control_input": "lever"}),
    ("relay_box_type_fuses_known", "relay_box_type", {"designation": "other", "fuses": "nail"}),
    ("retarder_id", "retarder", {"uuid": SAME_ID, "serial_number": "other"}),
    ("retarder_serial", "retarder", {}),
    ("installation_id", "installation", {"uuid": SAME_ID, "removed_on": ON}),
    ("installation_one_vehicle_at_a_time", "installation", {}),
    ("installation_removed_after_fitted", "installation", {"removed_on": dt.date(2024, 1, 14)}),
    ("installation_return_known", "installation", {"removed_on": ON, "return_path": "air"}),
]


@pytest.fixture
def rows(db: None) -> dict[str, Model]:
    """Return one row of each kind."""
    owner = builders.organisation()
    vehicle = builders.vehicle(owner, vin=VIN)
    installation = builders.installation(owner, vehicle=vehicle)
    counter = UsageCounter.objects.create(organisation=owner, vehicle=vehicle, kind="odometer")
    return {
        "vehicle": vehicle,
        "counter": counter,
        "counter_reading": CounterReading.objects.create(organisation=owner, counter=counter, read_on=ON, value=1.0),
        "retarder_type": installation.retarder.retarder_type,
        "rating": installation.retarder.retarder_type.revisions.get(),
        "relay_box_type": builders.relay_box_type(owner),
        "retarder": installation.retarder,
        "installation": installation,
    }


@pytest.mark.parametrize(("name", "of", "changes"), CASES)
def test_a_row_that_breaks_it_is_refused(rows: dict[str, Any], name: str, of: str, changes: dict[str, Any]) -> None:
    row = rows[of]
    meant = {column: row.uuid if value is SAME_ID else value for column, value in changes.items()}
    assert_refused_by(name, row, meant)


def test_every_constraint_has_a_row_that_breaks_it() -> None:
    assert constraint_names("fleet") == {name for name, _of, _changes in CASES}


def test_another_organisation_may_use_the_same_ids_numbers_and_vin(rows: dict[str, Any]) -> None:
    other = builders.organisation()
    vehicle = rows["vehicle"]
    store_twin(vehicle, organisation=other, depot=builders.depot(other), uuid=vehicle.uuid)
    for owner in (vehicle.organisation, other):
        name(owner)
        assert type(vehicle).objects.of(owner).filter(vin=VIN, uuid=vehicle.uuid).count() == 1


def test_a_replaced_counter_stays_beside_its_successor(rows: dict[str, Any]) -> None:
    UsageCounter.objects.filter(pk=rows["counter"].pk).update(removed_on=ON)
    store_twin(rows["counter"], offset=94_000.0, removed_on=None)
    assert rows["vehicle"].counters.count() == 2
