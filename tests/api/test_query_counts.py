"""Reading costs the same number of queries whatever the number of rows."""

from typing import Any

from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.api.full_house import furnish
from tests.api.routes import Route, api_routes
from tests.builders import Workshop
from tests.conftest import Api

MOST_QUERIES = 12
# PostgreSQL is told whose rows may be seen, in a transaction of the request's own; SQLite has no such walls.
NO_QUESTION = ("SELECT current_setting('app.organisation'", "SELECT set_config(", "SAVEPOINT", "RELEASE")


def readable_routes() -> list[Route]:
    return [route for route in api_routes() if "get" in route.methods]


def queries_of(api: Api, route: Route) -> int:
    """Return how many questions an address asks, with every row on one page; naming the organisation is none."""
    address = route.address(route.first_row(api.member.organisation).uuid if route.takes_an_id else "")
    with CaptureQueriesContext(connection) as captured:
        answer: Any = api.get(address, page_size=500)
    assert answer.status_code == 200, (address, answer.content)
    return sum(not each["sql"].startswith(NO_QUESTION) for each in captured.captured_queries)


def queries_by_route(api: Api) -> dict[str, int]:
    return {route.pattern: queries_of(api, route) for route in readable_routes()}


def test_every_address_costs_the_same_at_10_and_at_100_rows_of_everything(api: Api, workshop: Workshop) -> None:
    furnish(workshop, 10)
    api.get("vehicles/")
    few = queries_by_route(api)
    furnish(workshop, 90)
    many = queries_by_route(api)
    assert many == few
    assert max(many.values()) <= MOST_QUERIES


def test_the_lists_that_were_counted_held_every_row(api: Api, workshop: Workshop) -> None:
    furnish(workshop, 10)
    for route in readable_routes():
        if not route.takes_an_id and route.view_class and hasattr(route.view_class, "queryset"):
            rows = api.get(route.address(), page_size=500).json()["results"]
            assert len(rows) >= 10, route.pattern
    inspection = next(row for row in api.get("inspections/", page_size=500).json()["results"] if row["superseded_by"])
    assert inspection["signed_by"] != inspection["recorded_by"]
    meters = api.get("meters/", page_size=500).json()["results"]
    assert sum(len(meter["calibrations"]) for meter in meters) == 20


def test_the_walk_finds_the_addresses_that_clients_rely_on() -> None:
    found = {route.pattern for route in readable_routes()}
    lists = ["vehicles", "installations", "inspections", "meters", "defects", "check-plans", "due", "declines"]
    assert found >= {f"{name}/" for name in [*lists, "reminders"]}
    assert found >= {f"{name}/<outside_id:id>/" for name in [*lists, "reminders"]}
    assert "installations/<outside_id:id>/trend/" in found
