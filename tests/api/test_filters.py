"""Lists are narrowed by what a client knows; a value of the wrong kind is refused at its name, never ignored."""

import datetime as dt
from typing import Any
from uuid import uuid4

import pytest
from django.utils import timezone

from fleet.models import Installation, Vehicle
from inspections.models import Meter
from tests import builders
from tests.api.full_house import furnish
from tests.api.problems import fault_at
from tests.api.routes import api_routes
from tests.builders import Workshop, inspection_document
from tests.conftest import Api

OF_INSTALLATION = ["inspections", "due", "check-plans", "declines", "defects", "reminders"]
LISTS = [*OF_INSTALLATION, "vehicles", "installations", "meters"]
WRONG = [
    ("inspections", "installation", "the red one"),
    ("inspections", "vehicle", "5"),
    ("inspections", "verdict", "splendid"),
    ("inspections", "performed_after", "2026-03-02"),
    ("inspections", "performed_before", "yesterday"),
    ("due", "state", "late"),
    ("due", "depot", "north"),
    ("due", "due_before", "02/03/2026"),
    ("due", "due_before", "2026-02-30"),
    ("reminders", "lead_stage", "soon"),
    ("defects", "state", "OPEN"),
    ("declines", "state", "none"),
    ("meters", "kind", "ohmmeter"),
    ("vehicles", "in_service", "perhaps"),
    ("vehicles", "in_service", "1"),
    ("installations", "vehicle", "{}"),
    *((name, "changed_after", "2026-03-02T09:30:00") for name in LISTS),
    *((name, "page_size", value) for name in ("vehicles", "due") for value in ("0", "-1", "many", "1.5", "9" * 5_000)),
]
TEXT_FILTERS = [
    ("vehicles", "fleet_number"),
    ("vehicles", "registration"),
    ("vehicles", "vin"),
    ("installations", "fleet_number"),
    ("installations", "registration"),
    ("installations", "vin"),
    ("installations", "serial_number"),
]


def results(api: Api, name: str, **query: Any) -> list[dict[str, Any]]:
    """Return the rows of a list."""
    answer = api.get(f"{name}/", **query)
    assert answer.status_code == 200, answer.content
    found: list[dict[str, Any]] = answer.json()["results"]
    return found


@pytest.mark.parametrize(("name", "parameter", "value"), WRONG, ids=[f"{n} {p}={v[:20]}" for n, p, v in WRONG])
def test_a_value_of_the_wrong_kind_is_refused_at_its_name(api: Api, name: str, parameter: str, value: str) -> None:
    fault_at(api.get(f"{name}/", **{parameter: value}), f"#/{parameter}")


def test_an_empty_value_is_refused_and_does_not_ask_for_everything(api: Api) -> None:
    lists = [route for route in api_routes() if getattr(route.view_class, "filterset_class", None)]
    asked = {
        (route.pattern, name)
        for route in lists
        if "get" in route.methods and not route.takes_an_id
        for name in route.view_class.filterset_class.base_filters
    }
    assert len(asked) >= 50
    for pattern, name in sorted(asked):
        fault_at(api.get(pattern, **{name: ""}), f"#/{name}")


@pytest.mark.parametrize(("name", "parameter", "_value"), WRONG[:16] + [(*filtered, "") for filtered in TEXT_FILTERS])
def test_a_nul_byte_is_refused_like_any_other_wrong_value(api: Api, name: str, parameter: str, _value: str) -> None:
    fault_at(api.get(f"{name}/", **{parameter: "a\0b"}), f"#/{parameter}")


@pytest.mark.parametrize(
    "query", ["installation=%ff", "cursor=%ed%a0%80", "page_size=%00", "count=%00", "x=%00", "%00=x"]
)
def test_bytes_that_are_no_text_are_no_fault_of_ours(api: Api, query: str) -> None:
    assert api.client.get(f"/api/v1/inspections/?{query}").status_code in (200, 400)


@pytest.mark.parametrize(("name", "parameter"), TEXT_FILTERS)
def test_a_text_that_is_written_nowhere_finds_nothing(api: Api, name: str, parameter: str) -> None:
    assert results(api, name, **{parameter: "nowhere"}) == []


def test_an_installation_is_found_by_what_is_written_on_vehicle_and_unit(api: Api, workshop: Workshop) -> None:
    Vehicle.objects.filter(pk=workshop.installation.vehicle_id).update(vin="XX9ABCDEZGH012345")
    furnish(workshop, 3)
    unit = workshop.installation
    searches = {
        "fleet_number": unit.vehicle.fleet_number,
        "registration": unit.vehicle.registration,
        "serial_number": unit.retarder.serial_number,
        "vin": " xx9 abcde zgh 012345 ",
        "vehicle": str(unit.vehicle.uuid).upper(),
        "depot": unit.vehicle.depot.uuid,
    }
    for parameter, value in searches.items():
        assert [row["id"] for row in results(api, "installations", **{parameter: value})] == [str(unit.uuid)], parameter
    assert [row["id"] for row in results(api, "vehicles", vin="xx9abcdezgh012345")] == [str(unit.vehicle.uuid)]


@pytest.mark.parametrize("name", OF_INSTALLATION)
def test_a_list_is_narrowed_to_an_installation_and_to_a_vehicle(api: Api, workshop: Workshop, name: str) -> None:
    furnish(workshop, 3)
    wanted = results(api, name)[0]
    for query in ({"installation": wanted["installation"]}, {"vehicle": wanted["vehicle"]["id"]}):
        rows = results(api, name, **query)
        assert wanted in rows
        assert {row["installation"] for row in rows} == {wanted["installation"]}
        assert len(rows) < len(results(api, name))
    assert results(api, name, installation=uuid4()) == []


@pytest.mark.parametrize("name", OF_INSTALLATION)
def test_a_row_carries_its_vehicle_depot_and_installation(api: Api, workshop: Workshop, name: str) -> None:
    furnish(workshop, 3)
    fitted = Installation.objects.filter(organisation=workshop.organisation).select_related("vehicle__depot")
    units = {str(unit.uuid): unit for unit in fitted}
    rows = results(api, name)
    assert len(rows) >= 3
    for row in rows:
        vehicle = units[row["installation"]].vehicle
        assert row["vehicle"] == {
            "id": str(vehicle.uuid),
            "fleet_number": vehicle.fleet_number,
            "registration": vehicle.registration,
        }
        assert row["depot"] == {"id": str(vehicle.depot.uuid), "name": vehicle.depot.name}


@pytest.mark.parametrize("name", LISTS)
def test_every_list_can_be_asked_for_what_changed_after_an_instant(api: Api, workshop: Workshop, name: str) -> None:
    furnish(workshop, 3)
    model = next(route for route in api_routes() if route.pattern == f"{name}/").view_class.queryset.model
    rows = model.objects.filter(organisation=workshop.organisation)
    at = timezone.now() - dt.timedelta(days=3)
    rows.update(changed_at=at)
    latest = rows.order_by("pk")[0]
    rows.filter(pk=latest.pk).update(changed_at=at + dt.timedelta(milliseconds=1))
    assert [row["id"] for row in results(api, name, changed_after=at.isoformat())] == [str(latest.uuid)]
    assert results(api, name, changed_after=(at + dt.timedelta(milliseconds=1)).isoformat()) == []


def test_a_plus_sign_that_the_address_has_made_a_space_is_read_as_one(api: Api) -> None:
    answer = api.client.get("/api/v1/vehicles/?changed_after=2020-01-01T00:00:00+01:00")
    assert len(answer.json()["results"]) == 1


def test_inspections_are_found_by_verdict_and_time(api: Api, workshop: Workshop) -> None:
    early = inspection_document(workshop, performed_at="2026-03-02T08:00:00Z")
    late = inspection_document(workshop, performed_at="2026-03-02T09:00:00Z", stage_readings=builders.single_pass(10.0))
    for document in (early, late):
        assert api.post("inspections/", document).status_code == 201
    searches: list[tuple[dict[str, str], list[str]]] = [
        ({"verdict": "fail"}, [late["id"]]),
        ({"performed_after": "2026-03-02T08:00:00Z"}, [late["id"]]),
        ({"performed_before": "2026-03-02T10:00:00+01:00"}, [early["id"]]),
        ({"performed_after": "2026-03-02T09:00:00Z"}, []),
    ]
    for query, found in searches:
        assert [row["id"] for row in results(api, "inspections", **query)] == found, query


def test_vehicles_and_meters_are_found_by_their_kind(api: Api, workshop: Workshop) -> None:
    idle = builders.vehicle(workshop.organisation, in_service=False)
    assert [row["id"] for row in results(api, "vehicles", in_service="false")] == [str(idle.uuid)]
    assert [row["id"] for row in results(api, "vehicles", in_service="true")] == [
        str(workshop.installation.vehicle.uuid)
    ]
    assert [row["id"] for row in results(api, "meters", kind="ammeter")] == [str(workshop.ammeter.uuid)]
    assert Meter.objects.filter(organisation=workshop.organisation).count() == 2


def test_due_dates_come_earliest_first_and_only_of_units_in_service(api: Api, workshop: Workshop) -> None:
    furnish(workshop, 3)
    rows = results(api, "due")
    assert [row["due_on"] for row in rows] == ["2026-03-02"] * 3 + [None]
    Vehicle.objects.filter(uuid=rows[0]["vehicle"]["id"]).update(in_service=False)
    assert [row["id"] for row in results(api, "due")] == [row["id"] for row in rows[1:]]
    assert results(api, "due", due_before="2026-03-02") == []
    assert len(results(api, "due", due_before="2026-03-03", state="due")) == 2
